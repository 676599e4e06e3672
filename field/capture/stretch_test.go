package capture

import "testing"

// TestCutKeepsWhatOthersCountOn: what a cut says of a stretch besides its samples.
func TestCutKeepsWhatOthersCountOn(t *testing.T) {
	cut := func(lines ...Line) *Stretches {
		t.Helper()
		c, err := FromLines(append([]Line{Start{V: 1, Route: Vector, TopDeg: 90}}, lines...))
		if err != nil {
			t.Fatal(err)
		}
		return c.Cut()
	}
	minus, five := -1.0, 5.0
	b := func(t, x float64) B { return B{T: t, UT: [3]float64{x, 0, 0}} }

	s := cut(Drive{T: 1, State: Off}, b(1.1, 1), b(1.2, 1), b(1.3, 1), b(4, 2), Drive{T: 5, State: On}, Hold{T: 6, Coil: "A1"},
		Bearing{T: 6.1, Deg: 10, AccuracyDeg: &minus}, Bearing{T: 6.2, Deg: 20, AccuracyDeg: &five}, Bearing{T: 6.3, Deg: 30}, b(7, 3))
	rest, hold := s.Rests[0], s.Holds[0]
	if rest.From != 1.1 || rest.To != 5 || rest.TopDeg != 90 {
		t.Errorf("rest of %g to %g s, top edge at %g", rest.From, rest.To, rest.TopDeg)
	}
	if rest.B[0].Until != 1.3 || rest.B[1].Until != 0 || rest.Repeated != 2 {
		t.Errorf("a reading that came again: %+v, %d repeated", rest.B, rest.Repeated)
	}
	if len(hold.Bearings) != 2 {
		t.Errorf("%d headings; one with an accuracy below zero is none", len(hold.Bearings))
	}
	if !hold.Open || hold.To != 7 {
		t.Errorf("the open hold lasts to %g s, open %v", hold.To, hold.Open)
	}
	for at, want := range map[float64]DriveState{1: Off, 4.999: Off, 5: On, 9: On} {
		if d, known := s.DriveAt(at); !known || d.State != want {
			t.Errorf("at %g s the supply is %q, expected %q", at, d.State, want)
		}
	}
	if _, known := s.DriveAt(0.5); known {
		t.Error("the supply is known before it was told")
	}

	s = cut(Drive{T: 0, State: On}, Pass{T: 1, Along: []string{"A1", "A2"}}, b(2, 1), PassEnd{T: 3}, b(4, 2), Hold{T: 5, Coil: "A1"}, b(6, 3), Lift{T: 7})
	if p := s.Passes[0]; p.To != 3 || len(p.B) != 1 || p.Open {
		t.Errorf("the pass lasts to %g s with %d samples, open %v", p.To, len(p.B), p.Open)
	}

	s = cut(b(20, 1), b(1, 2), b(2, 3))
	if s.Backward != 3 {
		t.Errorf("time goes back in line %d, expected 3, the first that does", s.Backward)
	}
}
