package verdict

import (
	"context"
	"fmt"
	"math"

	"polewise/field/capture"
)

// Place is where a phone's sensor was found to sit relative to the mark laid on
// the coil, phone frame, metres. SD is how well that is known, each axis.
type Place struct {
	Offset, SD [2]float64
	// Holds is how many holds bear on it.
	Holds int
	// Doubt says in words why it is not to be relied on, whatever its SD; empty
	// where nothing speaks against it.
	Doubt string
}

const (
	maxLocated   = 60   // hypotheses that are averaged over
	locatedShare = 1e-4 // chance of one, to be among them
	edgeChance   = 0.02 // that the sensor sits in the outermost cells, at most
	leastPull    = 15.0 // uT: less than this over every hold tells of no place
	widerPrior   = 1.35 // times the usual spread: the mark is whatever the owner takes for the phone's middle
)

// placeCells are finer than those of a verdict: here the place itself is asked for.
var placeCells = resolution{step: 0.005, sd: 0.0035, margin: 2, scales: 5}

// LocateUntil finds a sensor's place from one phone's holds, over whatever may be
// wrong with the pad; it gives up with ErrHalted when ctx ends. What the start line says of
// the place counts as known.
func (m *Model) LocateUntil(ctx context.Context, c *capture.Capture) (p *Place, err error) {
	err = m.until(ctx, func() (err error) { p, err = m.locate(c); return err })
	return p, err
}

// locate finds a sensor's place, and what speaks against relying on it.
func (m *Model) locate(c *capture.Capture) (*Place, error) {
	ev, err := gather(m.plan, []*capture.Capture{c})
	if err != nil {
		return nil, err
	}
	src := ev.sources[0]
	out := &Place{Offset: src.offset, SD: src.sd, Holds: len(ev.holds)}
	if len(ev.holds) == 0 {
		out.Doubt = "no reading with the supply on has come in"
		if len(ev.notes) > 0 {
			out.Doubt = ev.notes[0]
		}
		return out, nil
	}
	if d := ev.faintest(); d != "" {
		out.Doubt = d
		return out, nil
	}
	if !src.known {
		for a := range ev.sources[0].sd {
			ev.sources[0].sd[a] *= widerPrior
		}
	}
	e := m.newEngine(ev, placeCells)
	list := e.search()
	ph := e.phones[0]
	p, first := e.chances(0, list)
	out.moments(ph, p)
	switch strays := e.unexplained(first).holds; {
	case first == nil:
		out.Doubt = "nothing known here explains the readings"
	case len(strays) > 0:
		out.Doubt = fmt.Sprintf("a reading over %s fits no place in the phone: the mark may have been off the middle, or the phone turned another way than asked", strays[0].label)
	case atEdge(ph, p) > edgeChance:
		out.Doubt = "it seems to sit further out than in any phone known here: is the mark the middle of the phone?"
	}
	return out, nil
}

// faintest says so where no hold shows a pull; else it is empty.
func (ev *evidence) faintest() string {
	for i := range ev.holds {
		for _, r := range ev.holds[i].readings {
			if math.Sqrt(r.Ax[0].D*r.Ax[0].D+r.Ax[1].D*r.Ax[1].D+r.Ax[2].D*r.Ax[2].D) >= leastPull {
				return ""
			}
		}
	}
	return fmt.Sprintf("%s gives hardly any field: is the supply really switched, and is that coil alive?", ev.holds[0].label)
}

// moments sets mean and spread from the chances of the offset cells, each of which stands for a
// small Gaussian.
func (pl *Place) moments(ph *phone, p []float64) {
	var sum float64
	var mean, square [2]float64
	for c, cell := range ph.cells {
		o := ph.offset(ph.middle(cell))
		sum += p[c]
		for a, x := range [2]float64{o.X, o.Y} {
			mean[a] += p[c] * x
			square[a] += p[c] * x * x
		}
	}
	if sum <= 0 {
		return
	}
	for a := range mean {
		mean[a] /= sum
		pl.Offset[a] = mean[a]
		pl.SD[a] = math.Sqrt(math.Max(square[a]/sum-mean[a]*mean[a], 0) + ph.sd*ph.sd)
	}
}

// atEdge is the share of the chance in the outermost cells.
func atEdge(ph *phone, p []float64) float64 {
	var edge, sum float64
	for c, cell := range ph.cells {
		i, j := cell/ph.oy, cell%ph.oy
		sum += p[c]
		if i == 0 || j == 0 || i == ph.ox-1 || j == ph.oy-1 {
			edge += p[c]
		}
	}
	return edge / math.Max(sum, 1e-300)
}
