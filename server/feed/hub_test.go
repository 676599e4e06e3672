package feed

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"polewise/field/capture"
	"polewise/server/desk"
)

// stand is a desk and a shelf that only remember, under a clock that the test
// turns.
type stand struct {
	mu    sync.Mutex
	now   time.Time
	fed   map[string]*desk.FedSource
	lines map[string][]capture.Line
	kept  map[string][]byte
	fail  error
}

func newStand(dialects ...*Dialect) (*stand, *Hub) {
	s := &stand{now: time.Unix(1000, 0), fed: map[string]*desk.FedSource{}, lines: map[string][]capture.Line{}, kept: map[string][]byte{}}
	h := NewHub(s, s, slog.New(slog.NewTextHandler(io.Discard, nil)))
	h.now = func() time.Time { s.mu.Lock(); defer s.mu.Unlock(); return s.now }
	h.dialects = dialects
	return s, h
}

func (s *stand) later(d time.Duration) {
	s.mu.Lock()
	s.now = s.now.Add(d)
	s.mu.Unlock()
}

func (s *stand) source(name string) *desk.FedSource {
	if s.fed[name] == nil {
		s.fed[name] = &desk.FedSource{Check: "one", Began: time.Unix(1000, 0)}
	}
	return s.fed[name]
}

func (s *stand) Fed(name string) desk.FedSource {
	s.mu.Lock()
	defer s.mu.Unlock()
	return *s.source(name)
}

func (s *stand) Receive(_ context.Context, check, name string, lines []capture.Line) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	f := s.source(name)
	if s.fail != nil {
		return s.fail
	}
	if check != f.Check {
		return desk.ErrOtherCheck
	}
	s.lines[name] = append(s.lines[name], lines...)
	for _, l := range lines {
		f.LastT = math.Max(f.LastT, l.At())
		switch l := l.(type) {
		case capture.Start:
			f.Started, f.Device, f.At, f.Drive, f.LastT = true, l.Device, "", "", 0
		case capture.Drive:
			f.Drive = l.State
		case capture.Hold:
			f.At = l.Coil
		case capture.Lift:
			f.At = ""
		}
	}
	return nil
}

func (s *stand) SupplyOn(t float64, amps *float64) capture.Drive {
	return capture.Drive{T: t, State: capture.On, Amps: amps}
}
func (s *stand) JoinFed(name string) { s.mu.Lock(); s.source(name).Online++; s.mu.Unlock() }
func (s *stand) Leave(name string)   { s.mu.Lock(); s.source(name).Online--; s.mu.Unlock() }
func (s *stand) TellBenches(func() any) bool {
	return false
}
func (s *stand) Dialects(context.Context) ([][]byte, error) { return nil, nil }
func (s *stand) KeepDialect(_ context.Context, name, old string, raw []byte) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.kept, old)
	s.kept[name] = raw
	return nil
}
func (s *stand) ForgetDialect(_ context.Context, name string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.kept, name)
	return nil
}

// cut is the source's last capture, cut into its parts.
func (s *stand) cut(t *testing.T, name string) (*capture.Capture, *capture.Stretches) {
	t.Helper()
	lines := s.lines[name]
	for i := len(lines) - 1; i >= 0; i-- {
		if _, ok := lines[i].(capture.Start); ok {
			c, err := capture.FromLines(lines[i:])
			if err != nil {
				t.Fatal(err)
			}
			return c, c.Cut()
		}
	}
	t.Fatal("no start line")
	return nil, nil
}

func plain(timed bool) *Dialect {
	d := &Dialect{Name: "plain", Source: "s", Shape: []string{"x", "y", "z", "t"}, Field: [3]string{"x", "y", "z"}, Unit: "uT", Axes: AsPicked}
	if timed {
		d.Time, d.TimeUnit = "t", "s"
	}
	return d
}

func take(t *testing.T, h *Hub, name, text string) Answer {
	t.Helper()
	a, err := h.Take(context.Background(), name, []byte(text), Sent{})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// TestSwitchBetweenBatches: an app sends a second's readings at once, without a
// clock of its own. What was read before the supply was switched must not count
// as read after it, and the other way about.
func TestSwitchBetweenBatches(t *testing.T) {
	for _, timed := range []bool{false, true} {
		s, h := newStand(plain(timed))
		ctx := context.Background()
		device, batch := 50.0, 0
		on := false
		// Each batch holds the ten tenths of a second before it; the supply may be
		// switched in the middle of one.
		send := func(switchAt int) {
			var b strings.Builder
			for i := range 10 {
				if i == switchAt {
					on = !on
					s.later(time.Duration(i) * 100 * time.Millisecond)
					must(t, h.Supply(ctx, "s", on, nil))
					s.later(-time.Duration(i) * 100 * time.Millisecond)
				}
				z := 1.0
				if on {
					z = 1000
				}
				device += 0.1
				fmt.Fprintf(&b, `{"x":%g,"y":2,"z":%g,"t":%.1f}`+"\n", float64(10*batch+i), z, device)
			}
			batch++
			s.later(time.Second)
			take(t, h, "s", b.String())
		}
		send(-1)
		must(t, h.Supply(ctx, "s", false, nil))
		send(-1)
		send(-1)
		send(4)
		must(t, h.Hold(ctx, "s", "A1"))
		for range 4 {
			send(-1)
		}
		must(t, h.Lift(ctx, "s"))
		send(6) // off again
		send(-1)
		send(-1)
		_, cut := s.cut(t, "s")
		if len(cut.Rests) == 0 || len(cut.Holds) != 1 {
			t.Fatalf("timed %v: %d rests, %d holds", timed, len(cut.Rests), len(cut.Holds))
		}
		n := 0
		for _, r := range cut.Rests {
			for _, b := range r.B {
				n++
				if b.UT[2] != 1 {
					t.Errorf("timed %v: read in the rest from %.1f to %.1f at %.2f: %v, the supply was on", timed, r.From, r.To, b.T, b.UT)
				}
			}
		}
		for _, b := range cut.Holds[0].B {
			if b.UT[2] != 1000 {
				t.Errorf("timed %v: read in the hold at %.2f: %v, the supply was off", timed, b.T, b.UT)
			}
		}
		if n < 10 || len(cut.Holds[0].B) < 15 {
			t.Errorf("timed %v: %d readings in rests, %d in the hold; expected more", timed, n, len(cut.Holds[0].B))
		}
	}
}

// TestKeptInMeasure: a fast device is kept finely in holds only, and between them
// no longer than makes sense.
func TestKeptInMeasure(t *testing.T) {
	s, h := newStand(plain(false))
	ctx := context.Background()
	say := func(seconds, each int) (kept int) {
		for range 10 * seconds {
			s.later(100 * time.Millisecond)
			var b strings.Builder
			for i := range each {
				fmt.Fprintf(&b, `{"x":%d,"y":2,"z":3}`+"\n", i)
			}
			kept += take(t, h, "s", b.String()).Kept
		}
		return kept
	}
	if n := say(10, 40); n < 80 || n > 130 {
		t.Errorf("%d samples kept in 10 s between holds, expected about 100", n)
	}
	must(t, h.Supply(ctx, "s", true, nil))
	must(t, h.Hold(ctx, "s", "A1"))
	if n := say(10, 40); n < 350 || n > 650 {
		t.Errorf("%d samples kept in a hold of 10 s, expected about 500", n)
	}
	if n := say(600, 5); n > maxInHold {
		t.Errorf("%d samples kept of one hold, expected %d at most", n, maxInHold)
	}
	must(t, h.Lift(ctx, "s"))
	if n := say(3000, 2); n > maxBetween || n < maxBetween/2 {
		t.Errorf("%d samples kept between holds, expected up to %d", n, maxBetween)
	}
	if st := h.State()[0]; !st.Full {
		t.Error("the page is not told that no more is kept")
	}
}

// TestAnotherCheck: readings go on in a new check, a rehearsal gets none, and a
// phone's name is not taken.
func TestAnotherCheck(t *testing.T) {
	s, h := newStand(plain(false))
	ctx := context.Background()
	const line = `{"x":1,"y":2,"z":3}`
	take(t, h, "s", line)
	s.later(time.Minute)
	s.fed["s"] = &desk.FedSource{Check: "two", Began: s.now}
	s.later(200 * time.Millisecond)
	if a := take(t, h, "s", line); a.Kept != 1 {
		t.Errorf("after the new check began: %+v", a)
	}
	starts := 0
	for _, l := range s.lines["s"] {
		if _, ok := l.(capture.Start); ok {
			starts++
		}
	}
	if starts != 2 {
		t.Errorf("%d start lines in two checks", starts)
	}
	s.later(time.Second)
	s.fed["s"].Rehearsal = true
	if a := take(t, h, "s", line); a.Kept != 0 || a.Readings != 1 {
		t.Errorf("in a rehearsal: %+v", a)
	}
	var c *desk.ClientError
	if err := h.Hold(ctx, "s", "A1"); !errors.As(err, &c) || c.Code != "rehearsal" {
		t.Errorf("a hold in a rehearsal: %v", err)
	}
	s.fed["s"].Rehearsal = false
	s.fed["s"].Online = 2 // this feed, and a phone
	if _, err := h.Take(ctx, "s", []byte(line), Sent{}); !errors.As(err, &c) || c.Code != "source-taken" {
		t.Errorf("under a phone's name: %v", err)
	}
	s.fed["s"].Online = 1
	s.fail = errors.New("disk full")
	s.later(time.Second)
	if _, err := h.Take(ctx, "s", []byte(line), Sent{}); err == nil {
		t.Error("acknowledged though nothing could be stored")
	}
}

// TestSentAgainAfterAFailure: what could not be stored is kept when it is sent again,
// also of a device whose own clock says when it was read.
func TestSentAgainAfterAFailure(t *testing.T) {
	for _, timed := range []bool{false, true} {
		s, h := newStand(plain(timed))
		say := func(from int) (Answer, error) {
			s.later(time.Second)
			var b strings.Builder
			for i := range 10 {
				fmt.Fprintf(&b, `{"x":%d,"y":2,"z":3,"t":%.1f}`+"\n", from+i, 50+0.1*float64(from+i))
			}
			return h.Take(context.Background(), "s", []byte(b.String()), Sent{})
		}
		if _, err := say(0); err != nil {
			t.Fatal(err)
		}
		s.fail = errors.New("disk full")
		if _, err := say(10); err == nil {
			t.Fatal("acknowledged though nothing could be stored")
		}
		s.fail = nil
		if a, err := say(10); err != nil || a.Kept < 9 {
			t.Errorf("timed %v: sent again, %+v, %v", timed, a, err)
		}
	}
}

// TestFloodIsBounded: whatever names a source makes up, what is remembered of it
// stays small.
func TestFloodIsBounded(t *testing.T) {
	s, h := newStand()
	for i := range 400 {
		s.later(time.Second)
		var b strings.Builder
		for j := range 100 {
			fmt.Fprintf(&b, `{"n%d":1,"m%d":2}`+"\n", 100*i+j, 100*i+j)
		}
		take(t, h, "s", b.String())
	}
	src := h.sources["s"]
	if len(src.watch.tracks) > maxTracks || len(src.watch.kept) > keptMessages || len(src.watch.last) > maxTracks || len(src.bad) > maxBadShown {
		t.Errorf("%d tracks, %d messages, %d kinds, %d bad lines remembered", len(src.watch.tracks), len(src.watch.kept), len(src.watch.last), len(src.bad))
	}
	for i := range 200 {
		s.later(time.Millisecond)
		if _, err := h.Take(context.Background(), fmt.Sprint("run", i), []byte("1"), Sent{Run: fmt.Sprint(i), Batch: 1}); (err != nil) != (i >= maxSources-1) {
			t.Fatalf("source %d: %v", i, err)
		}
	}
	for i := range 50 {
		take1, err := h.Take(context.Background(), "s", []byte("1"), Sent{Run: fmt.Sprint(i), Batch: 1})
		if err != nil || take1.Messages != 1 {
			t.Fatal(take1, err)
		}
	}
	if len(src.runs) > maxRuns {
		t.Errorf("%d senders remembered", len(src.runs))
	}
}

// TestProposal: the field is found among other numbers by how it moves, in any
// unit, with gravity and time.
func TestProposal(t *testing.T) {
	for unit, ut := range unitsUT {
		s, h := newStand()
		for i := range 60 {
			a := float64(i) * 0.21
			s.later(100 * time.Millisecond)
			dir := [3]float64{math.Cos(a) * math.Cos(1.7*a), math.Sin(a) * math.Cos(1.7*a), math.Sin(1.7 * a)}
			take(t, h, "s", fmt.Sprintf("%d %.3f %.3f %.3f %.5f %.5f %.5f 21.5 %g",
				5000+100*i, 9.81*dir[2], 9.81*dir[0], 9.81*dir[1], 47/ut*dir[0], 47/ut*dir[1], 47/ut*dir[2], float64(i%7)))
		}
		p := h.State()[0].Proposal
		if p == nil {
			t.Fatalf("%s: nothing proposed", unit)
		}
		if p.Field != [3]string{"column 5", "column 6", "column 7"} || p.Unit != unit || p.Gravity == nil || (*p.Gravity)[0] != "column 2" || p.Time != "column 1" || p.TimeUnit != "ms" {
			t.Errorf("%s: proposed %+v, gravity %v", unit, p, p.Gravity)
		}
	}
	s, h := newStand() // nothing moves
	for range 60 {
		s.later(100 * time.Millisecond)
		take(t, h, "s", "12 -3 44")
	}
	if p := h.State()[0].Proposal; p != nil {
		t.Errorf("proposed %+v of a sensor that lies still", p)
	}
}

func TestNamed(t *testing.T) {
	for _, c := range []struct {
		paths [3]string
		want  bool
	}{
		{[3]string{"mag.x", "mag.y", "mag.z"}, true},
		{[3]string{"mX", "mY", "mZ"}, true},
		{[3]string{"Field X (uT)", "Field Y (uT)", "Field Z (uT)"}, true},
		{[3]string{"mag.y", "mag.x", "mag.z"}, false},
		{[3]string{"column 1", "column 2", "column 3"}, false},
		{[3]string{"mag[0]", "mag[1]", "mag[2]"}, false},
	} {
		if got := axesNamed(c.paths); got != c.want {
			t.Errorf("%v: %v", c.paths, got)
		}
	}
	if got := together([3]string{"magnetometer.x", "magnetometer.y", "magnetometer.z"}); got != "magnetometer.x/y/z" {
		t.Error(got)
	}
	if got := together([3]string{"mx", "my", "mz"}); got != "mx/my/mz" {
		t.Error(got)
	}
}

func TestClock(t *testing.T) {
	var c clock
	// Readings of a device 1000 s behind, each delayed by up to a second: the
	// times come out evenly and never after the arrival.
	last := -1.0
	for i := range 100 {
		device := float64(i) * 0.1
		arrived := device + 1000 + float64(i*7%10)/10
		got := c.at(device, arrived)
		if got > arrived+1e-9 || i > 10 && math.Abs(got-last-0.1) > 0.01 {
			t.Fatalf("reading %d: %g after %g, arrived %g", i, got, last, arrived)
		}
		last = got
	}
	if got := c.at(0, 1200); got != 1200 { // started again
		t.Errorf("after a restart: %g", got)
	}
	if got := c.at(500, 1201); got != 1201 { // its clock was set
		t.Errorf("after a jump: %g", got)
	}
}

// TestManyHands has sources send while the page asks and acts.
func TestManyHands(t *testing.T) {
	_, h := newStand(plain(false))
	h.now = time.Now
	var all sync.WaitGroup
	for i := range 4 {
		all.Go(func() {
			for j := range 60 {
				_, _ = h.Take(context.Background(), []string{"s", "other"}[i%2], fmt.Appendf(nil, `{"x":%d,"y":2,"z":3}`, j), Sent{})
			}
		})
	}
	all.Go(func() {
		for range 40 {
			_ = h.State()
			_ = h.Supply(context.Background(), "s", true, nil)
			_ = h.Hold(context.Background(), "s", "A1")
			_ = h.Lift(context.Background(), "s")
			h.Drop("other")
			_ = h.Rename(context.Background(), "plain", "plain two")
			_ = h.Rename(context.Background(), "plain two", "plain")
		}
	})
	all.Wait()
}

// TestClockPutBack starts the program again on a computer whose clock was put back by
// an hour: the times of the check go on, and readings, holds and what is said of the
// supply are kept as before.
func TestClockPutBack(t *testing.T) {
	s, h := newStand(plain(false))
	ctx := context.Background()
	say := func(n int) (kept int) {
		for i := range n {
			s.later(100 * time.Millisecond)
			kept += take(t, h, "s", fmt.Sprintf(`{"x":%d,"y":2,"z":3}`, i)).Kept
		}
		return kept
	}
	say(50)
	last := s.fed["s"].LastT
	s.later(-time.Hour)
	s.fed["s"].Online = 0
	now := h.now
	h = NewHub(s, s, h.log)
	h.now, h.dialects = now, []*Dialect{plain(false)}
	if kept := say(50); kept < 40 {
		t.Errorf("of 50 readings after the start %d were kept", kept)
	}
	must(t, h.Supply(ctx, "s", true, nil))
	s.later(time.Second)
	must(t, h.Hold(ctx, "s", "A1"))
	if kept := say(30); kept < 20 {
		t.Errorf("of 30 readings over A1 %d were kept", kept)
	}
	must(t, h.Lift(ctx, "s"))
	_, cut := s.cut(t, "s")
	if len(cut.Holds) != 1 || cut.Holds[0].To-cut.Holds[0].From < 2.5 || cut.Holds[0].From < last {
		t.Errorf("the hold of three seconds after %g s: %+v", last, cut.Holds)
	}
	before := 0.0
	for _, l := range s.lines["s"] {
		if l.At() < before {
			t.Fatalf("a time of %g s comes after %g s", l.At(), before)
		}
		before = l.At()
	}
}

// TestEnoughIsSaid: a sensor that nobody says anything of is kept for a while only, and
// whoever sends is told.
func TestEnoughIsSaid(t *testing.T) {
	s, h := newStand(plain(false))
	s.later(time.Second)
	if a := take(t, h, "s", `{"x":1,"y":2,"z":3}`); a.Kept != 1 || a.Say != "" {
		t.Fatalf("%+v", a)
	}
	h.sources["s"].between = maxBetween
	s.later(time.Second)
	if a := take(t, h, "s", `{"x":1,"y":2,"z":4}`); a.Kept != 0 || a.Say == "" {
		t.Errorf("nothing was kept, and it is said %q", a.Say)
	}
}

// TestClockOfASlowDevice: a device's clock runs a ten-thousandth slow, for an hour, as
// a cheap quartz in the cold may. Its times stay within half a second of ours.
func TestClockOfASlowDevice(t *testing.T) {
	for _, off := range []float64{-1e-4, 1e-4} {
		var c clock
		worst := 0.0
		for now := 0.0; now < 3600; now += 0.1 {
			worst = math.Max(worst, math.Abs(c.at(77+now*(1+off), now)-now))
		}
		if worst > 0.05 {
			t.Errorf("off by %g, its times are up to %.2f s from ours", off, worst)
		}
	}
}
