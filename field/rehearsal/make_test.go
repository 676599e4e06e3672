package rehearsal

import (
	"bytes"
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/field/capture"
	"polewise/layout"
)

// row is n round coils in a row, 150 mm apart, one string, 1 A.
func row(n int) *layout.Plan {
	p := &layout.Plan{Name: "row", Unit: layout.Millimetre, Supply: layout.Supply{Amps: 1}, Above: 6e-3,
		Windings: []layout.Winding{{ID: "w", Shape: layout.Round, InnerX: 0.09, InnerY: 0.09, Turns: 60, Build: 6e-3, Width: 8e-3, Wire: 0.64e-3, AWG: math.NaN()}},
		Strings:  []layout.String{{ID: "A"}}}
	for j := range n {
		p.Coils = append(p.Coils, layout.Coil{ID: fmt.Sprintf("A%d", j+1), North: layout.Up, At: r2.Vec{X: 0.1 + 0.15*float64(j), Y: 0.1}})
		p.Strings[0].Coils = append(p.Strings[0].Coils, j)
	}
	return p
}

// grid is two strings of three in two rows.
func grid() *layout.Plan {
	p := row(6)
	p.Strings = []layout.String{{ID: "A", Coils: []int{0, 1, 2}}, {ID: "B", Coils: []int{3, 4, 5}}}
	for j := range p.Coils {
		p.Coils[j].At = r2.Vec{X: 0.1 + 0.15*float64(j%3), Y: 0.25 - 0.15*float64(j/3)}
	}
	return p
}

// exact is a phone and a hand without any error, on a bench without steel.
func exact() Options {
	return Options{Route: capture.Vector, Rest: RestHolds, Hz: 10, HoldSeconds: 1, OffsetMM: new([2]float64), TellOffsetMM: -1, EarthUT: 50, FullScaleUT: 1e6}
}

func mustMake(t *testing.T, p *layout.Plan, o Options) *Made {
	t.Helper()
	m, err := Make(p, o)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// cut writes a made-up capture, reads it as any capture is read, checks it
// against the plan and cuts it.
func cut(t *testing.T, p *layout.Plan, m *Made) (*capture.Capture, *capture.Stretches) {
	t.Helper()
	var text bytes.Buffer
	if err := m.Write(&text); err != nil {
		t.Fatal(err)
	}
	c, err := capture.Read(&text)
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Check(p); err != nil {
		t.Fatal(err)
	}
	return c, c.Cut()
}

// onMinusOff is the pull of the pad in a hold with the supply switched in it.
func onMinusOff(t *testing.T, s *capture.Stretches, hold int) [3]float64 {
	t.Helper()
	var sum [2][3]float64
	var n [2]float64
	for _, b := range s.Holds[hold].B {
		d, known := s.DriveAt(b.T)
		if !known {
			t.Fatal("a sample before any drive line")
		}
		k := 0
		if d.State != capture.Off {
			k = 1
		}
		n[k]++
		for a := range b.UT {
			sum[k][a] += b.UT[a]
		}
	}
	if n[0] == 0 || n[1] == 0 {
		t.Fatalf("hold %d: %g samples off, %g on", hold, n[0], n[1])
	}
	var d [3]float64
	for a := range d {
		d[a] = sum[1][a]/n[1] - sum[0][a]/n[0]
	}
	return d
}

// onAxis is the field on the axis of a round coil, microtesla: the textbook's
// mu0 I R^2 / 2 (R^2+z^2)^(3/2), summed over a fine grid of the section.
func onAxis(w *layout.Winding, amps, z float64) float64 {
	const n = 200
	sum := 0.0
	for i := range n {
		for k := range n {
			r := w.InnerX/2 + w.Build*(float64(i)+0.5)/n
			h := z + w.Width*((float64(k)+0.5)/n-0.5)
			sum += r * r / (2 * math.Pow(r*r+h*h, 1.5))
		}
	}
	return 4e-7 * math.Pi * amps * float64(w.Turns) * sum / (n * n) * 1e6
}

// With every error switched off, the reading over a single coil is the textbook
// field on its axis, and its sign that of the current.
func TestReadsTheFieldOnTheAxis(t *testing.T) {
	for _, c := range []struct {
		faults []layout.Fault
		north  layout.Face
		sign   float64
	}{
		{nil, layout.Up, 1}, {nil, layout.Down, -1},
		{[]layout.Fault{{Kind: layout.CoilReversed, ID: "A1"}}, layout.Up, -1},
		{[]layout.Fault{{Kind: layout.PadReversed}}, layout.Down, 1},
		{[]layout.Fault{{Kind: layout.StringOpen, ID: "A"}}, layout.Up, 0},
	} {
		p := row(1)
		p.Coils[0].North = c.north
		o := exact()
		o.Faults = c.faults
		o.NoiseUT = 1e-3 // so that no two readings are the same and count as one
		_, s := cut(t, p, mustMake(t, p, o))
		d := onMinusOff(t, s, 0)
		want := c.sign * onAxis(&p.Windings[0], 1, 10e-3)
		if math.Abs(d[2]-want) > 1e-4*math.Abs(want)+0.002 {
			t.Errorf("%v north %d: got %g uT, want %g", c.faults, c.north, d[2], want)
		}
		if math.Hypot(d[0], d[1]) > 0.003 {
			t.Errorf("on the axis a sideways pull of %v", d)
		}
	}
}

// The offset turns with the phone: with the top edge to the right of the pad, a
// sensor toward the top edge sits to the right of the mark, and what was across
// the pad is along the phone.
func TestOffsetAndTurn(t *testing.T) {
	p := row(1)
	pull := func(offset [2]float64, top float64) [3]float64 {
		o := exact()
		o.OffsetMM, o.TopDeg = &offset, top
		_, s := cut(t, p, mustMake(t, p, o))
		return onMinusOff(t, s, 0)
	}
	same := func(what string, got, want [3]float64) {
		t.Helper()
		for a := range got {
			if math.Abs(got[a]-want[a]) > 0.002 {
				t.Errorf("%s: got %v, want %v", what, got, want)
			}
		}
	}
	ahead := pull([2]float64{0, 30}, 0)
	// A round coil is the same all round: the pull is outward, along the offset.
	if ahead[1] < 20 || math.Abs(ahead[0]) > 0.01 {
		t.Errorf("30 mm off toward the top edge: %v", ahead)
	}
	same("turned phone, same place in the phone", pull([2]float64{0, 30}, -90), ahead)
	same("sensor to the right", pull([2]float64{30, 0}, 0), [3]float64{ahead[1], 0, ahead[2]})
	same("sensor to the left", pull([2]float64{-30, 0}, 123), [3]float64{-ahead[1], 0, ahead[2]})
	// Off the winding the vertical part has turned round.
	if beyond := pull([2]float64{0, 65}, 0); beyond[2] > -20 {
		t.Errorf("65 mm off, outside the winding: %v", beyond)
	}
	// Two coils: with the top edge to the right (clockwise, -90), a sensor 75 mm
	// ahead of coil A1 lies toward A2; with it to the left, away from it.
	p = row(2)
	p.Coils[1].At.X = p.Coils[0].At.X + 0.11
	if toward, away := pull([2]float64{0, 75}, -90), pull([2]float64{0, 75}, 90); toward[2] < 0 || away[2] > 0 {
		t.Errorf("toward the neighbour %v, away from it %v", toward, away)
	}
}

// The background is as strong as asked for, and the same at rest and in holds.
func TestBackground(t *testing.T) {
	p := row(3)
	_, s := cut(t, p, mustMake(t, p, exact()))
	if len(s.Rests) != 1 || len(s.Holds) != 3 {
		t.Fatalf("%d rests, %d holds", len(s.Rests), len(s.Holds))
	}
	b := s.Rests[0].B[0].UT
	norm := math.Sqrt(b[0]*b[0] + b[1]*b[1] + b[2]*b[2])
	// The sensor's own zero is the only error left: about 3 uT an axis.
	if math.Abs(norm-50) > 15 {
		t.Errorf("rest reads %v, %g uT, want about 50", b, norm)
	}
	steel := exact()
	steel.SteelUT = 40
	_, s = cut(t, p, mustMake(t, p, steel))
	var off [][3]float64
	for _, h := range s.Holds {
		for _, x := range h.B {
			if d, _ := s.DriveAt(x.T); d.State == capture.Off {
				off = append(off, x.UT)
				break
			}
		}
	}
	most := 0.0
	for _, x := range off {
		most = math.Max(most, math.Hypot(math.Hypot(x[0]-b[0], x[1]-b[1]), x[2]-b[2]))
	}
	if most < 40./3-0.1 || most > 40+0.1 {
		t.Errorf("steel adds up to %g uT, want 13 to 40", most)
	}
}

func TestSameSeedSameCapture(t *testing.T) {
	p := grid()
	text := func(o Options) string {
		var b bytes.Buffer
		if err := mustMake(t, p, o).Write(&b); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	for _, route := range []capture.Route{capture.Vector, capture.Heading, capture.Hand} {
		o := Defaults()
		o.Route, o.Seed, o.Ohms = route, 7, true
		if first, second := text(o), text(o); first != second {
			t.Errorf("%s: the same seed made two captures", route)
		}
		other := o
		other.Seed = 8
		if text(o) == text(other) {
			t.Errorf("%s: another seed made the same capture", route)
		}
	}
}

// Every knob turns something.
func TestEveryKnob(t *testing.T) {
	p := grid()
	base := Defaults()
	base.Seed = 3
	base.JumpChance, base.JumpUT = 0.5, 20
	text := func(o Options) string {
		var b bytes.Buffer
		if err := mustMake(t, p, o).Write(&b); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	heading := base
	heading.Route = capture.Heading
	hand := base
	hand.Route = capture.Hand
	for name, c := range map[string]struct {
		from Options
		turn func(*Options)
	}{
		"seed":        {base, func(o *Options) { o.Seed++ }},
		"faults":      {base, func(o *Options) { o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "A1"}} }},
		"route":       {base, func(o *Options) { o.Route = capture.Heading }},
		"rest":        {base, func(o *Options) { o.Rest = RestHolds }},
		"no rest":     {base, func(o *Options) { o.Rest = RestNone }},
		"passes":      {base, func(o *Options) { o.Passes = true }},
		"ohms":        {base, func(o *Options) { o.Ohms = true }},
		"rate":        {base, func(o *Options) { o.Hz = 50 }},
		"hold":        {base, func(o *Options) { o.HoldSeconds = 4 }},
		"top":         {base, func(o *Options) { o.TopDeg = 90 }},
		"offset":      {base, func(o *Options) { o.OffsetMM = &[2]float64{5, 60} }},
		"tell offset": {base, func(o *Options) { o.TellOffsetMM = 5 }},
		"placement":   {base, func(o *Options) { o.PlacementMM = 2 }},
		"height":      {base, func(o *Options) { o.HeightMM = 0 }},
		"yaw":         {base, func(o *Options) { o.YawDeg = 0 }},
		"tilt":        {base, func(o *Options) { o.TiltDeg = 5 }},
		"gravity":     {base, func(o *Options) { o.Gravity = false }},
		"earth":       {base, func(o *Options) { o.EarthUT = 60 }},
		"steel":       {base, func(o *Options) { o.SteelUT = 0 }},
		"jumps":       {base, func(o *Options) { o.JumpChance = 0 }},
		"jump inside": {base, func(o *Options) { o.JumpInside = 1 }},
		"jump size":   {base, func(o *Options) { o.JumpUT = 10 }},
		"noise":       {base, func(o *Options) { o.NoiseUT = 0.9 }},
		"step":        {base, func(o *Options) { o.StepUT = 0 }},
		"frozen":      {base, func(o *Options) { o.FrozenShare = 0.3 }},
		"full scale":  {base, func(o *Options) { o.FullScaleUT = 300 }},
		"current":     {base, func(o *Options) { o.CurrentSD = 0.2 }},
		"tell amps":   {base, func(o *Options) { o.TellAmps = true }},
		"heading":     {heading, func(o *Options) { o.HeadingDeg = 4 }},
		"lag":         {heading, func(o *Options) { o.LagSeconds = 0 }},
		"mistakes":    {hand, func(o *Options) { o.HandMistakes = 0.9 }},
	} {
		o := c.from
		c.turn(&o)
		if text(o) == text(c.from) {
			t.Errorf("%s: nothing changed", name)
		}
	}
}

// What the knobs of the sensor say is what comes out.
func TestSensorFigures(t *testing.T) {
	p := row(1)
	samples := func(turn func(*Options)) [][3]float64 {
		o := exact()
		o.Rest, o.Hz, o.HoldSeconds = RestOnce, 100, 50
		turn(&o)
		var out [][3]float64
		held := false
		for _, l := range mustMake(t, p, o).Lines {
			switch l := l.(type) {
			case capture.Hold:
				held = true
			case capture.B:
				if held {
					out = append(out, l.UT)
				}
			}
		}
		if len(out) < 4000 {
			t.Fatalf("%d samples", len(out))
		}
		return out
	}
	spread := func(x [][3]float64) float64 {
		var sum, square float64
		for _, v := range x {
			sum += v[2]
			square += v[2] * v[2]
		}
		n := float64(len(x))
		return math.Sqrt(square/n - sum*sum/n/n)
	}
	if sd := spread(samples(func(o *Options) {})); sd > 1e-3 {
		t.Errorf("without noise the spread is %g", sd)
	}
	if sd := spread(samples(func(o *Options) { o.NoiseUT = 0.5 })); math.Abs(sd-0.5) > 0.03 { // 5000 samples: 1 percent
		t.Errorf("noise of 0.5 uT: spread %g", sd)
	}
	same := 0
	x := samples(func(o *Options) { o.NoiseUT, o.FrozenShare = 0.5, 0.2 })
	for i := range x[1:] {
		if x[i] == x[i+1] {
			same++
		}
	}
	if share := float64(same) / float64(len(x)); math.Abs(share-0.2) > 0.03 {
		t.Errorf("frozen share of 0.2: %g", share)
	}
	for _, v := range samples(func(o *Options) { o.NoiseUT, o.FullScaleUT = 0.5, 100 }) {
		// Over the coil there are some 700 uT: flat at 80 to 100.
		if v[2] < 79 || v[2] > 100 {
			t.Fatalf("full scale 100 uT: %v", v)
		}
	}
	distinct := map[float64]bool{}
	for _, v := range samples(func(o *Options) { o.NoiseUT, o.StepUT = 0.5, 1 }) {
		distinct[v[2]] = true
	}
	if len(distinct) < 2 || len(distinct) > 12 { // within 4 sd either way, in steps of 0.5 to 2
		t.Errorf("steps of about 1 uT: %d values", len(distinct))
	}
}

// Passes name the coils of each row from left to right, and their samples peak
// over each coil.
func TestPasses(t *testing.T) {
	p := grid()
	o := exact()
	o.Passes, o.Rest, o.EarthUT, o.Hz = true, RestOnce, 25, 50
	_, s := cut(t, p, mustMake(t, p, o))
	if len(s.Passes) != 2 || len(s.Holds) != 0 {
		t.Fatalf("%d passes, %d holds", len(s.Passes), len(s.Holds))
	}
	for i, want := range []string{"[A1 A2 A3]", "[A4 A5 A6]"} {
		pass := s.Passes[i]
		if got := fmt.Sprint(pass.Pass.Along); got != want {
			t.Errorf("pass %d along %s, want %s", i, got, want)
		}
		peaks := 0
		for k := 1; k < len(pass.B)-1; k++ {
			if z := pass.B[k].UT[2]; z > 150 && z >= pass.B[k-1].UT[2] && z > pass.B[k+1].UT[2] {
				peaks++
			}
		}
		if peaks < 3 { // flat over the middle, so there may be one more
			t.Errorf("pass %d: %d peaks in %d samples", i, peaks, len(pass.B))
		}
		if seconds := pass.To - pass.From; seconds < 2 || seconds > 15 {
			t.Errorf("pass %d takes %g s", i, seconds)
		}
	}
	lone := row(1)
	_, s = cut(t, lone, mustMake(t, lone, o))
	if len(s.Passes) != 0 || len(s.Holds) != 1 {
		t.Errorf("a coil alone in its row: %d passes, %d holds", len(s.Passes), len(s.Holds))
	}
}

// A pulsed plan is driven in pulses, and the readings stand at two levels for
// the right share of the time.
// TestPassesOfCoilsInOneAnother: no way leads from a coil to one in its bore; that one
// is held on, and all are read.
func TestPassesOfCoilsInOneAnother(t *testing.T) {
	for _, n := range []int{2, 3} {
		p := row(n)
		p.Windings = append(p.Windings, p.Windings[0])
		p.Windings[1].ID, p.Windings[1].InnerX, p.Windings[1].InnerY = "small", 0.03, 0.03
		p.Coils[1].Winding, p.Coils[1].At = 1, p.Coils[0].At
		o := exact()
		o.Passes = true
		_, s := cut(t, p, mustMake(t, p, o))
		read := map[string]bool{}
		for _, h := range s.Holds {
			read[h.Hold.Coil] = len(h.B) > 0
		}
		for _, k := range s.Passes {
			for _, id := range k.Pass.Along {
				read[id] = len(k.B) > 0
			}
		}
		for _, c := range p.Coils {
			if !read[c.ID] {
				t.Errorf("of %d coils %s is not read", n, c.ID)
			}
		}
	}
}

func TestPulses(t *testing.T) {
	p := row(1)
	p.Supply.Pulsed, p.Supply.Hz, p.Supply.Duty = true, 0.7, 0.3
	o := exact()
	o.Rest, o.HoldSeconds = RestOnce, 60
	m := mustMake(t, p, o)
	_, s := cut(t, p, m)
	if d, _ := s.DriveAt(s.Holds[0].From); d.State != capture.Pulse || d.Hz != 0.7 || d.Duty != 0.3 {
		t.Errorf("driven by %+v", d)
	}
	b := s.Holds[0].B
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, x := range m.Lines {
		if x, ok := x.(capture.B); ok {
			lo, hi = math.Min(lo, x.UT[2]), math.Max(hi, x.UT[2])
		}
	}
	if want := onAxis(&p.Windings[0], 1, 10e-3); math.Abs(hi-lo-want) > 0.01 {
		t.Errorf("levels %g apart, want %g", hi-lo, want)
	}
	if len(b) == 0 {
		t.Fatal("no samples")
	}
	high, all := 0, 0
	for _, x := range m.Lines {
		if x, ok := x.(capture.B); ok && x.T >= s.Holds[0].From {
			all++
			if x.UT[2] > (lo+hi)/2 {
				high++
			}
		}
	}
	if share := float64(high) / float64(all); math.Abs(share-0.3) > 0.03 {
		t.Errorf("high for %g of the time, want 0.3", share)
	}
}

// By heading, off against on turns by atan2 of the pull against the earth's
// horizontal part, the other way at the other side.
func TestHeadings(t *testing.T) {
	p := row(1)
	o := exact()
	o.Route, o.LagSeconds, o.EarthUT = capture.Heading, 0, 60
	_, s := cut(t, p, mustMake(t, p, o))
	if len(s.Holds) != 2 || s.Holds[0].Hold.ShiftMM == nil {
		t.Fatalf("%d holds", len(s.Holds))
	}
	var turns [2]float64
	for i, h := range s.Holds {
		var off, on float64
		for _, b := range h.Bearings {
			if d, _ := s.DriveAt(b.T); d.State == capture.Off {
				off = b.Deg
			} else {
				on = b.Deg
			}
		}
		turns[i] = wrap180(on - off)
	}
	// The pull is outward and the same at either side, so against the earth's
	// horizontal part the turns are opposite, near enough to be told.
	if turns[0]*turns[1] >= 0 || math.Abs(turns[0]) < 30 {
		t.Errorf("turns %v", turns)
	}
	reversed := o
	reversed.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "A1"}}
	_, s = cut(t, p, mustMake(t, p, reversed))
	var off, on float64
	for _, b := range s.Holds[0].Bearings {
		if d, _ := s.DriveAt(b.T); d.State == capture.Off {
			off = b.Deg
		} else {
			on = b.Deg
		}
	}
	if wrap180(on-off)*turns[0] >= 0 {
		t.Errorf("a reversed coil turns the needle by %g, one as planned by %g", wrap180(on-off), turns[0])
	}
	// A lag of a second: one reading after the switch the needle has hardly moved.
	lagging := o
	lagging.LagSeconds = 1
	_, s = cut(t, p, mustMake(t, p, lagging))
	bearings := s.Holds[0].Bearings
	for i, b := range bearings[1:] {
		was, _ := s.DriveAt(bearings[i].T)
		if is, _ := s.DriveAt(b.T); was.State == capture.Off && is.State == capture.On {
			if moved := wrap180(b.Deg - bearings[i].Deg); math.Abs(moved) > math.Abs(turns[0])/5 {
				t.Errorf("a lagging needle moves %g of %g at once", moved, turns[0])
			}
		}
	}
}

// By hand, the faces read are those of the currents.
func TestByHand(t *testing.T) {
	p := grid()
	o := exact()
	o.Route = capture.Hand
	o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "A2"}, {Kind: layout.CoilShorted, ID: "A6"}}
	_, s := cut(t, p, mustMake(t, p, o))
	want := map[string]capture.Face{"A1": capture.North, "A2": capture.South, "A3": capture.North, "A4": capture.North, "A5": capture.North, "A6": capture.None}
	if len(s.Readings) != len(want) {
		t.Fatalf("%d readings", len(s.Readings))
	}
	for _, r := range s.Readings {
		if r.Face != want[r.Coil] {
			t.Errorf("%s read %s, want %s", r.Coil, r.Face, want[r.Coil])
		}
	}
}

// The ohmmeter reads what the solved network has, warm, within its error.
func TestOhmsReadings(t *testing.T) {
	p := grid()
	o := exact()
	o.Ohms = true
	o.Faults = []layout.Fault{{Kind: layout.CoilOpen, ID: "A2"}, {Kind: layout.TurnsShorted, ID: "A4", Lost: 0.5}}
	_, s := cut(t, p, mustMake(t, p, o))
	r := p.Windings[0].Ohms20()
	want := map[string]float64{"coil:A1": r, "coil:A2": math.Inf(1), "coil:A4": r / 2, "string:A": math.Inf(1), "string:B": 2.5 * r, "pad": 2.5 * r}
	if len(s.Ohms) != 6+2+1 {
		t.Fatalf("%d readings", len(s.Ohms))
	}
	for _, x := range s.Ohms {
		expected, ok := want[x.Across]
		if !ok {
			continue
		}
		if math.IsInf(expected, 1) {
			if x.Ohms != nil {
				t.Errorf("%s reads %g, want open", x.Across, *x.Ohms)
			}
			continue
		}
		expected *= 1 + 0.00393*(*x.Celsius-20) // NBS Handbook 100
		if x.Ohms == nil || math.Abs(*x.Ohms-expected) > 4*(0.015*expected+0.05) {
			t.Errorf("%s reads %v, want %g", x.Across, x.Ohms, expected)
		}
	}
}

func TestOptionsRefused(t *testing.T) {
	p := grid()
	for want, turn := range map[string]func(*Options){
		`expected route vector, heading or hand, found "eye"`:          func(o *Options) { o.Route = "eye" },
		`expected rest once, holds or none, found ""`:                  func(o *Options) { o.Rest = "" },
		`expected the vector route for passes, found hand`:             func(o *Options) { o.Passes, o.Route = true, capture.Hand },
		`noise: expected a number from 0 to 1000, found NaN`:           func(o *Options) { o.NoiseUT = math.NaN() },
		`placement: expected a number from 0 to 100, found -1`:         func(o *Options) { o.PlacementMM = -1 },
		`fault coil-reversed:Z9: the plan has no coil "Z9"`:            func(o *Options) { o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "Z9"}} },
		`sensor offset: expected at most 300 mm, found [0 400]`:        func(o *Options) { o.OffsetMM = &[2]float64{0, 400} },
		`seconds of a hold: expected a number from 0.2 to 60, found 0`: func(o *Options) { o.HoldSeconds = 0 },
	} {
		o := Defaults()
		turn(&o)
		if _, err := Make(p, o); err == nil || err.Error() != want {
			t.Errorf("got %v, want %s", err, want)
		}
	}
}
