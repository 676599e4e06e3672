package desk

import (
	"encoding/json"
	"slices"
	"time"

	"polewise/field/capture"
)

type audience int

const (
	toPhones audience = iota
	toBenches
)

// Client is somebody connected who wants to be told. Messages wait in a bounded
// queue; a client that does not keep up is dropped and has to connect again.
type Client struct {
	audience audience
	Queue    chan []byte
	Dropped  chan struct{} // closed when the client was dropped
	dropped  bool
}

// queueLength is how many messages may wait for a slow client.
const queueLength = 256

// Phone subscribes a phone: verdicts and prompts.
func (d *Desk) Phone() *Client { return d.subscribe(toPhones) }

// Bench subscribes a bench page: the state and what the phones do.
func (d *Desk) Bench() *Client { return d.subscribe(toBenches) }

func (d *Desk) subscribe(a audience) *Client {
	c := &Client{audience: a, Queue: make(chan []byte, queueLength), Dropped: make(chan struct{})}
	d.mu.Lock()
	d.clients[c] = true
	d.mu.Unlock()
	return c
}

// Unsubscribe ends a subscription.
func (d *Desk) Unsubscribe(c *Client) {
	d.mu.Lock()
	delete(d.clients, c)
	d.mu.Unlock()
}

// send queues a message for everybody in an audience.
func (d *Desk) send(a audience, message any) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.sendLocked(a, message)
}

func (d *Desk) sendLocked(a audience, message any) {
	raw, err := json.Marshal(message)
	if err != nil {
		d.log.Error("a message cannot be written", "err", err)
		return
	}
	for c := range d.clients {
		if c.audience != a {
			continue
		}
		select {
		case c.Queue <- raw:
		default:
			if !c.dropped {
				c.dropped = true
				close(c.Dropped)
			}
			delete(d.clients, c)
		}
	}
}

// followLocked tells the bench pages what a phone just did. Of the holds of a message
// only the last: one from a phone that was cut off has more than a page's queue takes.
func (d *Desk) followLocked(s *source, lines []capture.Line) {
	last := func() map[string]any {
		for _, l := range slices.Backward(lines) {
			switch l := l.(type) {
			case capture.Hold:
				return map[string]any{"type": "hold", "source": s.id, "at": l.Coil, "t": l.T, "open": true}
			case capture.Lift:
				return map[string]any{"type": "hold", "source": s.id, "t": l.T, "open": false}
			}
		}
		return nil
	}
	if hold := last(); hold != nil {
		d.sendLocked(toBenches, hold)
	}
	if s.latest != nil {
		d.sendLocked(toBenches, map[string]any{"type": "sample", "source": s.id, "t": s.latest.T, "uT": s.latest.UT, "at": s.at, "count": s.count, "when": time.Now().UnixMilli()})
	}
}

func (d *Desk) pushPhones() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.sendLocked(toBenches, map[string]any{"type": "phones", "phones": d.check.phones()})
}

// PushState tells the bench pages the state as it is now. It gathers and queues in one go:
// of two pushes at once the older state must not come last.
func (d *Desk) PushState() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.sendLocked(toBenches, map[string]any{"type": "state", "state": d.stateLocked()})
}
