package verdict

import (
	"math"

	"polewise/field/capture"
)

const (
	handWrong   = 0.01  // a face read or tapped wrongly (common practice, no source)
	deadNone    = 0.5   // a needle that follows the neighbours alone, and so weaker, is told as none at least so often
	unfeltUT    = 15.0  // a field straight up or down in which a needle shows no face, and
	feltUT      = 60.0  // one in which every needle does (common practice, no source)
	ohmShare    = 0.015 // error of an ohmmeter with its leads
	ohmAbsolute = 0.05
	wireShare   = 0.02    // resistance against the plan: gauge, stretched wire
	unknownRoom = 6.0     // kelvin, where no temperature was given
	copperPerK  = 0.00393 // at 20 C, NBS Handbook 100
	misread     = 0.003   // an open reading from a bad contact, a number from the wrong leads
)

// faceLike is the log likelihood of a face read by hand. A needle follows the
// field over the middle of the coil; where the coil is dead, what its
// neighbours leave there seldom turns it.
func (m *Model) faceLike(f *faceReading, h *hypothesis) float64 {
	planned := math.Abs(m.tops[f.coil])
	if planned == 0 {
		return 0
	}
	bz := m.topUnder(h, f.coil)
	strength := math.Abs(bz) / planned
	// How often nothing is found, from a dead coil to one at a third of the
	// planned field.
	none := 0.9
	switch {
	case strength > 0.4:
		none = handWrong / 2
	case strength > 0.1:
		none = 0.9 + (handWrong/2-0.9)*(strength-0.1)/0.3
	}
	// So small a field no needle tells from the earth's pull, however much of the
	// planned one it is.
	unfelt := 1 - min(1, max(0, (math.Abs(bz)-unfeltUT)/(feltUT-unfeltUT)))
	none = math.Max(none, 0.9*unfelt)
	if h.at[f.coil] == 0 {
		none = math.Max(none, deadNone) // whatever its neighbours leave there
	}
	// Of those that find a face, how many find the one that is there.
	right := 1 - handWrong/2
	if strength < 0.3 {
		right = 0.5 + (0.5-handWrong/2)*strength/0.3
	}
	right = min(right, 1-handWrong/2-(0.5-handWrong/2)*unfelt)
	var p float64
	switch {
	case f.face == capture.None:
		p = none
	case (f.face == capture.North) == (bz > 0):
		p = (1 - none) * right
	default:
		p = (1 - none) * (1 - right)
	}
	l := math.Log(math.Max(p, 1e-4))
	if !math.IsNaN(f.ut) && f.face != capture.None {
		// A figure from a hand meter tells strength, roughly: its probe lies
		// nobody knows how high.
		sd := 0.35*math.Max(math.Abs(bz), math.Abs(f.ut)) + 30
		d := (math.Abs(f.ut) - math.Abs(bz)) / sd
		l += math.Log(0.95*math.Exp(-d*d/2)+0.05) - math.Log(sd)
	}
	return l
}

// topUnder is Bz over coil j under a hypothesis, uT.
func (m *Model) topUnder(h *hypothesis, j int) float64 {
	if h == m.planned {
		return m.tops[j]
	}
	m.needTops()
	var bz float64
	for i := range h.at {
		bz += m.over[j][i] * h.at[i]
	}
	return bz
}

// needTops tabulates Bz over every coil per ampere-turn of every other.
func (m *Model) needTops() {
	if m.over != nil {
		return
	}
	m.over = make([][]float64, len(m.plan.Coils))
	for j := range m.over {
		m.over[j] = make([]float64, len(m.plan.Coils))
		at := m.sensorOver(j)
		for i := range m.over[j] {
			m.over[j][i] = m.pad.Column(i, at).Z * 1e6
		}
	}
}

// ohmLike is the log likelihood of an ohmmeter reading.
func ohmLike(r *ohmReading, h *hypothesis) float64 {
	var want float64
	switch r.kind {
	case "coil":
		want = h.cur.CoilOhms[r.index]
	case "string":
		want = h.cur.StringOhms[r.index]
	case "group":
		want = h.cur.GroupOhms[r.index]
	default:
		want = h.cur.PadOhms
	}
	open := math.IsInf(want, 1)
	if math.IsInf(r.ohms, 1) {
		if open {
			return math.Log(1 - misread)
		}
		return math.Log(misread)
	}
	if open {
		return math.Log(misread) - math.Log(10)
	}
	rel := wireShare
	if math.IsNaN(r.celsius) {
		rel = math.Hypot(rel, unknownRoom*copperPerK)
	} else {
		want *= 1 + copperPerK*(r.celsius-20)
	}
	sd := math.Hypot(ohmShare*want+ohmAbsolute, rel*want)
	d := (r.ohms - want) / sd
	good := math.Exp(-d*d/2) / (sd * math.Sqrt(2*math.Pi))
	return math.Log((1-misread)*good + misread/20)
}
