package trial

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/layout"
)

var (
	seedCount = flag.Uint64("trial.seeds", 0, "cases of each condition; 0: the small set that every change is tried on")
	firstSeed = flag.Uint64("trial.seed", 0, "first seed; without -trial.seeds just this one, with all it says")
	only      = flag.String("trial.only", "", "only the conditions of these names, comma separated")
	dump      = flag.String("trial.dump", "", "write plan, capture and truth of cases that went wrong to this folder")
)

// smallSet is how many cases of each condition are tried when nothing is asked
// for, from seed 1 on.
const smallSet = 25

// fewer cases are tried of the conditions without limits of their own.
const fewer = 8

// fewest are followed, where every reading asked for is one more verdict.
const fewest = 5

// program is the judge under test: the program's own parsers and verdict.
func program(planTOML, lines []byte) (*verdict.Verdict, error) {
	p, err := layout.Parse("trial.toml", planTOML)
	if err != nil {
		return nil, err
	}
	c, err := capture.Read(bytes.NewReader(lines))
	if err != nil {
		return nil, err
	}
	return verdict.Judge(p, c)
}

// TestDecisions is the decision benchmark. It prints the table that the
// developers' guide keeps, says which limits are missed, and fails where the
// judge falls behind what it reached before.
func TestDecisions(t *testing.T) {
	first, count := uint64(1), uint64(smallSet)
	one := *firstSeed > 0 && *seedCount == 0
	switch {
	case one:
		first, count = *firstSeed, 1
	case *firstSeed > 0:
		first, count = *firstSeed, *seedCount
	case *seedCount > 0:
		count = *seedCount
	}
	if *dump != "" {
		if err := os.MkdirAll(*dump, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	var conditions []Condition
	var scores []*Score
	for _, c := range Conditions() {
		if *only != "" && !strings.Contains(","+*only+",", ","+c.Name+",") {
			continue
		}
		n := count
		if *seedCount == 0 && !one && !c.Limited {
			n = fewer
		}
		s, err := Run(program, c, first, n)
		if err != nil {
			t.Fatal(err)
		}
		conditions, scores = append(conditions, c), append(scores, s)
		for _, f := range s.Failures {
			if f.Severe || one {
				t.Logf("%s, seed %d:\n\t%s", f.Condition, f.Seed, strings.Join(f.What, "\n\t"))
			}
			if *dump != "" {
				writeCase(t, c, f.Seed, f.What)
			}
		}
		if one {
			explain(t, c, first)
		} else {
			hold(t, c, s)
		}
	}
	if len(conditions) == 0 {
		t.Fatalf("-trial.only %s: no such condition", *only)
	}
	var table bytes.Buffer
	writeTable(&table, conditions, scores)
	t.Logf("\n%s", table.String())
}

// reached is what the verdict keeps today on the small set, where that is short
// of a condition's own limits. A change that falls behind it fails; one that does
// better should tighten it, until the entry can go.
var reached = map[string]struct {
	wrong            int
	undecided, cause float64
}{
	"toggled":          {0, 0.035, 0.99},
	"one-rest":         {0, 0.10, 0.91},
	"offset-unknown":   {1, 0.11, 0.83},
	"pulsed":           {1, 0.035, 0.91},
	"passes":           {0, 0.05, 0.75},
	"headings":         {1, 0.10, 0.58},
	"hand":             {0, 0.10, 0.75},
	"no-rest":          {2, 0, 0},
	"headings-unknown": {1, 0, 0},
	"passes-slow":      {1, 0, 0},
}

// hold compares a score with the condition's limits: what misses them is logged,
// and what falls behind the best reached so far fails.
func hold(t *testing.T, c Condition, s *Score) {
	most := int(c.WrongAtMost * float64(s.Coils))
	undecided, cause := c.UndecidedAtMost, c.CauseAtLeast
	got := [3]float64{float64(s.WrongClaims), share(s.Undecided, s.Coils), share(s.CauseRight, s.FaultyPads)}
	if c.Limited && (got[0] > float64(most) || got[1] > undecided || got[2] < cause) {
		t.Logf("%s misses its limits: %g wrong claims (limit %d), %.1f %% undecided (limit %g %%), first cause right on %.1f %% (limit %g %%)",
			c.Name, got[0], most, 100*got[1], 100*undecided, 100*got[2], 100*cause)
	}
	if r, ok := reached[c.Name]; ok && *seedCount == 0 {
		most, undecided, cause = max(most, r.wrong), max(undecided, r.undecided), min(cause, r.cause)
	}
	if s.WrongClaims > most {
		t.Errorf("%s: %d wrong claims on %d coils, at most %d allowed", c.Name, s.WrongClaims, s.Coils, most)
	}
	if !c.Limited {
		return
	}
	if got[1] > undecided {
		t.Errorf("%s: %.2f %% of coils undecided, at most %g %% allowed", c.Name, 100*got[1], 100*undecided)
	}
	if got[2] < cause {
		t.Errorf("%s: first cause right on %.1f %% of faulty pads, at least %g %% wanted", c.Name, 100*got[2], 100*cause)
	}
}

// followed are the conditions whose readings can be taken again, with the share
// of coils that may stay undecided, once what the verdict asks for was read, and how many
// may be claimed wrongly. It is the condition's own limit where that is kept.
var followed = map[string]struct {
	undecided float64
	wrong     int
}{
	"toggled":        {0.01, 0},
	"one-rest":       {0.08, 0},
	"offset-unknown": {0.035, 2}, // two coils of seed 3, a pad of 43 uT with two faults and a sensor 5 cm off the mark
	"pulsed":         {0.01, 0},
	"passes":         {0.035, 0},
	"headings":       {0.02, 1}, // of the same pad, a coil that lost three turns of four and hardly turned a needle before
	"hand":           {0.02, 0},
}

// TestFollowed does what the verdict asks for: a person at the bench does not stop
// at the first verdict.
func TestFollowed(t *testing.T) {
	first, count := uint64(1), uint64(fewest)
	if *seedCount > 0 {
		count = *seedCount
	}
	if *firstSeed > 0 {
		first = *firstSeed
		count = max(*seedCount, 1)
	}
	var conditions []Condition
	var scores []*Followed
	for _, c := range Conditions() {
		most, ok := followed[c.Name]
		if !ok || *only != "" && !strings.Contains(","+*only+",", ","+c.Name+",") {
			continue
		}
		s, err := runFollowed(program, c, first, count)
		if err != nil {
			t.Fatal(err)
		}
		conditions, scores = append(conditions, c), append(scores, s)
		for _, f := range s.Failures {
			if f.Severe {
				t.Logf("%s, seed %d:\n\t%s", f.Condition, f.Seed, strings.Join(f.What, "\n\t"))
			}
		}
		if *firstSeed == 0 && s.WrongClaims > most.wrong {
			t.Errorf("%s: %d wrong claims on %d coils after what was asked for, at most %d allowed", c.Name, s.WrongClaims, s.Coils, most.wrong)
		}
		if got := share(s.Undecided, s.Coils); got > most.undecided && *firstSeed == 0 {
			t.Errorf("%s: %.2f %% of coils undecided after what was asked for, at most %g %% allowed", c.Name, 100*got, 100*most.undecided)
		}
	}
	var table bytes.Buffer
	writeFollowed(&table, conditions, scores)
	t.Logf("\n%s", table.String())
}

func writeCase(t *testing.T, c Condition, seed uint64, what []string) {
	k, err := Make(c, seed)
	if err != nil {
		t.Fatal(err)
	}
	truth, err := json.MarshalIndent(struct {
		Truth
		What []string `json:"what_went_wrong"`
	}{k.Truth, what}, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	for ext, data := range map[string][]byte{".toml": k.PlanTOML, ".jsonl": k.Capture, ".truth.json": truth} {
		if err := os.WriteFile(filepath.Join(*dump, fmt.Sprintf("%s-%d%s", c.Name, seed, ext)), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// explain says what a single case is and what the judge made of it.
func explain(t *testing.T, c Condition, seed uint64) {
	k, err := Make(c, seed)
	if err != nil {
		t.Fatal(err)
	}
	v, err := program(k.PlanTOML, k.Capture)
	if err != nil {
		t.Fatal(err)
	}
	said, err := json.MarshalIndent(v, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	truth, err := json.MarshalIndent(k.Truth, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("truth: %s\nverdict: %s", truth, said)
}
