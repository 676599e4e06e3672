package desk

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"runtime/debug"
	"time"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/layout"
	"polewise/server/store"
)

// Judging is a verdict being worked out, or one that was stopped.
type Judging struct {
	Readings int   `json:"readings"`
	Since    int64 `json:"since,omitempty"` // Unix milliseconds
	Stopped  bool  `json:"stopped"`         // nothing is worked out until something new is read, or asked for
}

// tellJudging tells the bench pages that a verdict is being worked out, or that
// it is done with.
func (d *Desk) tellJudging(c *check, j *Judging, stop context.CancelFunc) {
	d.mu.Lock()
	defer d.mu.Unlock()
	c.judging, c.stop = j, stop
	if d.check == c {
		d.sendLocked(toBenches, map[string]any{"type": "judging", "judging": j})
	}
}

// StopJudging gives the verdict being worked out up; the one before it stands.
func (d *Desk) StopJudging() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.check.stop == nil {
		return &ClientError{Code: "not-judging", Say: "No verdict is being worked out: there is nothing to stop.", Hint: "Look at the verdict as it stands."}
	}
	d.check.stop()
	// What came in meanwhile asked for a verdict before the person said stop.
	select {
	case <-d.dirty:
	default:
	}
	return nil
}

// JudgeNow works the verdict out after it was stopped.
func (d *Desk) JudgeNow() { d.touch() }

// touch asks for a new verdict. It never blocks: one request waiting is enough.
func (d *Desk) touch() {
	select {
	case d.dirty <- struct{}{}:
	default:
	}
}

// work judges whenever something new came in, always the latest state.
func (d *Desk) work(ctx context.Context) {
	defer close(d.done)
	var w warmed
	for {
		select {
		case <-ctx.Done():
			return
		case <-d.dirty:
			d.judge(ctx, &w)
		}
	}
}

// warmed is a model kept from one verdict to the next, as long as the plan stays.
type warmed struct {
	model *verdict.Model
	of    *layout.Plan
}

// gathered is what a verdict is reached on.
type gathered struct {
	check    *check
	news     int // how much of what came in it has seen
	captures []*capture.Capture
	sources  []string // of each capture
	holds    []store.Hold
}

func (d *Desk) gather() *gathered {
	d.mu.Lock()
	defer d.mu.Unlock()
	g := &gathered{check: d.check, news: d.check.news}
	g.captures, g.sources = g.check.counting()
	for i, cap := range g.captures {
		for _, h := range cap.Cut().Holds {
			if !h.Open {
				g.holds = append(g.holds, store.Hold{Source: g.sources[i], Coil: h.Hold.Coil, T: h.Hold.T, Samples: len(h.B) + len(h.Bearings)})
			}
		}
	}
	return g
}

// judge works out a verdict of what there is now.
func (d *Desk) judge(ctx context.Context, w *warmed) {
	g := d.gather()
	c := g.check
	if w.of != c.plan {
		m, err := verdict.Warm(c.plan)
		if err != nil {
			d.log.Error("the plan cannot be judged", "err", err)
			return
		}
		*w = warmed{m, c.plan}
	}
	wanted, stop := context.WithCancel(ctx)
	d.tellJudging(c, &Judging{Readings: len(g.holds), Since: time.Now().UnixMilli()}, stop)
	v, account, err := d.judged(wanted, w.model, c.before, g.captures)
	stop()
	if err != nil {
		d.tellJudging(c, &Judging{Readings: len(g.holds), Stopped: true}, nil)
		if !errors.Is(err, verdict.ErrHalted) {
			d.log.Error("no verdict", "err", err)
			*w = warmed{} // it may have broken off with half of something written
		}
		return
	}
	d.tellJudging(c, nil, nil)
	d.conclude(ctx, g, v, accountOf(account, g.sources))
}

// judged is the verdict. One that breaks off must not take the readings down with it,
// nor the program when it is started again and takes the check up.
func (d *Desk) judged(ctx context.Context, m *verdict.Model, before *verdict.Before, captures []*capture.Capture) (v *verdict.Verdict, account *verdict.Account, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("the verdict broke off: %v\n%s", p, debug.Stack())
		}
	}()
	return m.AccountUntil(ctx, before, captures...)
}

// conclude stores a verdict and tells it, unless the check has ended or is signed.
func (d *Desk) conclude(ctx context.Context, g *gathered, v *verdict.Verdict, account *accounted) {
	c := g.check
	text, err := json.Marshal(v)
	if err != nil {
		d.log.Error("the verdict cannot be written", "err", err)
		return
	}
	d.mu.Lock()
	signed := c.signed != nil
	if signed && c.account == nil { // taken up again after a new start
		c.account = account
	}
	d.mu.Unlock()
	if signed {
		d.PushState()
		return // its verdict is the one signed
	}
	// Also one of nothing that counts any more: the one stored before it would stand.
	if len(g.captures) > 0 || v.Outcome != verdict.Undecided {
		// It is told all the same: the next start works it out again.
		if err := d.store.SaveVerdict(ctx, c.ID, text, g.holds); err != nil && ctx.Err() == nil {
			d.log.Error("the verdict cannot be stored", "err", err)
		}
	}
	d.mu.Lock()
	if d.check != c {
		d.mu.Unlock()
		return
	}
	c.verdict, c.account, c.judged = v, account, g.news
	next := c.nextStep(v)
	d.mu.Unlock()
	d.send(toPhones, map[string]any{"verdict": json.RawMessage(text)})
	d.send(toPhones, map[string]any{"prompt": next})
	d.PushState()
}
