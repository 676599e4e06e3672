package verdict

import (
	"testing"

	"polewise/field/readings"
)

// TestRestOfAPhoneTurned: the background of a phone turned otherwise in its rest is known
// less well.
func TestRestOfAPhoneTurned(t *testing.T) {
	e := &engine{ev: &evidence{rests: []restReading{{source: 0, Rest: readings.Rest{B: [3]float64{20, 0, -40}, TopDeg: 0, Sure: true}}}}}
	same, turned := e.groupFor(0, 10), e.groupFor(0, 180)
	if e.groups[turned].sd[0] <= e.groups[same].sd[0] {
		t.Errorf("as in the rest to %v, turned to %v uT", e.groups[same].sd, e.groups[turned].sd)
	}
}
