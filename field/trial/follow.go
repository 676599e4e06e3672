package trial

import (
	"fmt"
	"io"
	"math"
	"time"

	"polewise/field/verdict"
)

// Followed is a score reached by doing what the verdict asks for.
type Followed struct {
	Score
	Asked int // readings taken on top of the condition's own
}

// MostAsked bounds the readings that are taken because a verdict asks for them.
const MostAsked = 6

// Follow puts a case to a judge, takes the reading it asks for next, and so on
// until nothing is open any more or MostAsked were taken. The last answer is
// scored.
func (c *Case) Follow(judge Judge, into *Followed) error {
	if c.session.take == nil {
		return fmt.Errorf("condition %s: its readings cannot be taken again", c.Condition.Name)
	}
	for asked := 0; ; asked++ {
		began := time.Now()
		v, err := judge(c.PlanTOML, c.Capture)
		if err != nil {
			return fmt.Errorf("condition %s, seed %d, after %d more readings: %w", c.Condition.Name, c.Truth.Seed, asked, err)
		}
		if asked == MostAsked || !open(v) || v.Next == nil {
			into.Asked += asked
			_, err := c.score(v, time.Since(began), &into.Score)
			return err
		}
		if err := c.session.answer(v.Next); err != nil {
			return fmt.Errorf("condition %s, seed %d: %w", c.Condition.Name, c.Truth.Seed, err)
		}
		c.Capture = c.session.capture()
	}
}

// open tells whether a verdict leaves anything undecided.
func open(v *verdict.Verdict) bool {
	for _, k := range v.Coils {
		if k.State == verdict.StateUndecided {
			return true
		}
	}
	return v.Outcome == verdict.Undecided
}

// answer takes the reading that is asked for.
func (s *session) answer(n *verdict.Next) error {
	j := s.p.coilIndex(n.At)
	switch {
	case n.Route == "ohms" || n.Across != "":
		if s.state != "off" {
			s.drive("off", 0, 0)
		}
		across := n.Across
		if across == "" {
			across = "coil:" + n.At
		}
		s.measure(across)
	case j < 0:
		return fmt.Errorf("asked for a reading at %q, which is no coil", n.At)
	default:
		var o holdOptions
		if n.TopDeg != nil {
			o.turn = math.Mod(*n.TopDeg-s.phone.topDeg, 360)
		} else {
			o.turn = math.Mod(-s.phone.topDeg, 360) // asked for without a word on it: top edge away
		}
		if len(n.ShiftMM) == 2 {
			o.shift = &[2]float64{n.ShiftMM[0] * 1e-3, n.ShiftMM[1] * 1e-3}
		}
		s.take(j, o)
	}
	return nil
}

// runFollowed follows a row of cases.
func runFollowed(judge Judge, c Condition, first, count uint64) (*Followed, error) {
	t := &Followed{}
	return t, each(c, first, count, func(k *Case) error { return k.Follow(judge, t) })
}

// writeFollowed writes the table of what following the verdict comes to.
func writeFollowed(w io.Writer, conditions []Condition, scores []*Followed) {
	fmt.Fprintf(w, "| condition, and up to %d readings asked for | pads | coils | readings asked for, a pad | wrong claims | undecided | first cause right | faulty called as planned | false alarms |\n", MostAsked)
	fmt.Fprintln(w, "|---|---:|---:|---:|---:|---:|---:|---:|---:|")
	for i, t := range scores {
		fmt.Fprintf(w, "| %s | %d | %d | %.1f | %d | %s | %s of %d | %d | %d of %d |\n", conditions[i].Title, t.Pads, t.Coils, share(t.Asked, t.Pads), t.WrongClaims,
			percent(t.Undecided, t.Coils), percent(t.CauseRight, t.FaultyPads), t.FaultyPads, t.WrongSound, t.FalseAlarms, t.SoundPads)
	}
}
