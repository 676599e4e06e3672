package desk

import (
	"context"
	"fmt"
)

// GoOn takes up again a check that another was begun after by mistake: as long as nothing
// was read since, so that no check is left in the middle for it.
func (d *Desk) GoOn(ctx context.Context, id string) error {
	stored, err := d.store.CheckByID(ctx, id)
	if err != nil {
		return err
	}
	if stored == nil {
		return noCheck(id)
	}
	c, err := d.takeUp(ctx, stored)
	if err != nil {
		return err
	}
	if begun, err := d.putBack(ctx, c); err != nil || !begun {
		return err
	}
	d.send(toPhones, map[string]any{"check": c.ID})
	d.touch()
	d.PushState()
	return nil
}

// putBack makes a stored check the one in progress.
func (d *Desk) putBack(ctx context.Context, c *check) (bool, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	old := d.check
	if old.ID == c.ID {
		return false, nil
	}
	may, err := d.mayGoOn(ctx, c, old)
	if err != nil {
		return false, err
	}
	if !may {
		return false, &ClientError{Code: "changed", Say: "This check cannot be gone on with any more: it is signed, its pad was mended, or another has been read since.", Hint: "Look in the list of checks."}
	}
	if err := d.store.BringBack(ctx, c.ID); err != nil {
		return false, fmt.Errorf("the check cannot be taken up again: %w", err)
	}
	c.welcome(old)
	d.check, d.storing = c, ""
	return true, nil
}

// mayGoOn tells whether a stored check may be taken up again in the place of the one in
// progress. Rehearsals in between do not count, but for one that is going on.
func (d *Desk) mayGoOn(ctx context.Context, c, now *check) (bool, error) {
	if c.signed != nil || c.Rehearsal != "" || c.messages == 0 || c.ID == now.ID || now.messages > 0 || now.rehearsing != nil {
		return false, nil
	}
	if next, _, err := d.store.AfterMend(ctx, c.ID); err != nil || next != "" {
		return false, err
	}
	read, err := d.store.ReadSince(ctx, c.ID)
	return !read, err
}
