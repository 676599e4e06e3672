package desk

import (
	"context"
	"slices"

	"polewise/field/capture"
	"polewise/server/store"
)

// BenchSource is the source of what is entered on the bench page by hand.
const BenchSource = "bench"

// Entered is what was entered on the bench page in the check in progress: one
// face a coil and one value a place for the ohmmeter, the newest.
type Entered struct {
	Check   string                   `json:"check"`
	Began   string                   `json:"began"`
	LastSeq int64                    `json:"last_seq"`
	Faces   map[string]capture.Face  `json:"faces"`
	Ohms    map[string]*capture.Ohms `json:"ohms"`
}

// Entered tells what stands now.
func (d *Desk) Entered() Entered {
	d.mu.Lock()
	defer d.mu.Unlock()
	c := d.check
	e := Entered{Check: c.ID, Began: c.Began.UTC().Format("2006-01-02T15:04:05.000Z"), Faces: map[string]capture.Face{}, Ohms: map[string]*capture.Ohms{}}
	s, ok := c.sources[BenchSource]
	if !ok {
		return e
	}
	e.LastSeq = s.last
	for _, cap := range s.captures(c.thrown) {
		for _, l := range cap.Lines {
			switch l := l.(type) {
			case capture.Reading:
				e.Faces[l.Coil] = l.Face
			case capture.Ohms:
				e.Ohms[l.Across] = &l
			}
		}
	}
	return e
}

// Supersede takes back what was entered on the bench page for a coil, or for a
// place of the ohmmeter, before a time: what is entered later counts, not both.
func (d *Desk) Supersede(ctx context.Context, target string, before float64) error {
	d.mu.Lock()
	c := d.check
	if c.signed != nil {
		d.mu.Unlock()
		return closed(0)
	}
	var old []store.ThrownOut
	if s, ok := c.sources[BenchSource]; ok {
		for _, cap := range s.captures(c.thrown) {
			for _, l := range cap.Lines {
				if TargetOf(l) == target && l.At() < before {
					old = append(old, store.ThrownOut{Source: BenchSource, Coil: target, T: l.At()})
				}
			}
		}
	}
	d.mu.Unlock()
	for _, t := range old {
		if err := d.store.ThrowOut(ctx, c.ID, t); err != nil {
			return err
		}
		d.mu.Lock()
		if !slices.Contains(c.thrown, t) {
			c.thrown = append(c.thrown, t)
			c.news++
		}
		d.mu.Unlock()
	}
	if len(old) > 0 {
		d.touch()
	}
	return nil
}

// TargetOf is what a line entered by hand speaks of: a coil's id, or across what
// an ohmmeter was; empty for other lines.
func TargetOf(l capture.Line) string {
	switch l := l.(type) {
	case capture.Reading:
		return l.Coil
	case capture.Ohms:
		return l.Across
	}
	return ""
}
