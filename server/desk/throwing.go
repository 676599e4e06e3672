package desk

import (
	"context"
	"slices"

	"polewise/server/store"
)

// PutBack takes the throwing out of a hold or pass back: it counts again.
func (d *Desk) PutBack(ctx context.Context, source string, t float64) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	c := d.check
	if c.signed != nil {
		return closed(0)
	}
	if source == BenchSource {
		return &ClientError{Code: "not-put-back", Say: "What was typed on the bench page is not put back.", Hint: "Type it again."}
	}
	i := slices.IndexFunc(c.thrown, func(o store.ThrownOut) bool { return o.Source == source && o.T == t })
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

// Tell tells the bench pages the state as it is now.
func (d *Desk) Tell() { d.pushState() }
