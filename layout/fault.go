package layout

// FaultKind names one thing that can be wrong with a wired pad.
type FaultKind string

// The kinds of fault, as plan, capture and verdict name them.
const (
	CoilReversed      FaultKind = "coil-reversed"
	StringReversed    FaultKind = "string-reversed"
	GroupReversed     FaultKind = "group-reversed"
	PadReversed       FaultKind = "pad-reversed" // the supply or the pad's plug; carries no id
	CoilShorted       FaultKind = "coil-shorted" // no field there, current in its string up
	TurnsShorted      FaultKind = "turns-shorted"
	StringOpen        FaultKind = "string-open"
	CoilOpen          FaultKind = "coil-open" // as StringOpen, where an ohmmeter says which coil
	StringsInSeries   FaultKind = "strings-in-series"
	CoilInWrongString FaultKind = "coil-in-wrong-string"
)

// Fault is one thing wrong. Which fields count depends on Kind: ID for most,
// IDs for StringsInSeries, ID and String for CoilInWrongString.
type Fault struct {
	Kind   FaultKind `json:"kind"`
	ID     string    `json:"id,omitempty"`
	IDs    []string  `json:"ids,omitempty"`
	String string    `json:"string,omitempty"`
	// Lost is the share of turns out of action in TurnsShorted, 0 < Lost < 1;
	// 0 stands for DefaultLost.
	Lost float64 `json:"-"`
}

// DefaultLost is the share of shorted turns assumed when none is given.
const DefaultLost = 0.35
