package verdict

import (
	"fmt"
	"math"
	"slices"

	"polewise/field/capture"
)

// A reading by hand or ohmmeter counts with the chance that it was read wrongly, and one that all
// else speaks against most likely was. But nobody should tape a pad while a meter shows something
// else: until somebody has looked again, the pad is not called as planned.

const (
	surelyMisread = 0.9 // weight of the explanations under which a reading is misread, for it to be asked for again
	readElsewise  = 2   // so many readings over a coil that agree outvote a face that does not
)

// toReadAgain asks again for the readings by hand and ohmmeter that all else speaks against, unless
// they were read again since.
func (e *engine) toReadAgain(list []*scored, weights []float64) (again []Next) {
	under := func(wrong func(h *hypothesis) bool) bool {
		sum := 0.0
		for i, s := range list {
			if wrong(s.hyp) {
				sum += weights[i]
			}
		}
		return sum > surelyMisread
	}
	for i := range e.ev.ohms {
		r := &e.ev.ohms[i]
		later := slices.ContainsFunc(e.ev.ohms[i+1:], func(o ohmReading) bool { return o.kind == r.kind && o.index == r.index })
		if later || !under(r.misreadUnder) {
			continue
		}
		showed, want := "open", "it is open"
		switch {
		case r.leaked > 0:
			showed = fmt.Sprintf("%.0f ohm, as good as open,", r.leaked)
		case !math.IsInf(r.ohms, 1):
			showed = fmt.Sprintf("%.3g ohm", r.ohms)
		}
		if ohms := r.expected(list[0].hyp); !math.IsInf(ohms, 1) {
			want = fmt.Sprintf("%.3g ohm", ohms)
		}
		again = append(again, r.again(e.m.plan, fmt.Sprintf("The ohmmeter showed %s across %s, where everything else says %s. Measure it again, unplugged and with the supply off.", showed, r.across(e.m.plan), want)))
	}
	for _, faces := range e.faces {
		f := &faces[len(faces)-1]
		otherwise := e.used(f.coil) - e.measured(f.coil) - len(faces)
		if otherwise >= readElsewise || !under(func(h *hypothesis) bool { return e.m.slipped(f, h) && otherwise+e.m.agreeing(faces, h) < readElsewise }) {
			continue
		}
		id := e.m.plan.Coils[f.coil].ID
		again = append(again, Next{At: id, Why: fmt.Sprintf("Over %s %s was read by hand, and everything else says otherwise. Read its face once more.", id, faceWords(f.face))})
	}
	return again
}

// slipped tells whether under a hypothesis a face could only be read by a slip.
func (m *Model) slipped(f *faceReading, h *hypothesis) bool {
	bz := m.topUnder(h, f.coil)
	chance, read := m.faceShown(f.coil, bz, h), faceRead(bz)
	at, sum := slices.Index(shownFaces[:], f.face), 0.0
	for shown, c := range chance {
		sum += c * read[shown][at]
	}
	return sum < handWrong
}

// agreeing counts the faces read over a coil that a hypothesis explains.
func (m *Model) agreeing(faces []faceReading, h *hypothesis) (n int) {
	for i := range faces {
		if !m.slipped(&faces[i], h) {
			n++
		}
	}
	return n
}

// faceWords is how a face is said in a sentence.
func faceWords(f capture.Face) string {
	if f == capture.None {
		return "no face"
	}
	return string(f) + " up"
}
