package desk

import "context"

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
