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

// drawnAlong is a pass at ten centimetres a second, straight from each coil to the next, with
// the phone's top edge away from the person all the time; and what a verdict makes of it.
func drawnAlong(t *testing.T, m *Model, h *hypothesis, along []string, sensor string) *Verdict {
	t.Helper()
	plan, offset := m.plan, r2.Vec{X: 6, Y: 40}
	rng := rand.New(rand.NewPCG(5, 6))
	lines := []string{fmt.Sprintf(`{"type":"start","v":1,"route":"vector"%s}`, sensor), `{"type":"drive","t":0,"state":"off"}`}
	read := func(now float64, at r3.Vec, on float64) {
		b := r3.Scale(1e6*on, m.pad.At(h.ampTurns(), at))
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
	lines = append(lines, fmt.Sprintf(`{"type":"pass-end","t":%.2f}`, now))
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

const sensorTold = `,"sensor":{"offset_mm":[5,42],"offset_sd_mm":[4,4]}`

// onlyReversed holds every coil of a way to being as planned but one; so many may be undecided.
func onlyReversed(t *testing.T, m *Model, v *Verdict, along []string, reversed string, undecided int) {
	t.Helper()
	for _, id := range along {
		want := StateAsPlanned
		if id == reversed {
			want = StateReversed
		}
		c := v.Coils[m.plan.CoilIndex(id)]
		if c.State == StateUndecided {
			undecided--
		}
		if c.State != want && (c.State != StateUndecided || undecided < 0) {
			t.Errorf("%s is %s, told as %s (%v)", id, want, c.State, c.P)
		}
	}
}

// TestToAndFroOverSmallCoils: three rows of coils no wider than the sensor is off the mark, in
// one pass. Rows are most of the way, and what is not known of the sensor's place along them
// matters on the two steps between only.
func TestToAndFroOverSmallCoils(t *testing.T) {
	text := "format = 1\nname = \"small\"\n[supply]\nvolts = 2\n[[winding]]\nid = \"w\"\nshape = \"round\"\ninner = 36\nturns = 50\nbuild = 5\nwidth = 8\nwire_awg = 24\n"
	for y, row := range []string{"A", "B", "C"} {
		for x := range 3 {
			text += fmt.Sprintf("[[coil]]\nid = \"%s%d\"\nwinding = \"w\"\nat = [%d, %d]\n", row, x+1, 40+58*x, 40+58*y)
		}
		text += fmt.Sprintf("[[string]]\nid = %q\ncoils = [\"%s1\", \"%s2\", \"%s3\"]\n", row, row, row, row)
	}
	plan, err := layout.Parse("small", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	m, err := Warm(plan)
	if err != nil {
		t.Fatal(err)
	}
	along := []string{"A1", "A2", "A3", "B3", "B2", "B1", "C1", "C2", "C3"}
	v := drawnAlong(t, m, newHypothesis(m, []layout.Fault{{Kind: layout.CoilReversed, ID: "B2"}}, 0), along, sensorTold)
	onlyReversed(t, m, v, along, "B2", 3)
}

// TestWayThatTurns: two rows in one pass, there and back, with the phone's top edge the same
// way all the time. Its sensor stays on the same side of the mark in the pad's axes, and not
// in those of the way. Where nobody said on which, the pass tells nothing.
func TestWayThatTurns(t *testing.T) {
	_, m := warmed(t)
	h := newHypothesis(m, []layout.Fault{{Kind: layout.CoilReversed, ID: "B2"}}, 0)
	along := []string{"A1", "A2", "A3", "B3", "B2", "B1"}
	onlyReversed(t, m, drawnAlong(t, m, h, along, sensorTold), along, "B2", 0)
	unknown := drawnAlong(t, m, h, along, "")
	for _, c := range unknown.Coils {
		if c.State != StateUndecided {
			t.Errorf("with the sensor anywhere %s is told as %s", c.ID, c.State)
		}
	}
	if notes := strings.Join(unknown.Notes, " "); !strings.Contains(notes, "turns") {
		t.Errorf("nobody is told why: %q", notes)
	}
}
