// Package desk owns the check in progress: the plan, what every phone has sent,
// the running verdict, and who is to be told of it. Readings are stored before
// they are acknowledged; the verdict is worked out beside the stream and never
// holds it up.
package desk

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/layout"
	"polewise/server/store"
)

// Desk is safe for concurrent use. Its worker runs until the context given to
// Open ends.
type Desk struct {
	store *store.Store
	log   *slog.Logger

	mu      sync.Mutex
	check   *check
	clients map[*Client]bool
	pairing Pairing
	storing string // why nothing read is stored now; empty while all is

	dirty chan struct{} // one token: something new to judge
	done  chan struct{} // closed when the worker has ended
}

// check is the pad under the phones now.
type check struct {
	store.Check
	plan       *layout.Plan
	sources    map[string]*source
	order      []string // sources in the order they came
	messages   int      // stored
	lines      int      // in all of them
	thrown     []store.ThrownOut
	verdict    *verdict.Verdict
	account    *accounted
	judging    *Judging // nil: nothing is being worked out
	stop       context.CancelFunc
	rehearsing *Rehearsal
	before     *verdict.Before // nil: no mend came before
	left       *Linked         // the one before it, where it was left open
	signing
}

// Open resumes the check begun last, or begins one with the given plan.
func Open(ctx context.Context, s *store.Store, plan PlanText, log *slog.Logger) (*Desk, error) {
	d := &Desk{store: s, log: log, clients: map[*Client]bool{}, dirty: make(chan struct{}, 1), done: make(chan struct{})}
	last, err := s.LastCheck(ctx)
	if err != nil {
		return nil, err
	}
	if last != nil && last.Rehearsal == "" && (!plan.Asked || string(last.PlanTOML) == string(plan.TOML)) {
		err := d.resume(ctx, last)
		if store.Damaged(err) {
			return nil, err // nothing more is written to what may be saved yet
		}
		if err != nil {
			log.Warn("the last check cannot be taken up again; beginning a new one", "check", last.ID, "err", err)
			last = nil
		}
	} else {
		last = nil
	}
	if last == nil {
		if err := d.Begin(ctx, plan, nil); err != nil {
			return nil, err
		}
	}
	go d.work(ctx)
	d.touch()
	return d, nil
}

// SetPairing tells the desk how phones join, once that is known and whenever it
// changes.
func (d *Desk) SetPairing(p Pairing) {
	d.mu.Lock()
	known := d.pairing != Pairing{}
	d.pairing = p
	d.mu.Unlock()
	if known {
		d.PushState()
	}
}

// Wait returns when the desk's worker has ended.
func (d *Desk) Wait() { <-d.done }

// PlanText is a plan as written, with the name to use in messages about it.
type PlanText struct {
	Name  string
	TOML  []byte
	Asked bool // the person asked for this plan, rather than for any
}

// Begin ends the check in progress and begins another.
func (d *Desk) Begin(ctx context.Context, text PlanText, r *Rehearsal) error {
	return d.begin(ctx, text, r, nil, nil)
}

// begin is Begin, of a check after another or of one by itself: where another one has
// begun since it begins none. With a mend, what was read in the check before goes on
// to count where the mend left coils alone.
func (d *Desk) begin(ctx context.Context, text PlanText, r *Rehearsal, after *check, mend []verdict.Mend) error {
	plan, err := layout.Parse(text.Name, text.TOML)
	if err != nil {
		return err
	}
	c := &check{plan: plan, sources: map[string]*source{}, rehearsing: r}
	c.Check = store.Check{ID: newID(), Began: time.Now(), PlanName: plan.Name, PlanTOML: text.TOML}
	if r != nil {
		c.Rehearsal = r.ID
	}
	if begun, err := d.put(ctx, c, after, mend); err != nil || !begun {
		return err
	}
	d.send(toPhones, map[string]any{"check": c.ID})
	d.touch()
	d.PushState()
	return nil
}

// put stores a new check and makes it the one in progress, in one go: of two that ask
// for one after the same check only the first has it, and the serial number with it.
func (d *Desk) put(ctx context.Context, c, after *check, mend []verdict.Mend) (begun bool, err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	old := d.check
	if after != nil && after != old {
		return false, nil
	}
	if mend != nil {
		if err := c.follow(after, mend); err != nil {
			return false, err
		}
	}
	if after != nil && after.Rehearsal == "" {
		c.label = store.Label{Serial: after.label.Serial}
	}
	if err := d.store.NewCheck(ctx, c.Check, c.label); err != nil {
		return false, fmt.Errorf("the new check cannot be stored: %w", err)
	}
	if old != nil {
		if old.rehearsing != nil && old.rehearsing != c.rehearsing {
			old.rehearsing.Stop()
		}
		c.welcome(old)
	}
	d.check, d.storing = c, "" // it was stored
	d.leftBefore(ctx, c)
	return true, nil
}

// leftBefore finds the check that a new one may have been begun after by mistake, or since
// the plan's file has changed: it can be gone on with as long as nothing is read of this one.
func (d *Desk) leftBefore(ctx context.Context, c *check) {
	if c.After != "" || c.Rehearsal != "" || c.messages > 0 {
		return
	}
	left, err := d.store.LeftOpen(ctx, c.ID)
	if err != nil {
		d.log.Warn("the check before cannot be looked up", "err", err) // Records has it all the same
	}
	if left != nil {
		c.left = &Linked{left.ID, left.Began.UTC().Format(time.RFC3339)}
	}
}

func newID() string {
	var b [8]byte
	if _, err := rand.Read(b[:]); err != nil {
		panic("desk: no randomness: " + err.Error())
	}
	return hex.EncodeToString(b[:])
}

// resume takes a stored check up again.
func (d *Desk) resume(ctx context.Context, last *store.Check) error {
	c, err := d.takeUp(ctx, last)
	if err != nil {
		return err
	}
	d.check = c
	d.leftBefore(ctx, c)
	return nil
}

// takeUp rebuilds a check from the store to go on with.
func (d *Desk) takeUp(ctx context.Context, last *store.Check) (*check, error) {
	c, err := d.load(ctx, last)
	if err != nil {
		return nil, err
	}
	// What was found last stands until it is worked out anew.
	if text, err := d.store.LastVerdict(ctx, last.ID); err == nil && text != nil && c.verdict == nil {
		var v verdict.Verdict
		if json.Unmarshal(text, &v) == nil && len(v.Coils) == len(c.plan.Coils) {
			c.verdict, c.news = &v, c.judged+1
		}
	}
	return c, nil
}

// load rebuilds a check from the store, without its verdict.
func (d *Desk) load(ctx context.Context, last *store.Check) (*check, error) {
	plan, err := layout.Parse(last.PlanName, last.PlanTOML)
	if err != nil {
		return nil, err
	}
	c := &check{Check: *last, plan: plan, sources: map[string]*source{}}
	messages, err := d.store.Messages(ctx, last.ID)
	if err != nil {
		return nil, err
	}
	slices.SortFunc(messages, func(a, b store.Message) int { return cmp.Compare(a.Place, b.Place) })
	for _, m := range messages {
		lines := make([]capture.Line, 0, len(m.Lines))
		for _, raw := range m.Lines {
			l, err := capture.ParseLine(raw)
			if err != nil {
				return nil, fmt.Errorf("message %d of %s: %w", m.Seq, m.Source, err)
			}
			lines = append(lines, l)
		}
		c.take(c.known(m.Source), m.Seq, lines)
	}
	if c.thrown, err = d.store.ThrownOut(ctx, last.ID); err != nil {
		return nil, err
	}
	if err := d.loadBefore(ctx, c); err != nil {
		return nil, err
	}
	return c, d.loadSigning(ctx, c)
}

// welcome counts as connected what was so in the check before: connections outlive it.
func (c *check) welcome(before *check) {
	for _, id := range before.order {
		if s := before.sources[id]; s.online > 0 {
			now := c.source(id)
			now.online, now.fed = s.online, s.fed
		}
	}
}

// Ingest stores a message from a source and returns the number to acknowledge, which is
// negative where none was told.
// When it returns without error the lines are on disk. Errors meant for the
// client are *ClientError.
func (d *Desk) Ingest(ctx context.Context, sourceID string, raw []byte) (ack int64, err error) {
	m, lines, err := ParseMessage(raw)
	if err != nil {
		return 0, err
	}
	switch {
	case m.Undo != nil:
		return m.Seq, withSeq(d.ThrowOut(ctx, sourceID, *m.Undo), m.Seq)
	case m.Again != nil:
		return m.Seq, withSeq(d.again(ctx, *m.Again), m.Seq)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	c := d.check
	if c.closedTo(sourceID, m.Seq) {
		return 0, closed(m.Seq)
	}
	s := c.known(sourceID)
	if err := d.fullLocked(s, m.Seq, len(lines)); err != nil {
		return 0, err
	}
	if c.rehearsing != nil && sourceID != BenchSource && !s.madeUp(lines) {
		return 0, &ClientError{Code: "rehearsal", Seq: m.Seq, Say: "A rehearsal is on at the bench, with a pad that is made up: this phone's readings are not taken.", Hint: "Begin a new check of the real pad on the bench page, then read."}
	}
	for i, l := range lines {
		// By their numbers lines from before the first start line would count in no capture.
		if _, ok := l.(capture.Start); i == 0 && !ok && (!s.started || m.Seq < s.first) {
			return 0, &ClientError{Code: "no-start", Seq: m.Seq, Say: "The first line must be a start line.", Hint: `Begin with {"type":"start","v":1,"route":"vector"}.`}
		}
		if e := capture.CheckLine(c.plan, l); e != nil {
			return 0, badLine(e, i+1, m.Seq)
		}
	}
	err = d.appendLocked(ctx, c, s, m.Seq, m.Lines, lines)
	var taken *store.SeqTakenError
	if errors.As(err, &taken) {
		return 0, &ClientError{Code: "seq-taken", Seq: m.Seq, LastSeq: &taken.Last,
			Say: fmt.Sprintf("Message %d is already stored with other lines.", m.Seq), Hint: fmt.Sprintf("Go on from %d.", taken.Last+1)}
	}
	if err != nil {
		return 0, fmt.Errorf("message %d could not be stored: %w", m.Seq, err)
	}
	return m.Seq, nil
}

// worthJudging tells whether lines can change a verdict: the end of a hold or
// pass, a hand or ohmmeter reading.
func worthJudging(lines []capture.Line) bool {
	return slices.ContainsFunc(lines, func(l capture.Line) bool {
		switch l.(type) {
		case capture.Lift, capture.PassEnd, capture.Reading, capture.Ohms, capture.Start:
			return true
		}
		return false
	})
}

// Join counts a connection of a source and returns the greeting to send it, with
// the verdict as it stands: it may have come while the source was cut off.
func (d *Desk) Join(sourceID string) map[string]any {
	d.mu.Lock()
	c := d.check
	s := c.source(sourceID)
	s.online++
	hello := map[string]any{"hello": map[string]any{"check": c.ID, "last_seq": s.last}}
	if c.verdict != nil {
		hello["verdict"] = c.verdict
	}
	d.mu.Unlock()
	d.pushPhones()
	return hello
}

// Leave undoes Join. A source that sent nothing is forgotten: every page that was
// only looked at would stay in the list of phones.
func (d *Desk) Leave(sourceID string) {
	d.mu.Lock()
	c := d.check
	if s, ok := c.sources[sourceID]; ok && s.online > 0 {
		s.online--
		if s.online == 0 && len(s.messages) == 0 {
			delete(c.sources, sourceID)
			c.order = slices.DeleteFunc(slices.Clone(c.order), func(id string) bool { return id == sourceID })
		}
	}
	others := c.verdict != nil && c.readLast() != ""
	d.mu.Unlock()
	if others {
		d.PushState() // what is asked for next may be another's to read now
		return
	}
	d.pushPhones()
}

// withSeq tells a client error which message it answers.
func withSeq(err error, seq int64) error {
	var e *ClientError
	if errors.As(err, &e) {
		e.Seq = max(seq, 0)
	}
	return err
}

// again begins another check of the same plan if the one named is still the one
// in progress. A rehearsal stays as it is: nothing in it can be mended.
func (d *Desk) again(ctx context.Context, asked Again) error {
	d.mu.Lock()
	c := d.check
	mend, err := c.mendTold(asked.Mend)
	d.mu.Unlock()
	if c.ID != asked.Check || c.rehearsing != nil {
		return nil
	}
	if err != nil {
		return err
	}
	return d.beginSame(ctx, c, mend)
}
