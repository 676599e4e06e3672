package desk

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"polewise/field/capture"
	"polewise/server/store"
)

// FedSource is what the desk knows of a source whose lines are made here, from
// another sensor's readings.
type FedSource struct {
	Check   string
	Began   time.Time // of the check; times of a feed count from here
	Started bool      // it has a start line in this check
	Device  string
	At      string // coil of the open hold
	Drive   capture.DriveState
	LastT   float64
	Online  int // phones connected under this name
	// Rehearsal says that the check's pad is made up.
	Rehearsal bool
}

// Fed tells what is stored of a source in the check in progress.
func (d *Desk) Fed(source string) FedSource {
	d.mu.Lock()
	defer d.mu.Unlock()
	c := d.check
	f := FedSource{Check: c.ID, Began: c.Began, Rehearsal: c.Rehearsal != ""}
	if s, ok := c.sources[source]; ok {
		f.Started, f.Device, f.At, f.Drive, f.LastT, f.Online = s.started, s.device, s.at, s.drive, s.lastT, s.online
	}
	return f
}

// ErrOtherCheck says that another check has begun in the meantime.
var ErrOtherCheck = errors.New("another check has begun")

// Receive stores lines made for a source that does not number its messages. They
// belong to the check named; ErrOtherCheck says that it has ended. When it
// returns without error the lines are on disk.
func (d *Desk) Receive(ctx context.Context, check, source string, lines []capture.Line) error {
	raws, err := capture.Raw(lines)
	if err != nil {
		return fmt.Errorf("a line cannot be written: %w", err)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	c := d.check
	if c.ID != check {
		return ErrOtherCheck
	}
	if c.signed != nil {
		return closed(0)
	}
	for i, l := range lines {
		if e := capture.CheckLine(c.plan, l); e != nil {
			return badLine(e, i+1, 0)
		}
	}
	s := c.known(source)
	if err := d.fullLocked(s, 0, len(lines)); err != nil {
		return err
	}
	s.fed = true
	err = d.appendLocked(ctx, c, s, s.last+1, raws, lines)
	var taken *store.SeqTakenError
	if errors.As(err, &taken) { // only if somebody else writes the same file
		s.last = taken.Last
	}
	return err
}

// appendLocked stores a message, follows it, and asks for a verdict where it can
// change one.
func (d *Desk) appendLocked(ctx context.Context, c *check, s *source, seq int64, raws []json.RawMessage, lines []capture.Line) error {
	fresh, err := d.store.Append(ctx, c.ID, s.id, seq, raws)
	d.storingLocked(err)
	if err != nil || !fresh {
		return err
	}
	c.take(s, seq, lines)
	d.followLocked(s, lines)
	if worthJudging(lines) {
		c.news++
		d.touch()
	}
	return nil
}

// JoinFed counts a feed as connected.
func (d *Desk) JoinFed(source string) {
	d.mu.Lock()
	s := d.check.source(source)
	s.fed = true
	s.online++
	d.mu.Unlock()
	d.pushPhones()
}

// SupplyOn is the line that says the supply is on, as the plan drives it.
func (d *Desk) SupplyOn(t float64, amps *float64) capture.Drive {
	d.mu.Lock()
	defer d.mu.Unlock()
	line := capture.Driven(&d.check.plan.Supply)
	line.T, line.Amps = t, amps
	return line
}

// TellBenches sends a message to every bench page; false when there is none.
func (d *Desk) TellBenches(message func() any) bool {
	d.mu.Lock()
	found := false
	for c := range d.clients {
		found = found || c.audience == toBenches
	}
	d.mu.Unlock()
	if found {
		d.send(toBenches, message())
	}
	return found
}
