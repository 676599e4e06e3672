package desk

import (
	"context"
	"fmt"
	"slices"

	"polewise/field/capture"
	"polewise/server/store"
)

// HoldSamples are what the phone gave in one hold, for drawing. A state has only
// what is known of its holds: of two hundred, the samples would be most of it.
type HoldSamples struct {
	Source  string       `json:"source"`
	T       float64      `json:"t"`
	Samples [][4]float64 `json:"samples"` // t, x, y, z in the phone frame, uT; at most maxPlot
}

// maxPlot bounds the samples of one hold sent for drawing.
const maxPlot = 120

// Samples finds the hold of a check, the one in progress or an earlier one, that a
// source began on a coil at a time. It may have been thrown out.
func (d *Desk) Samples(ctx context.Context, check, sourceID, at string, t float64) (*HoldSamples, error) {
	d.mu.Lock()
	if d.check.ID == check {
		defer d.mu.Unlock()
		return d.check.samples(sourceID, placed{at, t})
	}
	d.mu.Unlock()
	c, err := d.past(ctx, check)
	if err != nil {
		return nil, err
	}
	return c.samples(sourceID, placed{at, t})
}

func (c *check) samples(sourceID string, of placed) (*HoldSamples, error) {
	if s, ok := c.sources[sourceID]; ok {
		for _, cap := range s.captures(nil) {
			for _, h := range cap.Cut().Holds {
				if of == (placed{h.Hold.Coil, h.From}) {
					return &HoldSamples{Source: sourceID, T: of.t, Samples: thinned(h.B)}, nil
				}
			}
		}
	}
	return nil, &ClientError{Code: "no-hold", Say: fmt.Sprintf("This check has no hold of %s on coil %q that began at %g s.", sourceID, of.at, of.t), Hint: "Load the page again to see the holds there are."}
}

// Trace is a pass of the check in progress, that a source began on a coil at a
// time, laid along its row.
func (d *Desk) Trace(check, sourceID, at string, t float64) (*PassTrace, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	c := d.check
	thrown := slices.Contains(c.thrown, store.ThrownOut{Source: sourceID, Coil: at, T: t})
	if c.ID == check && c.account != nil && !thrown {
		if p := c.account.passes[reading{sourceID, placed{at, t}}]; p != nil {
			return p, nil
		}
	}
	return nil, &ClientError{Code: "no-trace", Say: fmt.Sprintf("The pass of %s that began on coil %q at %g s is not laid along its row: it has not been weighed yet, or it does not count.", sourceID, at, t), Hint: "Wait for the next verdict, then open it again."}
}

func thinned(all []capture.B) [][4]float64 {
	out := [][4]float64{}
	step := max(1, (len(all)+maxPlot-1)/maxPlot)
	for i := 0; i < len(all); i += step {
		b := all[i]
		out = append(out, [4]float64{b.T, b.UT[0], b.UT[1], b.UT[2]})
	}
	return out
}
