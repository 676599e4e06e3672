package verdict

import "testing"

// TestCoarseLookAtBigPads: the coarse look at a big pad goes by part of its compass holds, taken
// all over it; where anything else was read by phone it goes by all.
func TestCoarseLookAtBigPads(t *testing.T) {
	for _, n := range []int{1, enoughBearings, 3*enoughBearings/2 - 1} {
		ev := &evidence{bearings: make([]bearingDigest, n)}
		if ev.forCoarseLook() != ev {
			t.Errorf("%d holds: expected all of them", n)
		}
	}
	for _, n := range []int{3 * enoughBearings / 2, 400} {
		ev := &evidence{bearings: make([]bearingDigest, n)}
		for i := range ev.bearings {
			ev.bearings[i].coil = i
		}
		few := ev.forCoarseLook().bearings
		if len(few) != enoughBearings || len(ev.bearings) != n {
			t.Errorf("%d holds: expected %d of them and all of them kept, found %d and %d", n, enoughBearings, len(few), len(ev.bearings))
		}
		most := (n + enoughBearings - 1) / enoughBearings
		for i, last := 0, -1; i < len(few); i++ {
			if step := few[i].coil - last; step < 1 || step > most {
				t.Errorf("%d holds: from number %d to %d, expected steps of 1 to %d", n, last, few[i].coil, most)
			}
			last = few[i].coil
		}
		if last := few[len(few)-1].coil; last < n-most {
			t.Errorf("%d holds: the last is number %d", n, last)
		}
		ev.holds = make([]digest, 1)
		if ev.forCoarseLook() != ev {
			t.Errorf("%d holds by compass and one by field: expected all of them", n)
		}
	}
}
