package desk

import (
	"context"
	"fmt"
	"slices"

	"polewise/server/store"
)

// ThrowOut takes back a hold, a pass or a hand reading on a coil, or ohms across
// something: what begins at the time named, of the source given. What anybody read
// there before or after it counts again, as if it had never been.
func (d *Desk) ThrowOut(ctx context.Context, sourceID string, u Undo) error {
	if u.At == "" || u.T == nil {
		return &ClientError{Code: "nothing-to-undo", Say: "It is not said which reading is to be taken back.", Hint: `Name its coil and its time, as in "at":"A1","t":12.5.`}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	c := d.check
	if c.signed != nil {
		return closed(0)
	}
	if s, ok := c.sources[sourceID]; !ok || !s.read(u.At, *u.T) {
		return &ClientError{Code: "nothing-to-undo", Say: fmt.Sprintf("There is no reading of %s to take back.", u.At), Hint: "Look at the readings as they are now."}
	}
	o := store.ThrownOut{Source: sourceID, Coil: u.At, T: *u.T}
	if err := d.store.ThrowOut(ctx, c.ID, o); err != nil {
		return err
	}
	if !slices.Contains(c.thrown, o) {
		c.thrown = append(c.thrown, o)
		c.news++
	}
	d.touch()
	return nil
}

// read tells whether a source read something at a time: of a coil, a pass from it on,
// or the ohms across a place.
func (s *source) read(at string, t float64) bool {
	for _, lines := range s.messages {
		for _, l := range lines {
			if of, ok := readingOf(l); ok && of == (placed{at, t}) {
				return true
			}
		}
	}
	return false
}

// PutBack makes a reading of a phone that was thrown out count again.
func (d *Desk) PutBack(ctx context.Context, source, at string, t float64) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	c := d.check
	if c.signed != nil {
		return closed(0)
	}
	if source == BenchSource {
		return &ClientError{Code: "not-put-back", Say: "What was typed on the bench page is not put back.", Hint: "Type it again."}
	}
	i := slices.Index(c.thrown, store.ThrownOut{Source: source, Coil: at, T: t})
	if i < 0 {
		return &ClientError{Code: "not-thrown-out", Say: "This reading is not thrown out: it counts.", Hint: "Look at the readings as they are now."}
	}
	if err := d.store.PutBack(ctx, c.ID, c.thrown[i]); err != nil {
		return err
	}
	c.thrown = slices.Delete(slices.Clone(c.thrown), i, i+1)
	c.news++
	d.touch()
	return nil
}
