package feed

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/time/rate"

	"polewise/field/capture"
	"polewise/server/desk"
)

// What is kept of a source's readings. A hold is kept finely; what lies between
// is thinned, and no longer kept at all after so many.
const (
	holdEvery    = 0.02 // seconds
	betweenEvery = 0.1
	maxBetween   = 20_000
	maxInHold    = 6_000
	guard        = 0.3 // seconds after a switch or a laying down, not counted
	maxGap       = 5.0 // longer silences say nothing of a source's pace
	maxSeconds   = 9e6 // a check's times end at 1e7
)

// source is one sensor. Its lock is taken before the hub's and the desk's.
type source struct {
	name string
	last atomic.Int64 // arrival, Unix nanoseconds

	messages, bytes *rate.Limiter

	mu      sync.Mutex
	parser  Parser
	watch   *watch
	dialect *Dialect
	offered []string
	counts  Counts
	bad     []BadLine
	runs    map[string]batch
	joined  bool // the desk counts it as connected, also in the check after
	anew    bool // taught anew: another capture begins with the next line
	teach   *teaching

	pace    float64 // messages a second, smoothed
	without int     // messages since the last that had the field's numbers
	latest  *[3]float64
	gap     float64 // seconds between the last chunks of more than one reading

	check   string
	seen    time.Time // when the check was first seen here
	seenAt  float64   // what was its time then
	full    bool      // no more is kept where it lies
	event   float64   // time of the last switch, laying down or lifting
	between int       // readings kept outside holds
	inHold  int
	thinning

	proposal   *Proposal
	proposedAt time.Time
}

// thinning is how far the readings of a source have become samples.
type thinning struct {
	clock   clock
	sum     [3]float64 // readings not kept yet
	n       int
	keptT   float64 // time of the last sample
	gravity float64 // time of the last gravity line
}

// Counts is what came of a source's lines.
type Counts struct {
	Messages int `json:"messages"`
	Readings int `json:"readings"` // of the field
	Kept     int `json:"kept"`     // samples stored
	Bad      int `json:"bad"`
}

// Add counts on.
func (c *Counts) Add(more Counts) {
	c.Messages += more.Messages
	c.Readings += more.Readings
	c.Kept += more.Kept
	c.Bad += more.Bad
}

// batch is the last numbered batch of a sender, so that one sent again is not
// taken twice.
type batch struct {
	number int64
	answer Answer
	used   time.Time
}

// Answer is what a sender is told. When it comes, what was to be kept is stored.
type Answer struct {
	Counts
	Taught string    `json:"taught"`        // the dialect used; empty: nobody has shown yet which numbers are the field
	Say    string    `json:"say,omitempty"` // why nothing is kept, and what to do
	Lines  []BadLine `json:"bad_lines,omitempty"`
}

// Sent tells where a chunk comes from.
type Sent struct {
	Line  int64  // number of its first line, 0 where not told
	Run   string // a sender's own name for itself
	Batch int64  // number of the chunk in the run
}

func (s *source) arrived() time.Time { return time.Unix(0, s.last.Load()) }

// Take takes a chunk of text. When it returns without error, what was to be kept
// is on disk.
func (h *Hub) Take(ctx context.Context, name string, chunk []byte, sent Sent) (Answer, error) {
	if len(chunk) > MaxChunkBytes {
		return Answer{}, problem("too-long", fmt.Sprintf("Readings may come %d bytes at a time; these were %d.", MaxChunkBytes, len(chunk)), "Send them in parts.")
	}
	s, err := h.source(name)
	if err != nil {
		return Answer{}, err
	}
	defer h.touch()
	s.mu.Lock()
	defer s.mu.Unlock()
	now := h.now()
	if b, ok := s.runs[sent.Run]; ok && sent.Run != "" && sent.Batch <= b.number {
		return b.answer, nil
	}
	if !s.bytes.AllowN(now, len(chunk)) {
		return Answer{}, tooFast(fmt.Sprintf("%d bytes a second", bytesSecond))
	}
	if sent.Line > 0 {
		s.parser.lineIs(int(sent.Line))
	}
	if s.counts.Messages == 0 {
		s.parser.recall(h.header(name))
	}
	messages, bad := s.parser.Parse(chunk)
	if !s.messages.AllowN(now, len(messages)) {
		return Answer{}, tooFast(fmt.Sprintf("%d readings a second", perSecond))
	}
	before := s.arrived()
	s.last.Store(now.UnixNano())
	readings, unread := s.understand(h, messages, now)
	bad = append(bad, unread...)
	kept, err := s.store(ctx, h, readings, before, now)
	if err != nil {
		return Answer{}, err
	}
	a := Answer{Counts: Counts{len(messages), len(readings), kept, len(bad)}, Lines: bad[:min(len(bad), maxBadShown)]}
	switch {
	case s.dialect != nil:
		a.Taught = s.dialect.Name
		if kept == 0 && s.full && len(readings) > 0 {
			a.Say = "Of what this sensor reads where it lies now nothing more is kept: it was enough. Say on the bench page what it does next."
		}
	case a.Messages > 0:
		a.Say = "Nobody has shown yet which of these numbers are the field. Do so on the bench page, under Other sensors; until then nothing is kept."
	}
	s.counts.Add(a.Counts)
	for _, b := range bad {
		if len(s.bad) == maxBadShown {
			s.bad = append(s.bad[:0], s.bad[1:]...)
		}
		s.bad = append(s.bad, b)
	}
	if dt := now.Sub(before).Seconds(); len(messages) > 0 && dt > 0 {
		w := math.Min(1, dt/2)
		s.pace += w * (math.Min(float64(len(messages))/dt, 2*perSecond) - s.pace)
	}
	if sent.Run != "" {
		s.remember(sent, a, now)
	}
	return a, nil
}

// understand reads messages by the source's dialect, and has them watched and taught by.
func (s *source) understand(h *Hub, messages []Message, now time.Time) (readings []Reading, bad []BadLine) {
	for i := range messages {
		m := &messages[i]
		s.watch.see(m, now)
		if s.teach != nil {
			s.teach.collect(m)
		}
		if s.dialect == nil {
			s.dialect, s.offered = h.find(s.name, m)
			if s.dialect == nil {
				continue
			}
		}
		r, ok, err := s.dialect.Read(m)
		switch {
		case err != nil:
			bad = append(bad, BadLine{m.Line, err.Error()})
		case ok:
			readings = append(readings, r)
			s.without = 0
		default:
			s.without++
		}
	}
	return readings, bad
}

func tooFast(limit string) error {
	return problem("too-fast", "These readings come faster than "+limit+".", "Send fewer, or slow the device down. Nothing of this part was taken.")
}

func (s *source) remember(sent Sent, a Answer, now time.Time) {
	if _, ok := s.runs[sent.Run]; !ok && len(s.runs) >= maxRuns {
		oldest := ""
		for r, b := range s.runs {
			if oldest == "" || b.used.Before(s.runs[oldest].used) {
				oldest = r
			}
		}
		delete(s.runs, oldest)
	}
	s.runs[sent.Run] = batch{sent.Batch, a, now}
}

// store keeps readings as capture lines and returns how many samples that were.
func (s *source) store(ctx context.Context, h *Hub, readings []Reading, before, now time.Time) (int, error) {
	if len(readings) == 0 {
		return 0, nil
	}
	s.latest = &readings[len(readings)-1].UT
	f, err := s.fed(h)
	if err != nil {
		return 0, err
	}
	if f.Rehearsal {
		return 0, nil // nothing real belongs to it
	}
	arrived := s.seenAt + now.Sub(s.seen).Seconds()
	if arrived > maxSeconds {
		return 0, problem("too-old", "This check was begun too long ago to add to it.", "Begin a new check on the bench page.")
	}
	// Readings that came together were taken one after the other since the chunk
	// before, if that was not long ago.
	gap := now.Sub(before).Seconds()
	if gap > maxGap || gap < 0 || len(readings) == 1 {
		gap = 0
	}
	s.gap = math.Max(gap, 0.8*s.gap)
	wait := guard
	if s.dialect.Time == "" {
		wait += s.gap // the reading may be so much older than it looks
	}
	count, most, every := &s.between, maxBetween, betweenEvery
	if f.At != "" {
		count, most, every = &s.inHold, maxInHold, holdEvery
	}
	s.full = *count >= most
	var lines []capture.Line
	kept := 0
	asBefore := s.thinning
	for i := range readings {
		r := &readings[i]
		t := arrived - gap*float64(len(readings)-1-i)/float64(len(readings))
		if r.Time != nil {
			t = s.clock.at(*r.Time, arrived)
		}
		t = math.Round(1e4*math.Max(t, 0)) / 1e4
		if f.Started && t >= s.event && t < s.event+wait || t < s.keptT {
			continue
		}
		for a := range s.sum {
			s.sum[a] += r.UT[a]
		}
		s.n++
		// A clock that ticks unevenly must not lose every other reading.
		if t < s.keptT+0.8*every {
			continue
		}
		if s.full {
			s.sum, s.n = [3]float64{}, 0
			continue
		}
		lines = append(lines, s.sample(t, r.Gravity)...)
		kept++
	}
	if kept == 0 {
		return 0, nil
	}
	if err := s.send(ctx, h, f, lines); err != nil {
		// Sent again by a device with a clock of its own, they carry the same times.
		s.thinning = asBefore
		return 0, err
	}
	*count += kept
	return kept, nil
}

// sample is the mean of the readings not kept yet, with gravity before it twice a second.
func (s *thinning) sample(t float64, gravity *[3]float64) (lines []capture.Line) {
	if gravity != nil && t >= s.gravity+0.5 {
		g := capture.Gravity{T: t}
		for a := range g.MS2 {
			g.MS2[a] = math.Round(1e3*gravity[a]) / 1e3
		}
		s.gravity = t
		lines = append(lines, g)
	}
	b := capture.B{T: t}
	for a := range b.UT {
		b.UT[a] = math.Round(1e4*s.sum[a]/float64(s.n)) / 1e4
	}
	s.sum, s.n, s.keptT = [3]float64{}, 0, t
	return append(lines, b)
}

// fed asks the desk what is stored, and begins anew where another check has.
func (s *source) fed(h *Hub) (desk.FedSource, error) {
	f := h.desk.Fed(s.name)
	if s.check != f.Check {
		// Taken up again after the program was started again, times go on, also where
		// the computer's clock was put back in between.
		s.seen = h.now()
		s.seenAt = math.Max(s.seen.Sub(f.Began).Seconds(), f.LastT)
		s.check, s.between, s.inHold, s.keptT, s.event, s.gravity = f.Check, 0, 0, f.LastT-1, f.LastT, f.LastT-1
		s.sum, s.n, s.clock = [3]float64{}, 0, clock{}
	}
	if f.Started && (s.anew || s.dialect != nil && f.Device != s.dialect.Name) {
		f.Started, f.At, f.Drive = false, "", ""
	}
	others := f.Online
	if s.joined {
		others--
	}
	if others > 0 {
		return f, problem("source-taken", fmt.Sprintf("A phone is connected under the name %q.", s.name), "Give this sensor another name with ?source=NAME.")
	}
	if !s.joined {
		h.desk.JoinFed(s.name)
		s.joined = true
	}
	return f, nil
}

// send stores lines, with the start line before the first of a capture.
func (s *source) send(ctx context.Context, h *Hub, f desk.FedSource, lines []capture.Line) error {
	if !f.Started {
		start := capture.Start{V: 1, Route: capture.Vector, Device: s.dialect.Name}
		if s.dialect.AtSensor {
			start.Sensor = &capture.Sensor{OffsetMM: &[2]float64{}, OffsetSDMM: &[2]float64{atSensorSDMM, atSensorSDMM}}
		}
		lines = append([]capture.Line{start}, lines...)
	}
	err := h.desk.Receive(ctx, f.Check, s.name, lines)
	if err == nil {
		s.anew = false
	}
	if errors.Is(err, desk.ErrOtherCheck) {
		return problem("new-check", "A new check began while these readings came.", "Send them again.")
	}
	return err
}

// atSensorSDMM is how well a person puts a bare sensor chip on a coil's centre,
// beyond how well anything is put there.
const atSensorSDMM = 3

// leave counts the source as gone.
func (s *source) leave(h *Hub) {
	if s.joined {
		h.desk.Leave(s.name)
		s.joined = false
	}
}

// leaveIfSilent does so when nothing has come for a while; true where it did.
func (s *source) leaveIfSilent(h *Hub) bool {
	if h.now().Sub(s.arrived()) < idleAfter || !s.mu.TryLock() {
		return false
	}
	defer s.mu.Unlock()
	if !s.joined {
		return false
	}
	s.leave(h)
	return true
}

// Hold begins a hold: the person says that the sensor lies on a coil.
func (h *Hub) Hold(ctx context.Context, name, coil string) error {
	return h.act(ctx, name, func(s *source, f *desk.FedSource, t float64) (capture.Line, error) {
		switch {
		case f.At != "":
			return nil, problem("in-hold", fmt.Sprintf("It is counted as lying on %s.", f.At), "End that hold first.")
		case f.Drive == "":
			return nil, problem("no-supply", "Nobody has said yet whether the supply is off or on.", "Switch it off, press \"Supply is off\", wait two seconds, then go on with \"Supply is on\".")
		}
		s.inHold = 0
		return capture.Hold{T: t, Coil: coil}, nil
	})
}

// Lift ends a hold.
func (h *Hub) Lift(ctx context.Context, name string) error {
	return h.act(ctx, name, func(_ *source, f *desk.FedSource, t float64) (capture.Line, error) {
		if f.At == "" {
			return nil, problem("no-hold", "It is not counted as lying on a coil.", "Begin a hold first.")
		}
		return capture.Lift{T: t}, nil
	})
}

// Supply says that the supply was switched. There is one for the pad: what is
// said of one sensor holds for all that send now.
func (h *Hub) Supply(ctx context.Context, name string, on bool, amps *float64) error {
	if amps != nil && !(*amps > 0 && *amps <= 1000) {
		return problem("bad-amps", fmt.Sprintf("Expected the amps as a number above 0, found %g.", *amps), "Leave it empty where the supply shows none.")
	}
	line := func(_ *source, _ *desk.FedSource, t float64) (capture.Line, error) {
		if on {
			return h.desk.SupplyOn(t, amps), nil
		}
		return capture.Drive{T: t, State: capture.Off}, nil
	}
	if err := h.act(ctx, name, line); err != nil {
		return err
	}
	var others []string
	h.each(func(s *source) {
		if s.name != name && s.dialect != nil && h.now().Sub(s.arrived()) < idleAfter {
			others = append(others, s.name)
		}
	})
	var errs []error
	for _, o := range others {
		errs = append(errs, h.act(ctx, o, line))
	}
	return errors.Join(errs...)
}

// act stores what the person did with a source.
func (h *Hub) act(ctx context.Context, name string, line func(*source, *desk.FedSource, float64) (capture.Line, error)) error {
	s, err := h.known(name)
	if err != nil {
		return err
	}
	defer h.touch()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.dialect == nil {
		return problem("not-taught", "Nobody has shown yet which of its numbers are the field.", "Do that first, on its card.")
	}
	f, err := s.fed(h)
	if err != nil {
		return err
	}
	if f.Rehearsal {
		return problem("rehearsal", "A rehearsal is going on: its pad is made up.", "Begin a new check for the real pad.")
	}
	t := math.Round(1e4*math.Max(s.seenAt+h.now().Sub(s.seen).Seconds(), math.Max(s.keptT, s.event))) / 1e4
	l, err := line(s, &f, t)
	if err != nil {
		return err
	}
	if err := s.send(ctx, h, f, []capture.Line{l}); err != nil {
		return err
	}
	s.event, s.sum, s.n = t, [3]float64{}, 0
	return nil
}
