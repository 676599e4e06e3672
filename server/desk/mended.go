package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"polewise/field/verdict"
)

// BeginAfterMend begins another check of the same pad, which was mended as the
// likeliest cause asked. Where the mend only turned coils or swapped leads, what
// was read over the other coils goes on to count. It refuses where another check is on
// the bench than the person saw, or another mend is asked for by now.
func (d *Desk) BeginAfterMend(ctx context.Context, asked Again) error {
	d.mu.Lock()
	c := d.check
	mend, err := c.mendTold(asked.Mend)
	d.mu.Unlock()
	if asked.Check != "" && asked.Check != c.ID {
		return &ClientError{Code: "other-check", Say: "Another check is on the bench by now.", Hint: "Close this and look at it: it may be the one after the mend."}
	}
	if err != nil {
		return err
	}
	return d.beginSame(ctx, c, mend)
}

// mendTold is the mend that the likeliest cause asks for, if that is still the one a
// person was told, where they name it: readings over other coils are turned by it.
func (c *check) mendTold(told []verdict.Mend) ([]verdict.Mend, error) {
	mend := c.mendAsked()
	if told != nil && c.rehearsing == nil && c.signed == nil && !slices.Equal(told, mend) {
		return nil, &ClientError{Code: "changed", Say: "More was read since you were told what to mend, and something else is asked for by now.", Hint: "Look at the verdict again. If you mended just what it says now, say so once more; else begin a new check on the bench page."}
	}
	return mend, nil
}

// mendAsked is the mend that the likeliest cause asks for; nil where none is.
func (c *check) mendAsked() []verdict.Mend {
	if v := c.verdict; v != nil && v.Outcome == verdict.Fault && len(v.Causes) > 0 && c.rehearsing == nil && c.signed == nil {
		return v.Causes[0].Mend
	}
	return nil
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
	captures, _ := c.counting()
	return &verdict.Before{Mend: mend, Captures: captures}
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

// MendedState is a mend that came before a check, and the coils read since, in the
// plan's order.
type MendedState struct {
	Mend  []verdict.Mend `json:"mend"`
	Since []string       `json:"since"`
}

func (c *check) mended() *MendedState {
	if c.before == nil {
		return nil
	}
	s := &MendedState{Mend: c.before.Mend, Since: []string{}}
	read := c.readSince()
	for i := range c.plan.Coils {
		if id := c.plan.Coils[i].ID; read[id] {
			s.Since = append(s.Since, id)
		}
	}
	return s
}

// readSince tells which coils were read in this check itself.
func (c *check) readSince() map[string]bool {
	read := map[string]bool{}
	captures, _ := c.counting()
	for _, cap := range captures {
		cut := cap.Cut()
		for _, h := range cut.Holds {
			read[h.Hold.Coil] = read[h.Hold.Coil] || !h.Open
		}
		for _, p := range cut.Passes {
			for _, id := range p.Pass.Along {
				read[id] = read[id] || !p.Open
			}
		}
		for _, r := range cut.Readings {
			read[r.Coil] = true
		}
	}
	return read
}

// readBefore lists the coils of which a verdict knows by what was read before the
// mend only.
func (c *check) readBefore(v *verdict.Verdict) (ids []string) {
	if c.before == nil {
		return nil
	}
	read := c.readSince()
	for i := range v.Coils {
		if id := v.Coils[i].ID; v.Coils[i].Used > 0 && !read[id] {
			ids = append(ids, id)
		}
	}
	return ids
}
