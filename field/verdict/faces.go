package verdict

import (
	"math"
	"slices"

	"polewise/field/capture"
)

// Faces read by hand: what a needle or a hand meter shows over a coil.

const (
	handWrong = 0.01 // a face read or tapped wrongly (common practice, no source)
	deadNone  = 0.5  // a needle that follows the neighbours alone, and so weaker, is told as none at least so often
	unfeltUT  = 15.0 // a field straight up or down in which a needle shows no face, and
	feltUT    = 60.0 // one in which every needle does (common practice, no source)

	// A figure from a hand meter tells strength, roughly: its probe lies nobody knows how high.
	// By how much it is off, as a share and in uT, and how often it is no figure of that at all
	// (estimates, no source).
	meterShare, meterUT = 0.35, 30.0
	meterWrong          = 0.05

	// What a needle shows, by the share that is there of the planned field (estimates, no
	// source): how often nothing, where there is next to none; up to where it is that often, and
	// from where on it never is; and from where on what it shows is what is there.
	noneFound              = 0.9
	showsNone, showsSurely = 0.1, 0.4
	rightFrom              = 0.3
)

// facesLike is the log likelihood of the faces read over one coil. A needle shows the same every
// time, even where only the coil's neighbours turn it. Reading it again takes out slips of hand
// and eye, and guesses in a faint field, and tells no more of the coil than that.
func (m *Model) facesLike(list []faceReading, h *hypothesis) float64 {
	bz := m.topUnder(h, list[0].coil)
	chance := m.faceShown(list[0].coil, bz, h)
	read := faceRead(bz)
	var l float64
	for i := range list {
		f := &list[i]
		at := slices.Index(shownFaces[:], f.face)
		for shown := range chance {
			chance[shown] *= (1-1.5*handWrong)*read[shown][at] + handWrong/2
		}
		if !math.IsNaN(f.ut) && f.face != capture.None {
			sd := meterShare*math.Max(math.Abs(bz), math.Abs(f.ut)) + meterUT
			d := (math.Abs(f.ut) - math.Abs(bz)) / sd
			l += math.Log((1-meterWrong)*math.Exp(-d*d/2)+meterWrong) - math.Log(sd)
		}
	}
	return l + math.Log(math.Max(chance[0]+chance[1]+chance[2], 1e-12))
}

// shownFaces are what a needle may show, in the order of faceShown and faceRead.
var shownFaces = [3]capture.Face{capture.North, capture.South, capture.None}

// faceRead is how likely each face (second index) is read where each is shown (first), in a field
// of bz microtesla up. A small field no needle tells from the earth's pull, however much of the
// planned one it is.
func faceRead(bz float64) [3][3]float64 {
	unfelt := 1 - min(1, max(0, (math.Abs(bz)-unfeltUT)/(feltUT-unfeltUT)))
	found, right := 1-noneFound*unfelt, 1-0.5*unfelt // half of those who find one all the same are wrong
	return [3][3]float64{
		{found * right, found * (1 - right), 1 - found},
		{found * (1 - right), found * right, 1 - found},
		{0, 0, 1},
	}
}

// faceShown is how likely a needle shows each face over the middle of a coil where the field up is
// bz. It follows the field; but what the neighbours of a dead coil leave there seldom turns it.
func (m *Model) faceShown(coil int, bz float64, h *hypothesis) [3]float64 {
	planned := math.Abs(m.tops[coil])
	if planned == 0 {
		return [3]float64{1, 1, 1} // it tells nothing
	}
	strength := math.Abs(bz) / planned
	none := noneFound * min(1, max(0, (showsSurely-strength)/(showsSurely-showsNone)))
	if h.ampTurns()[coil] == 0 {
		none = math.Max(none, deadNone) // whatever its neighbours leave there
	}
	// Of those that find a face, how many find the one that is there: half over a dead coil.
	right := min(1, 0.5+0.5*strength/rightFrom)
	north := right
	if bz <= 0 {
		north = 1 - right
	}
	return [3]float64{(1 - none) * north, (1 - none) * (1 - north), none}
}

// topUnder is Bz over coil j under a hypothesis, uT.
func (m *Model) topUnder(h *hypothesis, j int) float64 {
	if h == m.planned {
		return m.tops[j]
	}
	m.needTops()
	var bz float64
	for i := range h.ampTurns() {
		bz += m.over[j][i] * h.ampTurns()[i]
	}
	return bz
}

// needTops works out Model.over, Bz over every coil per ampere-turn of every coil, if it is not
// yet.
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

// faceReading is one face read by hand.
type faceReading struct {
	coil int
	face capture.Face
	ut   float64 // size of the field, microtesla; NaN when not given
	old  bool    // from before a mend
}

// facesByCoil are the faces read by hand, those over one coil together.
func (ev *evidence) facesByCoil() (out [][]faceReading) {
	at := map[int]int{}
	for _, f := range ev.faces {
		k, ok := at[f.coil]
		if !ok {
			k = len(out)
			at[f.coil], out = k, append(out, nil)
		}
		out[k] = append(out[k], f)
	}
	return out
}
