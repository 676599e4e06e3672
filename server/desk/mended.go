package desk

import (
	"context"
	"encoding/json"
	"fmt"

	"polewise/field/verdict"
)

// BeginAfterMend begins another check of the same pad, which was mended as the
// likeliest cause asked. Where the mend only turned coils or swapped leads, what
// was read over the other coils goes on to count.
func (d *Desk) BeginAfterMend(ctx context.Context) error {
	d.mu.Lock()
	c := d.check
	var mend []verdict.Mend
	if v := c.verdict; v != nil && v.Outcome == verdict.Fault && len(v.Causes) > 0 && c.hearsal == nil && c.signed == nil {
		mend = v.Causes[0].Mend
	}
	d.mu.Unlock()
	return d.beginSame(ctx, mend)
}

// follow makes a check one after a mend.
func (c *check) follow(old *check, mend []verdict.Mend) error {
	text, err := json.Marshal(mend)
	if err != nil {
		return fmt.Errorf("the mend cannot be written: %w", err)
	}
	c.After, c.Mend = old.ID, string(text)
	c.before = old.asBefore(mend)
	return nil
}

// asBefore is what a check leaves to the one after a mend: its own readings only.
func (c *check) asBefore(mend []verdict.Mend) *verdict.Before {
	b := &verdict.Before{Mend: mend}
	for _, id := range c.order {
		b.Captures = append(b.Captures, c.sources[id].captures(c.thrown)...)
	}
	return b
}

// loadBefore finds what a stored check goes on from.
func (d *Desk) loadBefore(ctx context.Context, c *check) error {
	if c.After == "" {
		return nil
	}
	stored, err := d.store.CheckByID(ctx, c.After)
	if err != nil || stored == nil {
		return err
	}
	stored.After = "" // one mend back is enough
	old, err := d.load(ctx, stored)
	if err != nil {
		return err
	}
	var mend []verdict.Mend
	if err := json.Unmarshal([]byte(c.Mend), &mend); err != nil {
		return fmt.Errorf("the mend before check %s cannot be read: %w", c.ID, err)
	}
	c.before = old.asBefore(mend)
	return nil
}
