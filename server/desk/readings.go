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
	LastT   float64                  `json:"last_t"` // of the last line; those to come go on from it
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
	e.LastSeq, e.LastT = s.last, s.lastT
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
// place of the ohmmeter, before what was entered there at a time: what is entered
// later counts, not both.
func (d *Desk) Supersede(ctx context.Context, target string, by float64) error {
	return d.takeBack(ctx, target, func(lines []capture.Line) []capture.Line {
		return lines[:max(0, slices.IndexFunc(lines, func(l capture.Line) bool { return l.At() == by }))]
	})
}

// Clear takes all of it back.
func (d *Desk) Clear(ctx context.Context, target string) error {
	return d.takeBack(ctx, target, func(lines []capture.Line) []capture.Line { return lines })
}

// takeBack takes back what is chosen of all that was entered on the bench page for a
// target, in the order in which it was entered: clocks may have been put back.
func (d *Desk) takeBack(ctx context.Context, target string, choose func([]capture.Line) []capture.Line) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	c := d.check
	if c.signed != nil {
		return closed(0)
	}
	s, ok := c.sources[BenchSource]
	if !ok {
		return nil
	}
	var lines []capture.Line
	for _, cap := range s.captures(nil) {
		for _, l := range cap.Lines {
			if TargetOf(l) == target {
				lines = append(lines, l)
			}
		}
	}
	for _, l := range choose(lines) {
		t := store.ThrownOut{Source: BenchSource, Coil: target, T: l.At()}
		if slices.Contains(c.thrown, t) {
			continue
		}
		if err := d.store.ThrowOut(ctx, c.ID, t); err != nil {
			return err
		}
		c.thrown = append(c.thrown, t)
		c.news++
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
