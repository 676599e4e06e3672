package verdict

import (
	"cmp"
	"context"
	"math"
	"slices"

	"polewise/field/capture"
	"polewise/field/readings"
)

// Account is a verdict's reasons reading by reading: beside what was read, what
// the best explanation and its best rival expected there.
type Account struct {
	Why
	Holds  []HoldAccount `json:"holds"`
	Passes []PassAccount `json:"passes"`
}

// HoldAccount is one hold of the vector route, in the phone's axes, microtesla.
type HoldAccount struct {
	Capture int        `json:"capture"` // which of the captures judged
	T       float64    `json:"t"`       // when it began
	At      string     `json:"at"`
	RestUT  [3]float64 `json:"rest_uT"` // with the supply off, as read or as the best explanation has it
	ReadUT  [3]float64 `json:"read_uT"` // with the supply on, a pulse at its top
	Own     bool       `json:"own"`     // the rest was read within the hold itself
	Best    Expected   `json:"best"`
	Rival   *Expected  `json:"rival,omitempty"`
	// Times is how many times better the best explains it than the rival.
	Times float64 `json:"times,omitempty"`
	// Stray says that not even the best explains it.
	Stray bool `json:"stray"`
}

// Expected is what an explanation expects a phone to read with the supply on,
// before this reading said where exactly the phone lay: the mean over where a
// hand may have laid it, and the standard deviation.
type Expected struct {
	UT [3]float64 `json:"uT"`
	SD [3]float64 `json:"sd_uT"`
}

// AccountUntil judges as Judge does and accounts for every reading; it gives up with ErrHalted
// when ctx ends. What was read before a mend, if any, counts where the mend left coils alone.
func (m *Model) AccountUntil(ctx context.Context, before *Before, captures ...*capture.Capture) (v *Verdict, a *Account, err error) {
	err = m.until(ctx, func() error {
		e, list, err := m.decide(before, captures)
		if err != nil {
			return err
		}
		v, a = e.conclude(list), e.account(list)
		return nil
	})
	return v, a, err
}

// account accounts for every reading since the last mend.
func (e *engine) account(list []*scored) *Account {
	a := &Account{Why: *e.why(list), Holds: []HoldAccount{}, Passes: []PassAccount{}}
	if len(list) == 0 || len(e.factors) == 0 {
		return a
	}
	best := e.evaluate(&scored{hyp: list[0].hyp})
	var rival *node
	if h := e.rival(list[0].hyp); h != nil {
		rival = e.evaluate(&scored{hyp: h})
	}
	odd := e.unexplained(best)
	for i, f := range e.factors {
		if e.ev.sources[f.frame().src].mended != nil {
			continue // read in an earlier check
		}
		switch f := f.(type) {
		case *holdFactor:
			h := HoldAccount{Capture: f.source, T: f.from, At: f.label, Own: f.toggled, Stray: slices.Contains(odd.holds, f)}
			h.RestUT, h.ReadUT, h.Best = e.expects(best, i, f)
			if rival != nil {
				_, _, r := e.expects(rival, i, f)
				h.Rival = &r
				h.Times = times(e.logOf(best, i) - e.logOf(rival, i))
			}
			a.Holds = append(a.Holds, h)
		case *passFactor:
			p := e.trace(best, rival, i, f)
			p.Stray = slices.Contains(odd.passes, f)
			a.Passes = append(a.Passes, p)
		}
	}
	return a
}

// expects is the background under a hold, what the hold read with the supply on, and what a node
// expects it to read, before the hold itself tells where the mark was laid.
func (e *engine) expects(n *node, i int, h *holdFactor) (rest, read [3]float64, x Expected) {
	cell, m := e.likeliest(n, h.source)
	r := slices.MaxFunc(h.readings, func(a, b reading) int { return cmp.Compare(a.LogW, b.LogW) })
	s := n.sc.s[m] * r.share // told is what the phone read, with the supply as it was set then
	c := h.ph.cells[cell]
	i0, j0 := c/h.ph.oy, c%h.ph.oy
	var mean, square [3]float64
	field := e.fieldOf(n, i)
	for di, ki := range h.ph.across[j0] {
		for dj, kj := range h.ph.up[i0] {
			f := &field[h.ph.slot[(i0+di)*h.ph.ny+j0+dj]]
			w := ki * kj
			open := h.spread(f, n.sc.sd, h.ph.sd)
			for a := range mean {
				x, y, z := h.rot[0][a], h.rot[1][a], h.rot[2][a]
				u := s * (x*f[0] + y*f[1] + z*f[2])
				mean[a] += w * u
				square[a] += w * (u*u + r.share*r.share*(x*x*open.xx+y*y*open.yy+z*z*open.zz+2*(x*y*open.xy+x*z*open.xz+y*z*open.yz)))
			}
		}
	}
	for a := range mean {
		v := r.Ax[a].VB
		rest[a], read[a] = r.Ax[a].B, r.Ax[a].B+r.Ax[a].D
		if r.Ax[a].VD >= readings.Vague/2 { // the hold does not tell background and pull apart
			read[a] = r.Ax[a].B
			rest[a], v = n.bg[i].b[a], n.bg[i].variance[a]+driftSD*driftSD
		}
		x.UT[a] = round(rest[a]+mean[a], 2)
		x.SD[a] = round(math.Sqrt(math.Max(0, square[a]-mean[a]*mean[a])+v+readings.FloorUT*readings.FloorUT), 2)
		rest[a], read[a] = round(rest[a], 2), round(read[a], 2)
	}
	return rest, read, x
}
