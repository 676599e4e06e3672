package feed

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// How long a step is looked at.
const (
	handOff  = 400 * time.Millisecond // after the press, for the hand to leave
	stepTime = 1200 * time.Millisecond
	stepN    = 10
	stepMost = 12 * time.Second // for slow sensors
	maxStepN = 2000
)

// teaching is a person's showing of a source under way.
type teaching struct {
	draft  Dialect
	steps  []Still
	solved *Solved
	notes  []string // what to tell of what was solved

	step *collector
}

// collector gathers the readings of a step.
type collector struct {
	from    time.Time
	now     func() time.Time
	n       int
	sum     [3]float64
	sumSq   [3]float64
	gravity [3]float64
	nG      int
	done    chan struct{} // closed when there are enough
	full    bool
}

// collect takes a message into the step under way.
func (t *teaching) collect(m *Message) {
	c := t.step
	if c == nil || c.full {
		return
	}
	since := c.now().Sub(c.from)
	if since < handOff {
		return
	}
	scale, err := t.draft.ScaleUT()
	if err != nil {
		return
	}
	if v, n := m.three(t.draft.Field); n == 3 && c.n < maxStepN {
		c.n++
		for a := range v {
			x := v[a] * scale
			c.sum[a] += x
			c.sumSq[a] += x * x
		}
	}
	if t.draft.Gravity != nil {
		if v, n := m.three(*t.draft.Gravity); n == 3 && c.nG < maxStepN {
			c.nG++
			for a := range v {
				c.gravity[a] += v[a]
			}
		}
	}
	if c.n >= stepN && since > handOff+stepTime {
		c.full = true
		close(c.done)
	}
}

// still sums a step up.
func (c *collector) still(step Step) Still {
	s := Still{Step: step, N: c.n}
	n := float64(c.n)
	for a := range c.sum {
		s.Mean[a] = c.sum[a] / n
		s.SD = math.Max(s.SD, math.Sqrt(math.Max(0, c.sumSq[a]/n-s.Mean[a]*s.Mean[a])))
	}
	if c.nG >= leastReadings {
		g := c.gravity
		for a := range g {
			g[a] /= float64(c.nG)
		}
		s.Gravity = &g
	}
	return s
}

// Pick is what a person picked of a source's numbers.
type Pick struct {
	Field    [3]string  `json:"field"`
	Unit     string     `json:"unit"`
	PerUT    float64    `json:"per_uT"`
	Gravity  *[3]string `json:"gravity"`
	Time     string     `json:"time"`
	TimeUnit string     `json:"time_unit"`
}

// Pick begins to teach a source, or begins again.
func (h *Hub) Pick(name string, p Pick) error {
	s, err := h.known(name)
	if err != nil {
		return err
	}
	d := Dialect{Source: name, Field: p.Field, Unit: p.Unit, PerUT: p.PerUT, Gravity: p.Gravity, Time: p.Time, TimeUnit: p.TimeUnit, Axes: AsPicked}
	if d.Time == "" {
		d.TimeUnit = ""
	}
	if err := d.Check(); err != nil {
		return refused("bad-pick", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, k := range s.watch.history() {
		m := Message{Numbers: k.numbers}
		if d.Fits(&m) {
			d.Shape = d.Shape[:0]
			for _, n := range m.Numbers {
				d.Shape = append(d.Shape, n.Path)
			}
		}
	}
	if len(d.Shape) == 0 {
		return problem("not-together", fmt.Sprintf("No message holds %s at once.", together(d.Field)), "Pick three numbers that come in one message.")
	}
	d.Columns = slices.Clone(s.parser.Columns())
	s.teach = &teaching{draft: d}
	h.touch()
	return nil
}

// Unpick ends teaching without keeping anything.
func (h *Hub) Unpick(name string) error {
	s, err := h.known(name)
	if err != nil {
		return err
	}
	s.mu.Lock()
	s.teach = nil
	s.mu.Unlock()
	h.touch()
	return nil
}

func (h *Hub) taught(name string) (*source, *teaching, error) {
	s, err := h.known(name)
	if err != nil {
		return nil, nil, err
	}
	s.mu.Lock()
	t := s.teach
	s.mu.Unlock()
	if t == nil {
		return nil, nil, problem("not-picked", "No numbers are picked yet.", "Pick which are x, y and z first.")
	}
	return s, t, nil
}

// Step looks at the source while it lies as step says, and returns once it has
// been looked at. A step taken again throws out those after it.
func (h *Hub) Step(ctx context.Context, name string, step Step) error {
	s, t, err := h.taught(name)
	if err != nil {
		return err
	}
	i := slices.Index(Steps[:], step)
	s.mu.Lock()
	if i < 0 || i > len(t.steps) || t.step != nil {
		s.mu.Unlock()
		return problem("bad-step", "The steps go one after the other.", "Begin with the first.")
	}
	c := &collector{from: h.now(), now: h.now, done: make(chan struct{})}
	t.step, t.solved, t.steps = c, nil, t.steps[:i]
	s.mu.Unlock()
	h.touch()
	timeout := time.NewTimer(stepMost)
	defer timeout.Stop()
	select {
	case <-c.done:
	case <-timeout.C:
	case <-ctx.Done():
		err = ctx.Err()
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	defer h.touch()
	t.step = nil
	if err != nil {
		return err
	}
	if c.n < leastReadings {
		return problem("few-readings", fmt.Sprintf("%d readings came in %.0f s; expected %d or more.", c.n, stepMost.Seconds(), leastReadings), "Does the sensor still send? Then take this step again.")
	}
	still := c.still(step)
	if still.SD > stillUT {
		return problem("not-still", fmt.Sprintf("The readings wander by %.1f uT; expected less than %.0f.", still.SD, stillUT), "Is the supply off, and does it lie still, away from anything driven? Then take this step again.")
	}
	t.steps = append(t.steps, still)
	return nil
}

// Solve settles the axes from the steps taken.
func (h *Hub) Solve(name string, half Half) error {
	s, t, err := h.taught(name)
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	defer h.touch()
	solved, err := solveAxes(t.steps, half, axesNamed(t.draft.Field))
	if err != nil {
		t.solved = nil
		return refused("not-settled", err)
	}
	t.solved, t.notes = solved, nil
	t.draft.Axes = solved.Axes
	if t.draft.Gravity != nil {
		axes, scale, err := solveGravity(t.steps)
		if err != nil {
			t.draft.Gravity = nil
			t.notes = append(t.notes, sentence(err))
		} else {
			t.draft.GravityAxes, t.draft.GravityScale = axes, scale
		}
	}
	return nil
}

// Keep stores what was shown under a name and uses it from now on.
func (h *Hub) Keep(ctx context.Context, name, as string, atSensor bool) error {
	s, t, err := h.taught(name)
	if err != nil {
		return err
	}
	as = strings.TrimSpace(as)
	if err := checkName(as); err != nil {
		return problem("bad-name", sentence(err), "")
	}
	s.mu.Lock()
	if t.solved == nil {
		s.mu.Unlock()
		return problem("not-settled", "How its axes lie is not settled yet.", "Take the steps first.")
	}
	d := t.draft
	d.Name, d.AtSensor = as, atSensor
	if d.Time == "" { // a clock shows only after a while; what was picked early has none yet
		d.Time, d.TimeUnit = timeLike(s.watch.history(), d.Field[0])
	}
	s.mu.Unlock()
	if other, _ := h.byName(as); other != nil && other.Source != name {
		return problem("name-taken", fmt.Sprintf("Another sensor's choice is kept as %q.", as), "Pick another name, or forget that one first.")
	}
	if err := h.keep(ctx, &d, ""); err != nil {
		return err
	}
	s.use(&d)
	return nil
}

// Use has a source understood by a dialect taught on another.
func (h *Hub) Use(name, dialect string) error {
	s, err := h.known(name)
	if err != nil {
		return err
	}
	d, err := h.byName(dialect)
	if err != nil {
		return err
	}
	s.mu.Lock()
	fits := slices.ContainsFunc(s.watch.history(), func(k keptMessage) bool { return d.Fits(&Message{Numbers: k.numbers}) })
	s.mu.Unlock()
	if !fits {
		return problem("no-fit", fmt.Sprintf("Its messages do not hold %s.", together(d.Field)), "Show which of its numbers are the field instead.")
	}
	s.use(d)
	h.touch()
	return nil
}

func (s *source) use(d *Dialect) {
	s.mu.Lock()
	s.dialect, s.offered, s.teach, s.anew, s.clock, s.latest = d, nil, nil, true, clock{}, nil
	s.mu.Unlock()
}
