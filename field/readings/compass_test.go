package readings

import (
	"math"
	"testing"

	"polewise/field/capture"
	"polewise/layout"
)

// TestTurn: a compass that follows a second behind is told where it was going, and what is
// missing is told apart.
func TestTurn(t *testing.T) {
	const was, is, lag = 30.0, 75.0, 1.0 // degrees, and seconds
	for name, c := range map[string]struct {
		on, to float64 // when the supply was switched on, and the hold ended
		rest   bool    // a rest came before
		lack   Lack
	}{
		"off and on":         {3, 6, false, LacksNothing},
		"never on":           {9, 6, false, LacksOn},
		"on too short":       {3, 3.2, false, LacksTime},
		"never off":          {-9, 6, false, LacksOff},
		"off in a rest only": {-1, 6, true, LacksNothing},
	} {
		t.Run(name, func(t *testing.T) {
			cut := &capture.Stretches{
				Drives: []capture.Drive{{T: -10, State: capture.Off}, {T: c.on, State: capture.On}},
				Holds:  []capture.Stretch{{From: 0, To: c.to, Hold: &capture.Hold{}}},
			}
			if c.rest {
				cut.Rests = []capture.Stretch{{From: -5, To: -2}}
				for at := -5.0; at < -2; at += 0.1 {
					cut.Rests[0].Bearings = append(cut.Rests[0].Bearings, capture.Bearing{T: at, Deg: was})
				}
			}
			for at := 0.05; at < c.to; at += 0.1 {
				deg := was
				if at > c.on {
					deg = is + (was-is)*math.Exp(-(at-c.on)/lag)
				}
				cut.Holds[0].Bearings = append(cut.Holds[0].Bearings, capture.Bearing{T: at, Deg: deg})
			}
			turn, lack := Of(&layout.Plan{}, cut, 0).Turn(0)
			if lack != c.lack {
				t.Fatalf("lacks %d, expected %d", lack, c.lack)
			}
			if by := (turn.On - turn.Off) * 180 / math.Pi; lack == LacksNothing && math.Abs(by-(is-was)) > 4 {
				t.Errorf("turned by %.1f degrees, expected %.0f", by, is-was)
			}
			// In a rest the phone lay elsewhere, by steel that bends the earth's field.
			if least := 8 * math.Pi / 180; c.rest && turn.SDOff < least {
				t.Errorf("off is known to %.3f from a rest, expected no better than %.3f", turn.SDOff, least)
			}
		})
	}
}
