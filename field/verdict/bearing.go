package verdict

import (
	"fmt"
	"math"
	"slices"

	"polewise/field/capture"
	"polewise/field/readings"
	"polewise/layout"
)

// A hold beside a coil by compass: by how much the needle turns as the supply is switched on, and
// how well a field there fits that.

const (
	headingOutlier = 0.03   // the phone's filter rejects a strong field now and then
	turnVar        = 0.0015 // variance of every turn, besides the scatter of its headings: 2.2 degrees
)

// bearingDigest is what is kept of such a hold: where the compass settled with the supply off and
// on.
type bearingDigest struct {
	coil, source int
	label        string
	from         float64    // seconds into the capture
	shift        [2]float64 // of the mark from the coil's centre, metres, pad frame
	topDeg       float64
	off, on      float64 // radians, clockwise from north, with turns by hand taken out
	sdOff, sdOn  float64
	hand         float64   // radians that the phone had been turned by hand since the start as it was laid down
	duty         float64   // share of the time that the pull acts: 1 unless pulsed
	ofCurrent    []float64 // the setting of the supply as told: see settings.at
}

// addBearing keeps what the headings of a hold say, if they tell anything, and says what they lack.
func (ev *evidence) addBearing(plan *layout.Plan, h *capture.Stretch, src int, turn readings.Turn, lack readings.Lack, ofCurrent []float64) {
	d := bearingDigest{
		coil: plan.CoilIndex(h.Hold.Coil), source: src, label: h.Hold.Coil, from: h.From, shift: shiftOf(h.Hold), topDeg: h.TopDeg,
		off: turn.Off, on: turn.On, sdOff: turn.SDOff, sdOn: turn.SDOn, hand: turn.Hand, duty: turn.Duty, ofCurrent: ofCurrent,
	}
	switch lack {
	case readings.LacksNothing:
		ev.bearings = append(ev.bearings, d)
		return
	case readings.LacksAll:
		return
	case readings.LacksOn:
		ev.note("The hold beside %s has no headings with the supply on; it tells nothing.", d.label)
	case readings.LacksTime:
		ev.note("The compass had no time to settle beside %s. Keep the phone there for three seconds.", d.label)
	case readings.LacksOff:
		ev.note("No heading was read with the supply off. Switch it off for three seconds beside %s and on again.", d.label)
	}
	ev.lose(d.coil)
}

// bearingFactor is such a hold as a factor.
type bearingFactor struct {
	fr frame
	*bearingDigest
	ph              *phone
	buf             []float64    // densities at places, reused
	turns           []needleTurn // the ways to take it
	scalesAreEarths bool         // the scales stand for the earth's field, and not for the current
	shares, chance  []float64    // the settings of the supply it may have been read at, and how likely each: see settingsOf
}

// needleTurn is the angle by which the needle turned as the supply was switched on.
type needleTurn struct {
	turn turning
	base float64 // its variance, square radians
	acts float64 // the share of the pull that turns the needle
	// What a unit field along the pad's x, and along its y, comes to along the direction that the
	// needle shows with the supply on, and across it.
	ofX, ofY [2]float64
	chance   float64 // that the readings are to be taken so, per radian of what was read
}

// turning is an angle by its sine and cosine.
type turning struct{ sin, cos float64 }

// turningBy is the turning by an angle.
func turningBy(rad float64) (t turning) {
	t.sin, t.cos = math.Sincos(rad)
	return t
}

func (b *bearingFactor) frame() *frame { return &b.fr }

func (b *bearingFactor) time() float64 { return b.bearingDigest.from }

func (b *bearingFactor) name() string {
	return fmt.Sprintf("compass beside %s at %.0f s", b.label, b.bearingDigest.from)
}

// addBearingFactor adds a hold by compass to the factors.
func (e *engine) addBearingFactor(d *bearingDigest) {
	f := &bearingFactor{
		bearingDigest: d, ph: e.phones[d.source], scalesAreEarths: e.onlyBearings, turns: d.turns(),
	}
	f.shares, f.chance = settingsOf(d.ofCurrent)
	f.fr = e.frameOf(d.source, d.coil, d.shift, d.topDeg, f.identity())
	e.factors = append(e.factors, f)
}

// turns are the ways to take what the headings of a hold say. Under pulses a phone may show the
// direction of the average field, or the average of the field's directions. Nobody knows which,
// and where the pull is strong the two are far apart.
func (d *bearingDigest) turns() []needleTurn {
	turn, base := math.Remainder(d.on-d.off, 2*math.Pi), d.sdOff*d.sdOff+d.sdOn*d.sdOn+turnVar
	pad, earth := turningBy(d.topDeg*math.Pi/180), turningBy(d.off+d.hand)
	if d.duty == 1 {
		return []needleTurn{newNeedleTurn(turn, base, 1, 1, pad, earth)}
	}
	out := []needleTurn{newNeedleTurn(turn, base, d.duty, 0.5, pad, earth)}
	// An average of directions is no more than half a turn for a share of the time, but for its
	// error.
	most := d.duty * math.Pi
	if within := math.Erfc((math.Abs(turn)-most)/math.Sqrt(2*base)) / 2; within > leastWithin {
		full := max(-most, min(most, turn)) / d.duty
		out = append(out, newNeedleTurn(full, base/(d.duty*d.duty), 1, 0.5*within/d.duty, pad, earth))
	}
	return out
}

// leastWithin is the chance of being within that below which a turn is no average of directions.
const leastWithin = 1e-6

// identity is equal for equal headings beside equal cells, in this verdict or the next.
func (b *bearingFactor) identity() key {
	k := newKey()
	g := b.ph.grid
	k.text("heading")
	for _, x := range [...]float64{float64(b.source), float64(b.coil), b.shift[0], b.shift[1], b.topDeg, b.off, b.on, b.sdOff, b.sdOn, b.hand, b.duty,
		g.x0, g.y0, float64(g.nx), float64(g.ny), float64(g.margin), g.step, g.sd, g.lift} {
		k.add(x)
	}
	if b.scalesAreEarths {
		k.add(1)
	}
	for _, share := range b.ofCurrent {
		k.add(share)
	}
	return k
}

// like implements factor.
func (b *bearingFactor) like(out, _ []float64, field []nine, in *view, _ *background, sc *scales) {
	nodes := len(sc.s)
	b.buf = sized(b.buf, len(field)*nodes)
	for k := range field {
		b.scores(b.buf[k*nodes:k*nodes+nodes], &field[k], sc, b.ph.sd)
	}
	b.ph.blur(out, b.buf, in, nodes, 0, headingStray)
}

// headingStray is the log density of a heading that the phone's filter refused.
var headingStray = math.Log(headingOutlier / (2 * math.Pi))

// roughly implements roughFactor: it takes the placement of the mark for one Gaussian about the
// middle of each cell.
func (b *bearingFactor) roughly(out []float64, field []nine, _ *background, sc *scales) {
	nodes := len(sc.s)
	low := math.Exp(headingStray)
	for q := range field {
		row := out[q*nodes : q*nodes+nodes]
		b.scores(row, &field[q], sc, placeSD)
		for m, s := range row {
			row[m] = logUp(s + low)
		}
	}
}

// scores writes the density of the turn at a place with field f, known within placeSD, to a row
// with one number for each scale.
func (b *bearingFactor) scores(row []float64, f *nine, sc *scales, placeSD float64) {
	clear(row)
	for q := range b.turns {
		t := &b.turns[q]
		p := t.pull(f, sc, placeSD)
		for i, share := range b.shares {
			times := b.chance[i] * t.chance
			if b.scalesAreEarths {
				t.densities(row, sc.earths, &p, share, times)
				continue
			}
			var room [maxScales]float64
			each := room[:len(earths)]
			for m, s := range sc.s {
				clear(each)
				t.densities(each, earths, &p, share*s, times)
				for k, n := range earths {
					row[m] += n.p * each[k]
				}
			}
		}
	}
}

// needlePull is what the pad pulls a needle by, microtesla: u along the direction that the needle
// shows with the supply on, and v across it to the left; and the covariance of the two.
type needlePull struct{ u, v, uu, uv, vv float64 }

// newNeedleTurn works out ofX and ofY: from the pad's axes to the phone's, given its direction pad,
// from there to along and across the earth's field, and on to along and across the turned needle.
func newNeedleTurn(turn, base, acts, chance float64, pad, earth turning) needleTurn {
	t := needleTurn{turn: turningBy(turn), base: base, acts: acts, chance: chance}
	read := func(x, y float64) [2]float64 {
		px, py := pad.cos*x+pad.sin*y, -pad.sin*x+pad.cos*y
		// The earth's horizontal field in phone axes points where the heading says:
		// a phone whose top edge points east (90 degrees) has it along -x.
		along, across := -earth.sin*px+earth.cos*py, -earth.sin*py-earth.cos*px
		return [2]float64{acts * (t.turn.cos*along + t.turn.sin*across), acts * (t.turn.cos*across - t.turn.sin*along)}
	}
	t.ofX, t.ofY = read(1, 0), read(0, 1)
	return t
}

// pull is what the pad pulls the needle by at a place with field f, known within placeSD, and how
// far that may be off for want of the exact place, height, level and current.
func (t *needleTurn) pull(f *nine, sc *scales, placeSD float64) (p needlePull) {
	see := func(x, y float64) (u, v float64) { return t.ofX[0]*x + t.ofY[0]*y, t.ofX[1]*x + t.ofY[1]*y }
	p.u, p.v = see(f[0], f[1])
	xu, xv := see(f[3], f[4])
	yx, yy, _ := f.slopeY()
	yu, yv := see(yx, yy)
	zu, zv := see(f[6], f[7])
	flat, high, size := placeSD*placeSD, heightSD*heightSD, sc.sd*sc.sd
	leak := t.acts * levelSD * f[2] // a compass levels itself by gravity, whether that is told or not
	p.uu = flat*(xu*xu+yu*yu) + high*zu*zu + size*p.u*p.u + leak*leak
	p.uv = flat*(xu*xv+yu*yv) + high*zu*zv + size*p.u*p.v
	p.vv = flat*(xv*xv+yv*yv) + high*zv*zv + size*p.v*p.v + leak*leak
	return p
}

// surelyAhead is how many standard deviations the field must lie ahead, the way the needle points,
// for it to be sure that it does not point the other way.
const surelyAhead = 2.0

// What keeps a needle's turn from being taken for exact, microtesla squared: softTurn where the
// fields cancel each other, floorTurn anywhere.
const softTurn, floorTurn = 9.0, 4.0

// firmness is the most standard deviations that a change of the pad's field by a microtesla may
// come to, with the sensor in an offset cell, whichever way it points.
func (b *bearingFactor) firmness(field []nine, cell int, sc *scales) float64 {
	c := b.ph.cells[cell]
	i0, j0 := c/b.ph.oy, c%b.ph.oy
	least := math.Inf(1)
	for i := i0; i <= i0+2*b.ph.margin; i++ {
		for j := j0; j <= j0+2*b.ph.margin; j++ {
			f := &field[b.ph.slot[i*b.ph.ny+j]]
			for q := range b.turns {
				t := &b.turns[q]
				p := t.pull(f, sc, b.ph.sd)
				for m, s := range sc.s {
					uT := earths[0].uT // the weaker the earth's, the further a needle turns
					if b.scalesAreEarths {
						uT, s = sc.earths[m].uT, 1
					}
					least = min(least, t.openTo(&p, uT, s*slices.Max(b.ofCurrent)))
				}
			}
		}
	}
	return 1 / math.Sqrt(least)
}

// openTo is the least variance, microtesla squared, that densities holds a change of the pad's
// field against, where the pad pulls s times as much as p.
func (t *needleTurn) openTo(p *needlePull, earthUT, s float64) float64 {
	u, v := earthUT*t.turn.cos+s*p.u, s*p.v-earthUT*t.turn.sin
	own := t.base*(u*u+v*v+softTurn) + floorTurn
	open := s*s*p.vv + own
	// Where the needle may point away from the field, what lies along it tells too.
	if along := s*s*p.uu + own; u < surelyAhead*math.Sqrt(along) {
		open = min(open, along)
	}
	return open / (s * s)
}

// densities adds those of the turn under each of the earths, where the pad pulls s times
// as much as p, each so many times. The field is a normal one in the plane, and its angle
// has what is called a projected normal density: with the mean field u along the angle read
// and v across it, the variance w across, and along, where nothing is across, the mean a and
// the variance c,
//
//	exp(-v^2/2w)/(2 pi) sqrt(c/w) (exp(-D^2/2) + D sqrt(2 pi) Phi(D)), D = a/sqrt(c)
//
// (Mardia and Jupp, Directional Statistics, 2000, section 3.5.6). Where the field turns
// counter-clockwise in the phone's axes, north lies further left and the heading grows.
func (t *needleTurn) densities(out []float64, earths []earth, p *needlePull, s, times float64) {
	uu, uv, vv := s*s*p.uu+floorTurn, s*s*p.uv, s*s*p.vv+floorTurn
	out = out[:len(earths)]
	for m := range out {
		u, v := earths[m].uT*t.turn.cos+s*p.u, s*p.v-earths[m].uT*t.turn.sin
		own := t.base * (u*u + v*v + softTurn)
		over := 1 / (vv + own)
		away := v * v * over / 2
		if away > faintTurn {
			continue
		}
		a, c := u-uv*v*over, uu+own-uv*uv*over
		ahead := a * math.Sqrt(over*2*math.Pi) // all of the field lies ahead
		if a < 0 || a*a < aheadReach*aheadReach*c {
			ahead = aheadOf(a/math.Sqrt(c)) * math.Sqrt(c*over)
		}
		out[m] += expDown(-away) * ahead * (times / (2 * math.Pi))
	}
}

// aheadOf is exp(-D^2/2) + D sqrt(2 pi) Phi(D): how much of a normal field lies ahead. It is
// asked for at every place and earth, and so read off a table, to a few parts in 100,000.
func aheadOf(d float64) float64 {
	switch {
	case d <= -aheadReach:
		return 0
	case !(d < aheadReach): // or no number
		return d * math.Sqrt(2*math.Pi)
	}
	x := (d + aheadReach) * aheadSteps
	k := int(x)
	x -= float64(k)
	return aheads[k]*(1-x) + aheads[k+1]*x
}

const (
	aheadReach = 6
	aheadSteps = 64 // a standard deviation
)

var aheads = func() (out [2*aheadReach*aheadSteps + 2]float64) {
	for k := range out {
		d := float64(k)/aheadSteps - aheadReach
		out[k] = math.Exp(-d*d/2) + d*math.Sqrt(math.Pi/2)*math.Erfc(-d/math.Sqrt2)
	}
	return out
}()

// faintTurn is how unlikely a turn may be before it is nothing beside one that the
// phone's filter refused: a millionth of that.
const faintTurn = 20

// ceiling implements factor.
func (b *bearingFactor) ceiling([]nine, *background, *scales) float64 {
	return -0.5 * math.Log(2*math.Pi*b.turns[0].base)
}
