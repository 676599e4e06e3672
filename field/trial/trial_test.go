package trial

import (
	"bytes"
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
	seeds = flag.Uint64("trial.seeds", 40, "cases per condition")
	from  = flag.Uint64("trial.seed", 1, "first seed")
	only  = flag.String("trial.only", "", "only the condition of this name")
	dump  = flag.String("trial.dump", "", "write plan and capture of every case to this folder")
)

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

// TestDecisions is the decision benchmark on a small row of seeds; -trial.seeds
// makes it a large one. It prints the table that the developers' guide keeps.
func TestDecisions(t *testing.T) {
	var table strings.Builder
	fmt.Fprintln(&table, "\n| condition | coils | wrong claims | undecided | first cause right | wrong outcomes | false alarms | right at p 0.99-0.999 | right above | time a case | plain method wrong |")
	fmt.Fprintln(&table, "|---|---|---|---|---|---|---|---|---|---|---|")
	for _, c := range Conditions() {
		if *only != "" && c.Name != *only {
			continue
		}
		if *dump != "" {
			for seed := *from; seed < *from+*seeds; seed++ {
				k, err := Make(c, seed)
				if err != nil {
					t.Fatal(err)
				}
				base := filepath.Join(*dump, fmt.Sprintf("%s-%d", c.Name, seed))
				if err := os.WriteFile(base+".toml", k.PlanTOML, 0o644); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(base+".jsonl", k.Capture, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
		s, err := Run(program, c, *from, *seeds)
		if err != nil {
			t.Fatal(err)
		}
		share := func(n, of int) string {
			if of == 0 {
				return "-"
			}
			return fmt.Sprintf("%d of %d (%.2f %%)", n, of, 100*float64(n)/float64(of))
		}
		fmt.Fprintf(&table, "| %s | %d | %d | %s | %s | %d | %d | %s | %s | %d ms | %s |\n", c.Title, s.Coils, s.Wrong, share(s.Undecided, s.Coils),
			share(s.CausesRight, s.CausesScored), s.WrongOutcome, s.FalseAlarms, share(s.ClaimsRight, s.Claims), share(s.SurerRight, s.Surer),
			s.Time.Milliseconds()/int64(max(1, s.Cases)), share(s.PlainWrong, s.Plain))
		for _, w := range s.Worst {
			t.Logf("%s, %s", c.Name, w)
		}
		// What the condition allows, and what so few coils cannot exclude: a
		// judge at the limit would exceed these in one row of seeds in hundreds.
		if most := c.WrongAtMost*float64(s.Coils)*3 + 2; float64(s.Wrong) > most {
			t.Errorf("%s: %d wrong claims on %d coils, more than %.0f", c.Name, s.Wrong, s.Coils, most)
		}
		// The verdict must be far better than the plain method at what it claims.
		if s.Plain > 0 && float64(s.Wrong)/float64(s.Coils) > 0.1*float64(s.PlainWrong)/float64(s.Plain) {
			t.Errorf("%s: hardly better than the sign alone (%d of %d against %d of %d)", c.Name, s.Wrong, s.Coils, s.PlainWrong, s.Plain)
		}
	}
	t.Log(table.String())
}

// TestCasesFollowTheContract reads every made-up plan and capture with the
// program's own strict parsers.
func TestCasesFollowTheContract(t *testing.T) {
	for _, c := range Conditions() {
		for seed := uint64(1000); seed < 1020; seed++ {
			k, err := Make(c, seed)
			if err != nil {
				t.Fatal(err)
			}
			p, err := layout.Parse("trial.toml", k.PlanTOML)
			if err != nil {
				t.Fatalf("%s, seed %d: %v", c.Name, seed, err)
			}
			got, err := capture.Read(bytes.NewReader(k.Capture))
			if err == nil {
				err = got.Check(p)
			}
			if err != nil {
				t.Fatalf("%s, seed %d: %v", c.Name, seed, err)
			}
			if len(k.Truth.Coils) != len(p.Coils) {
				t.Fatalf("%s, seed %d: %d coils in the truth, %d in the plan", c.Name, seed, len(k.Truth.Coils), len(p.Coils))
			}
		}
	}
}

// TestSameSeedSameCase: a case can be looked at again.
func TestSameSeedSameCase(t *testing.T) {
	for _, c := range Conditions() {
		a, err := Make(c, 7)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Make(c, 7)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(a.PlanTOML, b.PlanTOML) || !bytes.Equal(a.Capture, b.Capture) {
			t.Errorf("%s: the same seed made another case", c.Name)
		}
	}
}
