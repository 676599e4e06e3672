package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/server/record"
)

// Past is a check as it is stored, to be looked at only.
type Past struct {
	*State
	Current  bool      `json:"current"` // it is the one on the bench
	GoOn     bool      `json:"go_on"`   // it may be taken up again: nothing was read since
	Compared *Compared `json:"compared"`
	Mended   *Linked   `json:"mended"`     // the check after the pad was mended
	After    *Linked   `json:"after_mend"` // the check before that, of one after a mend
}

// Linked is another check of the same pad.
type Linked struct {
	ID    string `json:"id"`
	Began string `json:"began"`
}

// Compared tells what a check found otherwise than the record signed before it.
type Compared struct {
	Check   string          `json:"check"`
	Signed  string          `json:"signed"`
	Serial  string          `json:"serial"`
	By      string          `json:"by"` // serial | plan: how the two belong together
	Changes []record.Change `json:"changes"`
	Coils   int             `json:"coils"` // read both times
	Sizes   int             `json:"sizes"` // those of them of which a size was read both times
	// PlanChanged: each was held against a plan of its own.
	PlanChanged bool `json:"plan_changed"`
}

// Look opens a stored check.
func (d *Desk) Look(ctx context.Context, id string) (*Past, error) {
	c, err := d.past(ctx, id)
	if err != nil {
		return nil, err
	}
	p := &Past{State: c.state(), Current: d.CheckID() == id}
	d.mu.Lock()
	now := d.check
	p.GoOn, err = d.mayGoOn(ctx, c, now)
	d.mu.Unlock()
	if err != nil {
		return nil, err
	}
	if next, began, err := d.store.AfterMend(ctx, id); err != nil {
		return nil, err
	} else if next != "" {
		p.Mended = &Linked{next, began}
	}
	if c.After != "" {
		before, err := d.store.CheckByID(ctx, c.After)
		if err != nil {
			return nil, err
		}
		if before != nil {
			p.After = &Linked{before.ID, before.Began.UTC().Format(time.RFC3339)}
		}
	}
	p.Compared, err = d.compare(ctx, c)
	return p, err
}

// Compare puts a stored check beside the record signed before it; nil when there
// is none.
func (d *Desk) Compare(ctx context.Context, id string) (*Compared, error) {
	c, err := d.past(ctx, id)
	if err != nil {
		return nil, err
	}
	return d.compare(ctx, c)
}

// Weighed is a stored check judged again, for what was expected of each reading:
// that is not stored.
type Weighed struct {
	Why    *verdict.Why `json:"why"`
	Holds  []HoldState  `json:"holds"`
	Passes []PassState  `json:"passes"`
	// Otherwise are the coils that the verdict of then calls something else: the
	// program may have learned since.
	Otherwise []string `json:"otherwise"`
}

// Weigh judges a stored check again; what stands of it stays as it is. It gives up
// with verdict.ErrHalted when ctx ends.
func (d *Desk) Weigh(ctx context.Context, id string) (*Weighed, error) {
	c, err := d.past(ctx, id)
	if err != nil {
		return nil, err
	}
	model, err := verdict.Warm(c.plan)
	if err != nil {
		return nil, err
	}
	captures, sources := c.counting()
	v, account, err := model.AccountUntil(ctx, c.before, captures...)
	if err != nil {
		return nil, err
	}
	c.account = accountOf(account, sources)
	w := &Weighed{Why: c.account.why, Otherwise: []string{}}
	w.Holds, w.Passes = c.readings()
	for i := range w.Passes {
		p := &w.Passes[i]
		if p.Account != nil {
			p.Trace = c.account.passes[reading{p.Source, placed{p.Along[0], p.T}}]
		}
	}
	for i := range v.Coils {
		if c.verdict != nil && i < len(c.verdict.Coils) && c.verdict.Coils[i].State != v.Coils[i].State {
			w.Otherwise = append(w.Otherwise, v.Coils[i].ID)
		}
	}
	return w, nil
}

// past loads a check with the verdict it had last.
func (d *Desk) past(ctx context.Context, id string) (*check, error) {
	stored, err := d.store.CheckByID(ctx, id)
	if err != nil {
		return nil, err
	}
	if stored == nil {
		return nil, noCheck(id)
	}
	c, err := d.load(ctx, stored)
	if err != nil || c.verdict != nil {
		return c, err
	}
	text, err := d.store.LastVerdict(ctx, id)
	if err != nil || text == nil {
		return c, err
	}
	c.verdict = &verdict.Verdict{}
	if err := json.Unmarshal(text, c.verdict); err != nil {
		return nil, fmt.Errorf("the verdict of check %s cannot be read: %w", id, err)
	}
	return c, nil
}

// compare puts a check beside the record signed before it, if there is one.
func (d *Desk) compare(ctx context.Context, c *check) (*Compared, error) {
	if c.verdict == nil || c.Rehearsal != "" {
		return nil, nil
	}
	stored, err := d.store.EarlierRecord(ctx, c.ID, c.label.Serial, c.PlanTOML, c.Began)
	if err != nil || stored == nil {
		return nil, err
	}
	signed, err := record.Decode(stored.JSON)
	if err != nil {
		return nil, err
	}
	later, err := record.Collect(c.plan, string(c.PlanTOML), c.verdict, c.captures())
	if err != nil {
		return nil, err
	}
	k := &Compared{Check: stored.CheckID, Signed: signed.Signed, Serial: signed.Serial, By: "serial", Changes: record.Changes(signed, later)}
	k.Coils, k.Sizes = record.Common(signed, later)
	k.PlanChanged = signed.Plan.TOML != string(c.PlanTOML)
	if c.label.Serial == "" {
		k.By = "plan"
	}
	return k, nil
}

// CheckID is the id of the check in progress.
func (d *Desk) CheckID() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.check.ID
}

// IsStart tells whether a stored line begins a capture.
func IsStart(raw json.RawMessage) bool {
	l, err := capture.ParseLine(raw)
	if err != nil {
		return false
	}
	_, ok := l.(capture.Start)
	return ok
}
