package trial

import "math"

// workbench is what is there besides the pad: the earth's field and steel.
type workbench struct {
	earth vec
	waves []wave
}

// wave is a piece of the field of steel in and under the bench, which varies
// over tens of centimetres.
type wave struct {
	size  vec // microtesla
	kx    float64
	ky    float64
	phase float64
}

// makeBench draws an earth's field of 25 to 65 uT, 10 to 42 of it level, and
// steel that adds up to so many microtesla.
func makeBench(r random, steel float64) workbench {
	var b workbench
	for range 1000 {
		level := r.between(10, 42)
		total := r.between(25, 65)
		if level > total {
			continue
		}
		up := math.Sqrt(total*total - level*level)
		if r.chance(0.7) { // north of the magnetic equator it points down
			up = -up
		}
		b.earth = vec{0, level, up}.turned(r.between(0, 2*math.Pi))
		break
	}
	const n = 4
	for range n {
		k := 2 * math.Pi / r.between(0.2, 0.8)
		s, c := math.Sincos(r.between(0, 2*math.Pi))
		// n waves of random phase: each of steel/n, so the sum never exceeds it
		b.waves = append(b.waves, wave{r.direction().times(steel / n), k * c, k * s, r.between(0, 2*math.Pi)})
	}
	return b
}

func (b *workbench) at(p vec) vec {
	sum := b.earth
	for _, w := range b.waves {
		sum = sum.plus(w.size.times(math.Sin(w.kx*p[0] + w.ky*p[1] + w.phase)))
	}
	return sum
}

// phone is a made-up phone: its sensor, what it does to readings, and what its
// page says of itself.
type phone struct {
	offset   [2]float64 // of the sensor from the mark, metres, phone frame
	told     *[2]float64
	toldSD   *[2]float64
	white    float64 // microtesla a sample
	step     vec     // quantisation of each axis
	bias     vec     // wrong offset of the moment, phone frame
	least    vec     // where readings clip, phone frame
	most     vec
	saysFull float64 // full_scale_uT; 0: not said
	period   float64
	jitter   float64
	freeze   float64 // share of reads that repeat the last
	gap      float64 // chance of a gap per read
	window   float64 // seconds a reading is the mean of
	slow     float64 // time constant with which readings follow the field, seconds
	early    bool    // it clips before its own offset is put on: a re-zero moves the level
	gravity  bool
	pitch    float64 // how the phone lies on a level bench: bump of the camera
	roll     float64
	topDeg   float64
}

func makePhone(r random) phone {
	p := phone{white: r.logBetween(0.14, 0.9), period: 0.1, jitter: r.between(0.001, 0.012), window: r.between(0.002, 0.012)}
	step := r.logBetween(0.01, 0.7)
	for i := range p.step {
		p.step[i] = step
	}
	if r.chance(0.5) {
		for i := range p.step {
			p.step[i] = r.logBetween(0.01, 0.7)
		}
	}
	p.bias = r.direction().times(math.Abs(r.normal(4)))
	if r.chance(0.06) { // wrong offset, called calibrated
		p.bias = r.direction().times(r.between(200, 700))
	}
	full := pick(r, 4900.0, 4911.5, 2000*1.2, 3200)
	p.most, p.least = vec{full, full, full}, vec{-full, -full, -full}
	if r.chance(0.6) {
		p.saysFull = full
	}
	if r.chance(0.5) {
		p.freeze = r.between(0, 0.05)
	}
	if r.chance(0.2) {
		p.gap = 0.01
	}
	if r.chance(0.15) {
		p.period = pick(r, 0.02, 0.04, 1.0/60)
	}
	p.gravity = r.chance(0.55)
	p.pitch, p.roll = r.normal(0.02), r.normal(0.015)
	if p.gravity && r.chance(0.15) {
		p.pitch, p.roll = r.normal(0.07), r.normal(0.05)
	}
	if r.chance(0.35) {
		p.topDeg = pick(r, 90.0, 180, 270, -90, float64(r.whole(-180, 180)))
	}
	p.offset = typicalOffset(r)
	return p
}

// typicalOffset is where the sensor sits when nobody knows: right of the mark
// by 0 +- 15 mm, above it by 35 +- 25 mm, and no more than 70 mm away.
func typicalOffset(r random) [2]float64 {
	for {
		o := [2]float64{r.normal(0.015), 0.035 + r.normal(0.025)}
		if math.Hypot(o[0], o[1]) <= 0.070 {
			return o
		}
	}
}

// tell lets the page know the offset to so many millimetres.
func (p *phone) tell(r random, sdMM float64) {
	p.told = &[2]float64{}
	for i := range p.told {
		p.told[i] = math.Round((p.offset[i]*1e3+r.normal(sdMM))*10) / 10
	}
	p.toldSD = &[2]float64{sdMM, sdMM}
}
