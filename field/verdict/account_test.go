package verdict_test

import (
	"context"
	"errors"
	"math"
	"testing"

	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/field/verdict"
	"polewise/layout"
)

// TestAccountOfHolds holds what was expected against what was read: the best
// explanation within a few of its standard deviations, its rival further off
// where a reading tells the two apart.
func TestAccountOfHolds(t *testing.T) {
	p := kennel(t)
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	captures := capturesOf(p, careful(7, layout.Fault{Kind: layout.CoilReversed, ID: "B2"}))
	v, a, err := m.AccountUntil(t.Context(), nil, captures...)
	if err != nil {
		t.Fatal(err)
	}
	if v.Outcome != verdict.Fault || a.Best != "Coil B2 faces the wrong way." {
		t.Fatalf("outcome %s, best %q", v.Outcome, a.Best)
	}
	cut := captures[0].Cut()
	if len(a.Holds) != len(cut.Holds) {
		t.Fatalf("%d holds accounted for, %d read", len(a.Holds), len(cut.Holds))
	}
	told := 0
	for i, h := range a.Holds {
		s := &cut.Holds[i]
		if h.T != s.From || h.At != s.Hold.Coil || h.Stray {
			t.Fatalf("hold %d: %+v", i, h)
		}
		on, rest := means(cut, s)
		for k := range on {
			if d := math.Abs(rest[k] - h.RestUT[k]); d > 3 {
				t.Errorf("%s axis %d: rest read %.1f, told %.1f", h.At, k, rest[k], h.RestUT[k])
			}
			if d := math.Abs(on[k] - h.ReadUT[k]); d > 3 {
				t.Errorf("%s axis %d: read %.1f, told %.1f", h.At, k, on[k], h.ReadUT[k])
			}
			if z := math.Abs(on[k]-h.Best.UT[k]) / h.Best.SD[k]; z > 4 {
				t.Errorf("%s axis %d: read %.1f, expected %.1f +- %.1f", h.At, k, on[k], h.Best.UT[k], h.Best.SD[k])
			}
		}
		// A reading that speaks against the rival lies further from what it
		// expected, and the other way round.
		if h.Rival != nil && h.Times > 10 {
			told++
			if far(on, h.Best) >= far(on, *h.Rival) {
				t.Errorf("%s: %.0f times better explained by the best, and further from it", h.At, h.Times)
			}
		}
	}
	if told == 0 {
		t.Error("no reading tells the best from its rival")
	}
}

func far(u [3]float64, x verdict.Expected) (sum float64) {
	for a := range u {
		sum += math.Pow((u[a]-x.UT[a])/x.SD[a], 2)
	}
	return sum
}

// means are the means of a hold's samples with the supply on and off.
func means(cut *capture.Stretches, s *capture.Stretch) (on, off [3]float64) {
	var n, m float64
	for _, b := range s.B {
		state := capture.Off
		settled := true
		for _, d := range cut.Drives {
			if d.T <= b.T {
				state = d.State
			}
			if math.Abs(d.T-b.T) < 0.3 {
				settled = false
			}
		}
		switch {
		case !settled:
		case state == capture.On:
			n++
			for a := range on {
				on[a] += b.UT[a]
			}
		default:
			m++
			for a := range off {
				off[a] += b.UT[a]
			}
		}
	}
	for a := range on {
		on[a] /= n
		off[a] /= m
	}
	return on, off
}

// TestTraceOfPasses lays passes along their rows: forward from the first coil to
// the last, over the field expected there.
func TestTraceOfPasses(t *testing.T) {
	p := kennel(t)
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	o := rehearsal.Defaults()
	o.Seed, o.Passes = 5, true
	o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "B2"}}
	o.TellOffsetMM, o.OffsetMM = 3, &[2]float64{2, 12}
	_, a, err := m.AccountUntil(t.Context(), nil, capturesOf(p, o)...)
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Passes) != 3 {
		t.Fatalf("%d passes, expected 3", len(a.Passes))
	}
	for _, s := range a.Passes {
		last := s.AtMM[len(s.AtMM)-1]
		if len(s.Read) < 20 || s.AtMM[0] != 0 || last < 200 {
			t.Fatalf("pass over %v: %d samples, %v mm", s.Coils, len(s.Read), s.AtMM)
		}
		if from, to := s.Read[0][0], s.Read[len(s.Read)-1][0]; math.Abs(from) > 60 || math.Abs(to-last) > 60 {
			t.Errorf("pass over %v goes from %.0f to %.0f mm, expected 0 to %.0f", s.Coils, from, to, last)
		}
		// Height differs along the way, so the shape counts, not the size.
		var rr, bb, rb float64
		for k, r := range s.Read {
			if k > 0 && r[0] < s.Read[k-1][0] {
				t.Fatalf("pass over %v goes back", s.Coils)
			}
			for i := range s.Best {
				if s.Best[i][0] >= r[0] {
					rr += r[1] * r[1]
					bb += s.Best[i][1] * s.Best[i][1]
					rb += r[1] * s.Best[i][1]
					break
				}
			}
		}
		if like := rb / math.Sqrt(rr*bb); like < 0.95 {
			t.Errorf("pass over %v: read and expected agree by %.2f only", s.Coils, like)
		}
	}
}

// TestHalt stops a verdict that is no longer wanted; the model is as good as
// before.
func TestHalt(t *testing.T) {
	p := kennel(t)
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	captures := capturesOf(p, careful(7, layout.Fault{Kind: layout.CoilReversed, ID: "B2"}))
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if v, _, err := m.AccountUntil(ctx, nil, captures...); !errors.Is(err, verdict.ErrHalted) || v != nil {
		t.Fatalf("%v, %v", v, err)
	}
	v, _, err := m.AccountUntil(context.Background(), nil, captures...)
	if err != nil || v.Outcome != verdict.Fault || v.Coils[4].State != verdict.StateReversed {
		t.Fatalf("after it: %+v, %v", v, err)
	}
}
