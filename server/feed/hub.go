package feed

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"polewise/field/capture"
	"polewise/server/desk"
)

// Desk is where understood readings go.
type Desk interface {
	Fed(source string) desk.FedSource
	Receive(ctx context.Context, check, source string, lines []capture.Line) error
	SupplyOn(t float64, amps *float64) capture.Drive
	JoinFed(source string)
	Leave(source string)
	TellBenches(message func() any) bool
}

// Shelf keeps dialects.
type Shelf interface {
	Dialects(ctx context.Context) ([][]byte, error)
	KeepDialect(ctx context.Context, name, old string, dialect []byte) error
	ForgetDialect(ctx context.Context, name string) error
}

// Bounds on sources and on what each may send.
const (
	maxSources    = 16
	perSecond     = 500 // messages of a source
	burstMessages = maxMessages
	bytesSecond   = 512 << 10
	burstBytes    = 4 * MaxChunkBytes
	idleAfter     = 3 * time.Second  // a source that says nothing for so long is shown as silent
	dropAfter     = 10 * time.Minute // and gives way to another after so long
	tellEvery     = 250 * time.Millisecond
	maxBadShown   = 8
	maxRuns       = 8
)

// Hub takes what all sources send. It is safe for concurrent use.
type Hub struct {
	desk  Desk
	shelf Shelf
	log   *slog.Logger
	now   func() time.Time

	mu       sync.Mutex
	sources  map[string]*source
	order    []string
	dialects []*Dialect // the latest first
	changed  bool
}

// NewHub returns a hub that knows the dialects on the shelf.
func NewHub(d Desk, shelf Shelf, log *slog.Logger) *Hub {
	h := &Hub{desk: d, shelf: shelf, log: log, now: time.Now, sources: map[string]*source{}}
	list, err := shelf.Dialects(context.Background())
	if err != nil {
		log.Error("what other sensors were taught cannot be read", "err", err)
	}
	for _, raw := range list {
		d := &Dialect{}
		if err := json.Unmarshal(raw, d); err != nil || d.Check() != nil || !d.Axes.Valid() || d.Gravity != nil && !d.GravityAxes.Valid() {
			log.Error("a sensor's kept choice cannot be read and is not used", "err", err)
			continue
		}
		h.dialects = append(h.dialects, d)
	}
	return h
}

// Run tells the bench pages what the sources do until ctx ends.
func (h *Hub) Run(ctx context.Context) {
	tick := time.NewTicker(tellEvery)
	defer tick.Stop()
	quiet := 0
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		h.mu.Lock()
		changed := h.changed
		h.changed = false
		h.mu.Unlock()
		for _, s := range h.list() {
			changed = s.leaveIfSilent(h) || changed
		}
		if changed {
			quiet = 0
		} else if quiet++; quiet > int(2*idleAfter/tellEvery) {
			continue // said often enough that nothing comes
		}
		h.desk.TellBenches(func() any { return map[string]any{"type": "feeds", "feeds": h.State()} })
	}
}

func (h *Hub) touch() {
	h.mu.Lock()
	h.changed = true
	h.mu.Unlock()
}

func problem(code, say, hint string) *desk.ClientError {
	return &desk.ClientError{Code: code, Say: say, Hint: hint}
}

// source returns a source by name, made where it is new.
func (h *Hub) source(name string) (*source, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if s, ok := h.sources[name]; ok {
		return s, nil
	}
	now := h.now()
	if len(h.order) >= maxSources {
		oldest := slices.MinFunc(h.order, func(a, b string) int { return h.sources[a].arrived().Compare(h.sources[b].arrived()) })
		if now.Sub(h.sources[oldest].arrived()) < dropAfter {
			return nil, problem("too-many-sources", fmt.Sprintf("%d other sensors are sending already.", maxSources), "Take one off the bench page's list, or use the same source name again.")
		}
		h.removeLocked(oldest)
	}
	s := &source{name: name, watch: newWatch(now), messages: rate.NewLimiter(perSecond, burstMessages), bytes: rate.NewLimiter(bytesSecond, burstBytes), runs: map[string]batch{}}
	h.sources[name] = s
	h.order = append(h.order, name)
	h.changed = true
	return s, nil
}

func (h *Hub) removeLocked(name string) {
	delete(h.sources, name)
	h.order = slices.DeleteFunc(h.order, func(n string) bool { return n == name })
	h.changed = true
}

// known returns a source that has sent something.
func (h *Hub) known(name string) (*source, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if s, ok := h.sources[name]; ok {
		return s, nil
	}
	return nil, problem("no-source", fmt.Sprintf("No sensor called %q has sent anything.", clip(name)), "Is it still sending?")
}

// Drop takes a source off the list; what is stored of it stays.
func (h *Hub) Drop(name string) {
	h.mu.Lock()
	s := h.sources[name]
	if s != nil {
		h.removeLocked(name)
	}
	h.mu.Unlock()
	if s != nil {
		s.mu.Lock()
		s.leave(h)
		s.mu.Unlock()
	}
}

// find picks the dialect of a message that a source without one has sent: one
// taught on this source, or one whose numbers have the very same names. Numbered
// columns are no names: those are offered to the person instead.
func (h *Hub) find(source string, m *Message) (found *Dialect, offered []string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, d := range h.dialects {
		if d.Source == source && d.Fits(m) {
			return d, nil
		}
	}
	for _, d := range h.dialects {
		switch {
		case d.SameShape(m) && d.Named():
			return d, nil
		case d.Fits(m):
			offered = append(offered, d.Name)
		}
	}
	return nil, offered
}

// header recalls the header of a table that a source was taught on.
func (h *Hub) header(source string) []string {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, d := range h.dialects {
		if d.Source == source {
			return d.Columns
		}
	}
	return nil
}

// keep stores a dialect and has it used.
func (h *Hub) keep(ctx context.Context, d *Dialect, old string) error {
	raw, err := json.Marshal(d)
	if err != nil {
		return err
	}
	if err := h.shelf.KeepDialect(ctx, d.Name, old, raw); err != nil {
		return fmt.Errorf("the choice could not be stored: %w", err)
	}
	h.mu.Lock()
	h.dialects = slices.DeleteFunc(h.dialects, func(o *Dialect) bool { return o.Name == d.Name || o.Name == old })
	h.dialects = slices.Insert(h.dialects, 0, d)
	h.changed = true
	h.mu.Unlock()
	return nil
}

// byName returns a kept dialect.
func (h *Hub) byName(name string) (*Dialect, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, d := range h.dialects {
		if d.Name == name {
			return d, nil
		}
	}
	return nil, problem("no-dialect", fmt.Sprintf("Nothing is kept under the name %q.", clip(name)), "Load the page again to see what is.")
}

// Rename keeps a dialect under another name.
func (h *Hub) Rename(ctx context.Context, name, to string) error {
	to = strings.TrimSpace(to)
	if err := checkName(to); err != nil {
		return problem("bad-name", sentence(err), "")
	}
	d, err := h.byName(name)
	if err != nil {
		return err
	}
	if other, _ := h.byName(to); other != nil && to != name {
		return problem("name-taken", fmt.Sprintf("Another sensor's choice is kept as %q.", to), "Pick another name, or forget that one first.")
	}
	fresh := *d
	fresh.Name = to
	if err := h.keep(ctx, &fresh, name); err != nil {
		return err
	}
	h.each(func(s *source) {
		if s.dialect == d {
			s.dialect = &fresh
		}
	})
	return nil
}

// Forget removes a dialect. Sources that use it have to be taught again.
func (h *Hub) Forget(ctx context.Context, name string) error {
	d, err := h.byName(name)
	if err != nil {
		return err
	}
	if err := h.shelf.ForgetDialect(ctx, name); err != nil {
		return err
	}
	h.mu.Lock()
	h.dialects = slices.DeleteFunc(h.dialects, func(o *Dialect) bool { return o == d })
	h.changed = true
	h.mu.Unlock()
	h.each(func(s *source) {
		if s.dialect == d {
			s.dialect = nil
		}
	})
	return nil
}

// list is every source in the order they came.
func (h *Hub) list() []*source {
	h.mu.Lock()
	defer h.mu.Unlock()
	list := make([]*source, 0, len(h.order))
	for _, id := range h.order {
		list = append(list, h.sources[id])
	}
	return list
}

// each visits every source, locked, in order.
func (h *Hub) each(visit func(*source)) {
	for _, s := range h.list() {
		s.mu.Lock()
		visit(s)
		s.mu.Unlock()
	}
}

// sentence makes a message's words from an error's.
func sentence(err error) string {
	s := err.Error()
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

// refused turns an error in words into one for the client.
func refused(code string, err error) error {
	var c *desk.ClientError
	if errors.As(err, &c) {
		return err
	}
	return problem(code, sentence(err), "")
}
