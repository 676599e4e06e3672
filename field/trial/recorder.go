package trial

import (
	"encoding/json"
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
)

// sample is a reading as it was written, for the plain method.
type sample struct {
	t     float64
	uT    vec
	deg   float64
	drive string // as the last drive line said
	stop  int    // index of the hold, -1 between
}

// stop is a hold as it was written.
type stop struct {
	coil   int   // of a hold
	along  []int // of a pass; nil for a hold
	shift  [2]float64
	t0, t1 float64
}

type line struct {
	t     float64
	text  string
	isB   bool
	order int
}

// session records one capture.
type session struct {
	r     random
	p     *pad
	ill   ailment
	wired *wired
	amps  []float64 // real, signed, of each coil at the peak
	share []float64
	total float64 // real current of the pad at the peak
	warm  float64 // temperature of the coils, Celsius

	tellWarm bool // ohms are written with it
	bench    workbench
	phone    phone
	route    string

	now        float64
	nextRead   float64
	frozen     float64 // until when readings repeat
	last       vec
	followed   vec // what a slow sensor has come to
	followedTo float64
	haveLast   bool
	state      string // off, on, pulse
	hz, duty   float64
	phase      float64
	tellAmps   bool
	jump       float64 // chance of a re-zero jump per move
	jumpIn     float64 // chance of one within a hold
	jumpAt     float64 // when the next one comes
	moving     bool    // samples between holds are written too
	rough      bool
	lag        float64 // heading
	compass    [2]float64
	compassOn  bool
	bearingSD  float64
	wobble     float64
	gyro       bool
	gyroDrift  float64
	degStep    float64
	yaw        float64 // real, of the moment
	startYaw   float64

	// take reads a coil once more the way the condition has it; nil: not at all.
	take func(coil int, o holdOptions)

	lines   []line
	samples []sample
	stops   []stop
	at      int              // current stop
	hands   map[int][]string // faces read by hand, of each coil
	across  []string         // what an ohmmeter was put to
	notes   []string
}

func newSession(r random, p *pad, ill ailment) (*session, error) {
	s := &session{r: r, p: p, ill: ill, route: "vector", at: -1, hands: map[int][]string{}, jumpAt: math.Inf(1)}
	celsius := r.between(18, 35)
	var ohms []float64
	for j := range p.coils {
		ohms = append(ohms, p.coils[j].kind.ohms20()*(1+r.normal(0.015))*(1+growPerKelvin*(celsius-20)))
	}
	var err error
	s.warm = celsius
	if s.wired, err = p.build(ohms, ill.real(p)); err != nil {
		return nil, err
	}
	f := s.wired.drive()
	scale := 1 + r.normal(0.07) // with the coils' warmth and scatter about 10 percent
	s.total = scale * f.padAmps
	s.share = f.share
	for j := range p.coils {
		s.amps = append(s.amps, f.amps[j]*scale*(1+r.normal(0.008)))
	}
	steel := 0.0
	if r.chance(0.6) {
		steel = r.between(2, 20)
	}
	s.bench = makeBench(r, steel)
	s.phone = makePhone(r)
	s.state = ""
	s.tellAmps = r.chance(0.3)
	s.moving = r.chance(0.4)
	s.note("steel %.0f uT, scale %.3f, white %.2f uT, steps %.2f %.2f %.2f uT, bias %.0f uT, told amps %v", steel, scale, s.phone.white, s.phone.step[0], s.phone.step[1], s.phone.step[2], s.phone.bias.length(), s.tellAmps)
	return s, nil
}

func (s *session) note(format string, args ...any) {
	s.notes = append(s.notes, fmt.Sprintf(format, args...))
}

// number writes a figure with no more digits than a phone would.
func number(x float64, digits int) string {
	k := math.Pow(10, float64(digits))
	return strconv.FormatFloat(math.Round(x*k)/k, 'f', -1, 64)
}

func (s *session) write(t float64, isB bool, format string, args ...any) {
	s.lines = append(s.lines, line{t, fmt.Sprintf(format, args...), isB, len(s.lines)})
}

// start writes the first line.
func (s *session) start() {
	var b strings.Builder
	fmt.Fprintf(&b, `{"type":"start","v":1,"route":%q`, s.route)
	if s.route != "hand" {
		var in []string
		if s.phone.told != nil {
			in = append(in, fmt.Sprintf(`"offset_mm":[%s,%s]`, number(s.phone.told[0], 1), number(s.phone.told[1], 1)))
			if s.phone.toldSD != nil {
				in = append(in, fmt.Sprintf(`"offset_sd_mm":[%s,%s]`, number(s.phone.toldSD[0], 1), number(s.phone.toldSD[1], 1)))
			}
		}
		if s.phone.saysFull > 0 && s.route == "vector" {
			in = append(in, `"full_scale_uT":`+number(s.phone.saysFull, 1))
		}
		if len(in) > 0 {
			fmt.Fprintf(&b, `,"sensor":{%s}`, strings.Join(in, ","))
		}
		fmt.Fprintf(&b, `,"top_deg":%s,"device":"made up"`, number(s.phone.topDeg, 1))
	}
	b.WriteString("}")
	s.write(-1, false, "%s", b.String())
	s.startYaw = s.phone.topDeg * math.Pi / 180
	s.yaw = s.startYaw
	s.phase = s.r.Float64()
	s.note("offset %.0f %.0f mm, told %v, top %.0f deg, gravity %v", s.phone.offset[0]*1e3, s.phone.offset[1]*1e3, s.phone.told != nil, s.phone.topDeg, s.phone.gravity)
}

// drive switches the supply and says so. Frequency and duty count only for
// "pulse".
func (s *session) drive(state string, hz, duty float64) {
	s.state, s.hz, s.duty = state, hz*(1+s.r.normal(0.001)), duty
	extra := ""
	if state == "pulse" {
		extra = fmt.Sprintf(`,"hz":%s,"duty":%s`, number(hz, 3), number(duty, 3))
	}
	if state != "off" && s.tellAmps {
		read := s.total*(1+s.r.normal(0.02)) + s.r.normal(0.01)
		extra += `,"amps":` + number(math.Max(0, read), 2)
	}
	t := s.now
	if s.rough && s.r.chance(0.2) {
		t += s.r.between(0, 0.25) // told a moment late
	}
	s.write(t, false, `{"type":"drive","t":%s,"state":%q%s}`, number(t, 3), state, extra)
}

// current is the mean drive over the little while before t that a reading takes.
func (s *session) current(t float64) float64 {
	switch s.state {
	case "on":
		return 1
	case "pulse":
		const n = 8
		on := 0
		for i := range n {
			cycles := (t-s.phone.window*float64(i)/n)*s.hz + s.phase
			if cycles-math.Floor(cycles) < s.duty {
				on++
			}
		}
		return float64(on) / n
	}
	return 0
}

// sampleFor writes what the phone reads for some seconds. sees gives, for a
// time, the field in the phone's axes without the phone's own error.
func (s *session) sampleFor(seconds float64, sees func(t float64) vec) {
	end := s.now + seconds
	if s.nextRead < s.now {
		s.nextRead = s.now + s.r.between(0, s.phone.period)
	}
	for s.nextRead < end {
		t := math.Max(s.nextRead+s.r.normal(s.phone.jitter), s.now)
		t = math.Min(t, end-5e-4) // a reading belongs to the spell it began in
		if t >= s.jumpAt {
			s.rezero()
			s.jumpAt = math.Inf(1)
		}
		s.read(t, s.follow(t, sees))
		s.nextRead += s.phone.period
		if s.r.chance(s.phone.gap) {
			s.nextRead += s.r.between(0.2, 1.5)
		}
	}
	s.now = end
}

// follow is what a sensor that follows slowly has come to at a time: a first-order
// low-pass of what there was to see since it last read.
func (s *session) follow(t float64, sees func(t float64) vec) vec {
	const step = 0.01
	now := sees(t)
	if s.phone.slow == 0 {
		return now
	}
	if s.followedTo == 0 || t-s.followedTo > 10*s.phone.slow {
		s.followed, s.followedTo = now, t
		return now
	}
	for s.followedTo < t {
		dt := math.Min(step, t-s.followedTo)
		s.followedTo += dt
		s.followed = s.followed.plus(sees(s.followedTo).minus(s.followed).times(1 - math.Exp(-dt/s.phone.slow)))
		if dt < 1e-9 {
			break
		}
	}
	return s.followed
}

// rezero moves the phone's own offset by 5 to 40 uT.
func (s *session) rezero() {
	d := s.r.direction().times(s.r.between(5, 40))
	s.phone.bias = s.phone.bias.plus(d)
	s.note("re-zeroed by %.0f uT near %.1f s", d.length(), s.now)
}

func (s *session) read(t float64, field vec) {
	ph := &s.phone
	least, most := ph.least, ph.most
	if ph.early {
		least, most = least.plus(ph.bias), most.plus(ph.bias)
	}
	field = field.plus(ph.bias)
	if s.route == "heading" {
		s.readHeading(t, field)
		return
	}
	if t < s.frozen && s.haveLast {
		field = s.last
	} else {
		for i := range field {
			x := field[i] + ph.white*s.r.NormFloat64()
			x = math.Min(math.Max(x, least[i]), most[i])
			field[i] = math.Round(math.Round(x/ph.step[i])*ph.step[i]*1e4) / 1e4
		}
		if ph.freeze > 0 && s.r.chance(ph.freeze*ph.period/0.4) {
			s.frozen = t + math.Min(2.5, s.r.ExpFloat64()*0.4)
		}
	}
	s.last, s.haveLast = field, true
	s.write(t, true, `{"type":"b","t":%s,"uT":[%s,%s,%s]}`, number(t, 3), number(field[0], 4), number(field[1], 4), number(field[2], 4))
	s.samples = append(s.samples, sample{t: t, uT: field, drive: s.state, stop: s.at})
}

// poseFor is how the phone lies when put down with its top edge toward topDeg.
func (s *session) poseFor(topDeg float64) pose {
	s.yaw = topDeg*math.Pi/180 + s.r.normal(0.105)
	return lying(s.yaw, s.phone.pitch+s.r.normal(0.015), s.phone.roll+s.r.normal(0.015))
}

func (s *session) writeGravity(p pose) {
	if !s.phone.gravity || s.route == "hand" {
		return
	}
	g := p.sees(vec{0, 0, 9.81})
	for i := range 3 {
		g[i] += s.r.normal(0.04)
	}
	s.write(s.now+1e-4, false, `{"type":"gravity","t":%s,"ms2":[%s,%s,%s]}`, number(s.now+1e-4, 3), number(g[0], 3), number(g[1], 3), number(g[2], 3))
}

// rest lets the phone lie somewhere beside the pad with the supply off.
func (s *session) rest(seconds float64) {
	top := s.phone.topDeg
	if s.r.chance(0.1) {
		top = s.r.between(-180, 180)
		s.note("rest turned to %.0f deg", top)
	}
	lies := s.poseFor(top)
	at := vec{s.r.between(-0.15, s.p.size[0]), s.r.between(-0.2, 0), 0.01}
	if s.r.chance(0.4) {
		at[1] = s.r.between(0, s.p.size[1])
	}
	s.writeGravity(lies)
	b := lies.sees(s.bench.at(at))
	s.sampleFor(seconds, func(t float64) vec { return b.plus(s.coilsAt(lies, at).times(s.current(t))) })
}

// coilsAt is the field of the driven coils in the phone's axes.
func (s *session) coilsAt(lies pose, at vec) vec {
	if s.state == "off" || s.state == "" {
		return vec{}
	}
	return lies.sees(s.p.field(s.amps, s.share, at))
}

// spell is a stretch of a hold with the supply in one state.
type spell struct {
	state   string
	seconds float64
}

type holdOptions struct {
	shift  *[2]float64 // metres, pad frame
	turn   float64     // added to the start's top_deg, degrees
	spells []spell     // none: the supply stays as it is
	length float64
}

// hold puts the mark on a coil's centre and keeps it there.
func (s *session) hold(coil int, o holdOptions) {
	c := &s.p.coils[coil]
	top := s.phone.topDeg + o.turn
	lies := s.poseFor(top)
	mark := vec{c.x + s.r.normal(0.0055), c.y + s.r.normal(0.0055), 0}
	if o.shift != nil {
		mark = mark.plus(vec{o.shift[0], o.shift[1], 0})
	}
	at := mark.plus(vec{s.phone.offset[0], s.phone.offset[1], 0}.turned(s.yaw))
	at[2] = math.Max(s.p.sensorHeight(coil)+s.r.normal(0.002), c.kind.width/2+0.001)
	if s.r.chance(s.jump) {
		s.rezero()
	}
	var extra string
	st := stop{coil: coil, t0: s.now}
	if o.shift != nil {
		st.shift = *o.shift
		extra += fmt.Sprintf(`,"shift_mm":[%s,%s]`, number(o.shift[0]*1e3, 1), number(o.shift[1]*1e3, 1))
	}
	if o.turn != 0 {
		extra += fmt.Sprintf(`,"top_deg":%s`, number(top, 1))
	}
	s.write(s.now, false, `{"type":"hold","t":%s,"at":%q%s}`, number(s.now, 3), c.id, extra)
	s.stops = append(s.stops, st)
	s.at = len(s.stops) - 1
	s.writeGravity(lies)
	background := lies.sees(s.bench.at(at))
	coils := lies.sees(s.p.field(s.amps, s.share, at))
	sees := func(t float64) vec { return background.plus(coils.times(s.current(t))) }
	spells := o.spells
	if len(spells) == 0 {
		spells = []spell{{"", o.length}}
	}
	total := 0.0
	for _, sp := range spells {
		total += sp.seconds
	}
	if s.r.chance(s.jumpIn) {
		s.jumpAt = s.now + s.r.between(0, total)
	}
	for _, sp := range spells {
		if sp.state != "" && sp.state != s.state {
			s.drive(sp.state, s.hz, s.duty)
		}
		s.sampleFor(sp.seconds, sees)
	}
	s.jumpAt = math.Inf(1)
	s.stops[s.at].t1 = s.now
	s.write(s.now, false, `{"type":"lift","t":%s}`, number(s.now, 3))
	s.at = -1
	s.move(at)
}

// move is the time between two holds.
func (s *session) move(from vec) {
	seconds := s.r.between(0.4, 1.8)
	if !s.moving {
		s.now += seconds
		return
	}
	// The phone is lifted and swung about; what it reads there is of no use.
	a, b := s.r.normal(0.3), s.r.normal(0.3)
	t0, yaw := s.now, s.yaw
	drift := vec{s.r.normal(0.05), s.r.normal(0.05), 0.06}
	s.sampleFor(seconds, func(t float64) vec {
		u := (t - t0) / seconds
		swing := math.Sin(math.Pi * u)
		at := from.plus(drift.times(swing))
		lies := lying(yaw+a*swing, b*swing, a*swing)
		return lies.sees(s.bench.at(at)).plus(s.coilsAt(lies, at).times(s.current(t)))
	})
}

// capture puts the lines in order and writes them out.
func (s *session) capture() []byte {
	sort.SliceStable(s.lines, func(i, j int) bool { return s.lines[i].t < s.lines[j].t })
	if s.rough {
		s.muddle()
	}
	var b strings.Builder
	for _, l := range s.lines {
		b.WriteString(l.text)
		b.WriteByte('\n')
	}
	return []byte(b.String())
}

// muddle repeats some times and swaps some lines, as phones' queues do.
func (s *session) muddle() {
	for i := 1; i < len(s.lines); i++ {
		a, b := &s.lines[i-1], &s.lines[i]
		if !a.isB || !b.isB {
			continue
		}
		switch u := s.r.Float64(); {
		case u < 0.02:
			*a, *b = *b, *a
		case u < 0.04: // the time of the one before
			var got struct {
				T  json.Number   `json:"t"`
				UT []json.Number `json:"uT"`
			}
			if json.Unmarshal([]byte(b.text), &got) == nil {
				b.text = fmt.Sprintf(`{"type":"b","t":%s,"uT":[%s,%s,%s]}`, number(a.t, 3), got.UT[0], got.UT[1], got.UT[2])
				b.t = a.t
			}
		}
	}
}

// order is the way the coils are gone through.
func (s *session) order() []int {
	out := make([]int, len(s.p.coils))
	for j := range out {
		out[j] = j
	}
	if s.r.chance(0.2) {
		s.r.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	}
	return out
}

// readHeading is the compass of the phone: what the field in the phone's plane
// makes of it, late.
func (s *session) readHeading(t float64, field vec) {
	target := math.Atan2(-field[0], field[1])
	sin, cos := math.Sincos(target)
	if !s.compassOn {
		s.compass, s.compassOn = [2]float64{cos, sin}, true
	}
	k := 1 - math.Exp(-s.phone.period/s.lag)
	s.compass[0] += k * (cos - s.compass[0])
	s.compass[1] += k * (sin - s.compass[1])
	s.wobble += -0.3*s.wobble + s.r.normal(s.bearingSD)
	deg := math.Atan2(s.compass[1], s.compass[0])*180/math.Pi + s.wobble
	deg = math.Round(deg/s.degStep) * s.degStep
	deg = math.Mod(math.Mod(deg, 360)+360, 360)
	extra := ""
	if s.gyro {
		turned := -(s.yaw-s.startYaw)*180/math.Pi + s.gyroDrift*t + s.r.normal(0.2)
		extra = `,"turned_deg":` + number(turned, 1)
	}
	s.write(t, true, `{"type":"heading","t":%s,"deg":%s%s,"accuracy_deg":%d}`, number(t, 3), number(deg, 1), extra, 15)
	s.samples = append(s.samples, sample{t: t, deg: deg, drive: s.state, stop: s.at})
}
