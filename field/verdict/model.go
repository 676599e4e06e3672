package verdict

import (
	"maps"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field"
	"polewise/field/capture"
	"polewise/layout"
)

// Model is a plan with what verdicts on it keep from one to the next: its field, and what
// readings said of hypotheses. It is not safe for use by several goroutines at once.
type Model struct {
	plan    *layout.Plan
	pad     *field.Pad
	planned *hypothesis // nothing is wrong
	tops    []float64   // planned Bz over each coil's centre at sensor height, uT
	over    [][]float64 // the same per ampere-turn of every coil; nil: not needed yet
	columns map[columnsKey]*columns
	halt    <-chan struct{} // closed when the search going on is no longer wanted
	known   likes
	levels  levels
	views   views
	earths  earthsLeft
	walker  walker
	aligned aligners
	counted uint64 // keys given by fresh
}

// columnsKey says what columns depend on: coil, how the phone lay there, its grid, and a mend
// since.
type columnsKey struct {
	coil   int
	topDeg float64
	shift  [2]float64
	x0, y0 float64
	nx, ny int
	step   float64
	lift   float64
	turned string
}

// Bounds on what a model keeps for live verdicts.
const (
	maxCachedColumns = 400
	// Of the coarse look at more factors than these nothing is kept: the columns are soon made
	// again, and hold as much as all that is worked out after them.
	coarseKept = 60
)

// forgetCoarse drops what is known of the field at the cells of the coarse look.
func (m *Model) forgetCoarse() {
	maps.DeleteFunc(m.columns, func(k columnsKey, _ *columns) bool { return k.step == coarseCells.step })
}

// Warm prepares a model of a plan. The plan must not change afterwards.
func Warm(plan *layout.Plan) (*Model, error) {
	if _, err := plan.Solve(); err != nil {
		return nil, err
	}
	m := &Model{plan: plan, pad: field.NewPad(plan), columns: map[columnsKey]*columns{}, views: views{}, earths: earthsLeft{}, known: likesOf(len(plan.Coils))}
	m.planned = newHypothesis(m, nil, 0)
	for j := range plan.Coils {
		m.tops = append(m.tops, m.fieldOver(m.planned, j).Z)
	}
	return m, nil
}

// fieldOver is the field at the planned sensor height over a coil's centre in
// microtesla.
func (m *Model) fieldOver(h *hypothesis, j int) r3.Vec {
	return r3.Scale(1e6, m.pad.At(h.ampTurns(), m.sensorOver(j)))
}

// sensorOver is the planned place of the sensor over a coil's centre.
func (m *Model) sensorOver(j int) r3.Vec {
	c := &m.plan.Coils[j]
	return r3.Vec{X: c.At.X, Y: c.At.Y, Z: m.plan.SensorHeight(j)}
}

// placeOf is where the sensor is in a hold over a coil, for each place cell.
func (m *Model) placeOf(g *grid, coil int, shift [2]float64, topDeg float64) func(k int) r3.Vec {
	at, z := m.plan.Coils[coil].At, m.plan.SensorHeight(coil)
	return func(k int) r3.Vec {
		o := toPad(g.offset(k), topDeg)
		return r3.Vec{X: at.X + shift[0] + o.X, Y: at.Y + shift[1] + o.Y, Z: z}
	}
}

// columnsFor are the columns of a hold over a coil, kept for the next time.
func (m *Model) columnsFor(g *grid, coil int, shift [2]float64, topDeg float64, mended *afterMend) *columns {
	key := columnsKey{coil, topDeg, shift, g.x0, g.y0, g.nx, g.ny, g.step, g.lift, ""}
	if mended != nil {
		key.turned = mended.key
	}
	if c, ok := m.columns[key]; ok {
		return c
	}
	var c *columns
	if g.lift != 0 {
		level := *g
		level.lift = 0
		c = m.columnsFor(&level, coil, shift, topDeg, mended).lifted(g.lift)
	} else {
		c = columnsAt(m.plan, m.pad, m.planned.ampTurns(), g.size(), m.placeOf(g, coil, shift, topDeg))
		if mended != nil {
			c.turned = mended.turned
		}
		c.layTiles(m.plan)
		c.joinStrings(m.plan)
		c.findPeaks(g.peakPlaces())
	}
	if len(m.columns) >= maxCachedColumns {
		clear(m.columns)
	}
	m.columns[key] = c
	return c
}

// newEngine lays out the factors of a body of evidence.
func (m *Model) newEngine(ev *evidence, res resolution) *engine {
	e := &engine{m: m, id: m.fresh(), ev: ev, faces: ev.facesByCoil(), res: res, best: math.Inf(-1), giveUp: usualGiveUp, misfitReach: 1, seen: map[uint64]*scored{}, onlyBearings: ev.onlyBearings(), known: &m.known}
	if e.onlyBearings {
		e.earths.list = earths
	}
	for _, s := range ev.sources {
		ph := &phone{grid: newGrid(s, res)}
		ph.view = ph.viewOf(ph.allCells())
		e.phones = append(e.phones, ph)
	}
	for i := range ev.holds {
		d := &ev.holds[i]
		ph := e.phones[d.source]
		h := &holdFactor{digest: d, ph: ph, rot: rotation(d.topDeg, d.up), tilt: tiltSD}
		if d.up != [3]float64{} {
			h.tilt = levelSD
		}
		h.fr = e.frameOf(d.source, d.coil, d.shift, d.topDeg, h.identity())
		if !d.toggled {
			e.groups[h.fr.group].toFit = true
		}
		e.pulsed = e.pulsed || d.pulsed
		e.factors = append(e.factors, h)
	}
	for i := range ev.bearings {
		e.addBearingFactor(&ev.bearings[i])
	}
	toldApart := map[int]bool{} // coils of strings of which a coil was measured by itself
	for _, o := range ev.ohms {
		if o.kind == "coil" {
			for _, j := range m.plan.Strings[m.plan.StringOf(o.index)].Coils {
				toldApart[j] = true
			}
		}
	}
	e.singles = singles(m.plan, toldApart)
	e.priors = make(map[faultName]float64, len(e.singles))
	for i := range e.singles {
		e.priors[nameOf(&e.singles[i].Fault)] = e.singles[i].logP
	}
	e.alignPasses()
	for i := range ev.passes {
		e.addPassFactors(&ev.passes[i])
	}
	return e
}

// frameOf is the frame of a hold over a coil by a source. id names what was read, which a mend
// since then is added to.
func (e *engine) frameOf(src, coil int, shift [2]float64, topDeg float64, id key) frame {
	mended := e.ev.sources[src].mended
	if mended != nil {
		id.text(mended.key)
	}
	return frame{src: src, coil: coil, cols: e.m.columnsFor(e.phones[src].grid, coil, shift, topDeg, mended), group: e.groupFor(src, topDeg), id: id}
}

// engineFor is an engine for what the captures say, those from before a mend among them.
func (m *Model) engineFor(before *Before, captures []*capture.Capture) (*engine, error) {
	ev, err := gatherAfter(m.plan, before, captures)
	if err != nil {
		return nil, err
	}
	return m.engineOn(ev), nil
}

// engineOn is an engine for a body of evidence, with the sensors' places found from holds first.
func (m *Model) engineOn(ev *evidence) *engine {
	m.settlePlaces(ev)
	return m.newEngine(ev, fineCells)
}

// Judge decides on what the captures say.
func (m *Model) Judge(captures ...*capture.Capture) (*Verdict, error) {
	e, list, err := m.decide(nil, captures)
	if err != nil {
		return nil, err
	}
	return e.conclude(list), nil
}

// Judge warms a model and decides: for tests, and for trials of them. Whoever judges a check as it
// is read keeps the model ([Warm]).
func Judge(plan *layout.Plan, captures ...*capture.Capture) (*Verdict, error) {
	m, err := Warm(plan)
	if err != nil {
		return nil, err
	}
	return m.Judge(captures...)
}
