package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field/capture"
	"polewise/layout"
)

// TestWayThatTurns: two rows in one pass, there and back, with the phone's top edge the same
// way all the time. Its sensor stays on the same side of the mark in the pad's axes, and not
// in those of the way. Where nobody said on which, the pass tells nothing.
func TestWayThatTurns(t *testing.T) {
	plan, err := layout.Load("../../assets/demo/kennel.toml")
	if err != nil {
		t.Fatal(err)
	}
	m, err := Warm(plan)
	if err != nil {
		t.Fatal(err)
	}
	h := newHypothesis(plan, []layout.Fault{{Kind: layout.CoilReversed, ID: "B2"}}, 0)
	along := []string{"A1", "A2", "A3", "B3", "B2", "B1"}
	offset := r2.Vec{X: 6, Y: 40}
	rng := rand.New(rand.NewPCG(5, 6))
	drawn := func(sensor string) []string {
		lines := []string{fmt.Sprintf(`{"type":"start","v":1,"route":"vector"%s}`, sensor), `{"type":"drive","t":0,"state":"off"}`}
		read := func(now float64, at r3.Vec, on float64) {
			b := r3.Scale(1e6*on, m.pad.At(h.at, at))
			lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.2f,"uT":[%.2f,%.2f,%.2f]}`, now, 18+b.X+0.4*rng.NormFloat64(), -5+b.Y+0.4*rng.NormFloat64(), -42+b.Z+0.4*rng.NormFloat64()))
		}
		over := func(p r2.Vec) r3.Vec {
			return r3.Vec{X: p.X + offset.X*1e-3, Y: p.Y + offset.Y*1e-3, Z: plan.SensorHeight(0)}
		}
		now := 0.1
		for ; now < 2; now += 0.1 {
			read(now, over(plan.Coils[0].At), 0)
		}
		lines = append(lines, fmt.Sprintf(`{"type":"drive","t":%.2f,"state":"on"}`, now), fmt.Sprintf(`{"type":"pass","t":%.2f,"along":["%s"]}`, now+0.3, strings.Join(along, `","`)))
		now += 0.4
		for i := 1; i < len(along); i++ {
			from, to := plan.Coils[plan.CoilIndex(along[i-1])].At, plan.Coils[plan.CoilIndex(along[i])].At
			steps := int(math.Round(r2.Norm(r2.Sub(to, from)) / 0.010))
			for k := range steps {
				read(now, over(r2.Add(from, r2.Scale(float64(k)/float64(steps), r2.Sub(to, from)))), 1)
				now += 0.1
			}
		}
		return append(lines, fmt.Sprintf(`{"type":"pass-end","t":%.2f}`, now))
	}
	judge := func(lines []string) *Verdict {
		c, err := capture.Read(strings.NewReader(strings.Join(lines, "\n")))
		if err != nil {
			t.Fatal(err)
		}
		v, err := m.Judge(c)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	told := judge(drawn(`,"sensor":{"offset_mm":[5,42],"offset_sd_mm":[4,4]}`))
	for _, id := range along {
		want := StateAsPlanned
		if id == "B2" {
			want = StateReversed
		}
		if c := told.Coils[plan.CoilIndex(id)]; c.State != want {
			t.Errorf("%s is %s, told as %s (%v)", id, want, c.State, c.P)
		}
	}
	unknown := judge(drawn(""))
	for _, c := range unknown.Coils {
		if c.State != StateUndecided {
			t.Errorf("with the sensor anywhere %s is told as %s", c.ID, c.State)
		}
	}
	if notes := strings.Join(unknown.Notes, " "); !strings.Contains(notes, "turns") {
		t.Errorf("nobody is told why: %q", notes)
	}
}
