package verdict

import (
	"math"
	"testing"

	"polewise/assets/demotest"
	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/layout"
)

// warmed is the kennel bed, and a model of it.
func warmed(t *testing.T) (*layout.Plan, *Model) {
	t.Helper()
	p := demotest.Plan(t, "kennel")
	m, err := Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	return p, m
}

// madeUp is what a made-up phone reads over a pad.
func madeUp(t *testing.T, p *layout.Plan, o rehearsal.Options) *capture.Capture {
	t.Helper()
	made, err := rehearsal.Make(p, o)
	if err != nil {
		t.Fatal(err)
	}
	c, err := capture.FromLines(made.Lines)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestWaysPromiseNoMore: what is kept of a pass is its likelihood as a function of
// the ampere-turns, seen from some of them. Seen from ampere-turns that fit nothing
// it may be too low for others; it must never be higher than what those that fit
// best come to, or coils are called what they are not.
func TestWaysPromiseNoMore(t *testing.T) {
	o := rehearsal.Defaults()
	o.Seed, o.Passes, o.TellOffsetMM, o.OffsetMM = 4, true, -1, &[2]float64{-6, 21}
	o.Faults = []layout.Fault{{Kind: layout.StringsInSeries, IDs: []string{"A", "B"}}}
	p, m := warmed(t)
	c := madeUp(t, p, o)
	ev, err := gather(p, []*capture.Capture{c})
	if err != nil {
		t.Fatal(err)
	}
	m.settlePlaces(ev)
	e := m.newEngine(ev, fineCells)
	e.search()
	const slack = 5 // samples may fit a little better than those of the best way
	ways := 0
	for i := range ev.passes {
		d := &ev.passes[i]
		top := math.Inf(-1)
		for l := range d.lanes {
			top = max(top, d.lanes[l].top())
		}
		for l := range d.lanes {
			for _, share := range [...]float64{-1, 0, 1, 2} {
				g := d.aligner.asPlanned()
				for q := range g.share {
					g.share[q] = share
				}
				before := len(d.lanes[l].ways)
				d.aligner.add(l, g)
				if len(d.lanes[l].ways) == before {
					continue
				}
				w := &d.lanes[l].ways[before]
				d.lanes[l].ways = d.lanes[l].ways[:before]
				for _, s := range e.singles {
					h := newHypothesis(e.m, []layout.Fault{s.Fault}, 0)
					var all []int
					var by []float64
					for i, j := range d.near {
						all, by = append(all, i), append(by, h.ampTurns()[j]-d.aligner.planned[i])
					}
					f := w.seenFrom(d.aligner.planned, nil, l)
					a, b := f.form(nil, all, by)
					ways++
					if promised := w.log + b - a/2; promised > top+slack {
						t.Errorf("pass from %s seen as of coils with %.0f times their current, %.0f mm beside the line: %v is promised %.1f, the best that was found is %.1f", d.label, share, 1000*d.lanes[l].side, s.Fault, promised, top)
					}
				}
			}
		}
	}
	if ways == 0 {
		t.Fatal("nothing was looked at")
	}
}
