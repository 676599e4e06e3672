package desk

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"time"

	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/layout"
)

// Rehearsal is a made-up phone over a made-up pad with something hidden. Its
// readings go to a phone page, which treats them as any other phone's.
type Rehearsal struct {
	ID     string
	Plan   *layout.Plan
	faults []layout.Fault

	mu    sync.Mutex
	phone *rehearsal.Phone
	began time.Time
	move  Pose
	subs  map[chan Sensed]bool

	stop context.CancelFunc
	done chan struct{}
}

// Pose is where the made-up phone lies: its mark in millimetres of the pad
// frame, its top edge counter-clockwise from pad +y, and whether it is down.
type Pose struct {
	X      float64    `json:"x_mm"`
	Y      float64    `json:"y_mm"`
	TopDeg float64    `json:"top_deg"`
	Tilt   [2]float64 `json:"tilt_deg"`
	Down   bool       `json:"down"`
}

// Sensed is one reading of the made-up phone.
type Sensed struct {
	T     float64            `json:"t"`
	UT    [3]float64         `json:"uT"`
	MS2   [3]float64         `json:"ms2"`
	Drive capture.DriveState `json:"drive"`
}

// readingsPerSecond is what browsers give at most.
const readingsPerSecond = 10

// newRehearsal hides a fault in a pad and starts the phone's sensor, which runs
// until ctx ends or Stop is called. A nil fault list has one picked.
func newRehearsal(ctx context.Context, plan *layout.Plan, difficulty rehearsal.Difficulty, faults []layout.Fault) (*Rehearsal, error) {
	rng := rand.New(rand.NewPCG(rand.Uint64(), rand.Uint64()))
	if faults == nil {
		var err error
		if faults, err = rehearsal.PickFault(plan, difficulty, rng); err != nil {
			return nil, err
		}
	}
	o := rehearsal.Defaults()
	o.Seed = rng.Uint64()
	o.Faults = faults
	phone, err := rehearsal.NewPhone(plan, o)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(ctx)
	r := &Rehearsal{ID: newID(), Plan: plan, faults: faults, phone: phone, began: time.Now(), subs: map[chan Sensed]bool{}, stop: cancel, done: make(chan struct{})}
	go r.run(ctx)
	return r, nil
}

func (r *Rehearsal) run(ctx context.Context) {
	defer close(r.done)
	tick := time.NewTicker(time.Second / readingsPerSecond)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		r.mu.Lock()
		t := time.Since(r.began).Seconds()
		r.phone.Move(r.move.X, r.move.Y, r.move.TopDeg, r.move.Tilt[0], r.move.Tilt[1], r.move.Down)
		ut, ms2 := r.phone.Read(t)
		s := Sensed{T: t, UT: ut, MS2: ms2, Drive: r.phone.Driven().State}
		for c := range r.subs {
			select {
			case c <- s:
			default: // a page that does not keep up misses a reading, as with any sensor
			}
		}
		r.mu.Unlock()
	}
}

// Stop ends the sensor and waits for it.
func (r *Rehearsal) Stop() {
	r.stop()
	<-r.done
}

// Moved tells where the phone lies now.
func (r *Rehearsal) Moved(p Pose) {
	r.mu.Lock()
	r.move = p
	r.mu.Unlock()
}

// Drive switches the made-up supply.
func (r *Rehearsal) Drive(state capture.DriveState) {
	switch state {
	case capture.Off, capture.On, capture.Pulse:
		r.mu.Lock()
		r.phone.Drive(state)
		r.mu.Unlock()
	}
}

// Listen returns the readings from now on; call the function returned to stop.
func (r *Rehearsal) Listen() (<-chan Sensed, func()) {
	c := make(chan Sensed, 16)
	r.mu.Lock()
	r.subs[c] = true
	r.mu.Unlock()
	return c, func() {
		r.mu.Lock()
		delete(r.subs, c)
		r.mu.Unlock()
	}
}

// Ohms is what the made-up ohmmeter shows, at 20 C; nil: open.
func (r *Rehearsal) Ohms(across string) (*float64, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	ohms, err := r.phone.Ohms(across)
	if err != nil {
		return nil, &ClientError{Code: "not-measured", Say: fmt.Sprintf("This cannot be measured: %v.", err), Hint: "Load the page again."}
	}
	return ohms, nil
}

// Done is closed when the rehearsal has ended.
func (r *Rehearsal) Done() <-chan struct{} { return r.done }

// Truth is what was hidden.
type Truth struct {
	Faults []layout.Fault `json:"faults"`
	Say    string         `json:"say"`
	Offset [2]float64     `json:"offset_mm"`
	// Fooled lists the coils that a plain check of the sign would have got
	// wrong.
	Fooled []string `json:"plain_sign_check"`
	// Looks is that check coil by coil, beside the truth.
	Looks  []rehearsal.SignLook `json:"looks"`
	TopDeg float64              `json:"top_deg"` // how the phone was turned for it
}

// Truth reveals what was hidden.
func (r *Rehearsal) Truth() (*Truth, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	t := &Truth{Faults: r.faults, Say: rehearsal.Describe(r.faults), Offset: r.phone.OffsetMM()}
	if t.Faults == nil {
		t.Faults = []layout.Fault{}
	}
	var err error
	if t.Looks, err = rehearsal.PlainSignLooks(r.Plan, r.faults, t.Offset, r.move.TopDeg); err != nil {
		return nil, err
	}
	t.TopDeg, t.Fooled = r.move.TopDeg, rehearsal.Fooled(t.Looks)
	return t, nil
}

// Rehearse begins a check fed by a made-up phone.
func (d *Desk) Rehearse(ctx context.Context, text PlanText, difficulty rehearsal.Difficulty, faults []layout.Fault) (*Rehearsal, error) {
	plan, err := layout.Parse(text.Name, text.TOML)
	if err != nil {
		return nil, err
	}
	r, err := newRehearsal(ctx, plan, difficulty, faults)
	if err != nil {
		return nil, &ClientError{Code: "not-hidden", Say: fmt.Sprintf("This cannot be hidden in %s: %v.", plan.Name, err), Hint: "Choose another fault, or let the program hide one."}
	}
	if err := d.Begin(ctx, text, r); err != nil {
		r.Stop()
		return nil, err
	}
	return r, nil
}

// madeUpDevice is what the phone page of a rehearsal says it is.
const madeUpDevice = "rehearsal"

// madeUp tells whether lines come from a made-up phone: any other lies on another pad.
func (s *source) madeUp(lines []capture.Line) bool {
	if len(lines) > 0 {
		if start, ok := lines[0].(capture.Start); ok {
			return start.Device == madeUpDevice
		}
	}
	return s.device == madeUpDevice
}

// RehearsalByID returns the rehearsal in progress if it is the one named.
func (d *Desk) RehearsalByID(id string) *Rehearsal {
	d.mu.Lock()
	defer d.mu.Unlock()
	if r := d.check.rehearsing; r != nil && r.ID == id {
		return r
	}
	return nil
}
