package layout

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

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

// faultKinds are all of them.
var faultKinds = []FaultKind{CoilReversed, StringReversed, GroupReversed, PadReversed, CoilShorted, TurnsShorted,
	StringOpen, CoilOpen, StringsInSeries, CoilInWrongString}

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
	// Ohms is what is left between the leads of a coil that is shorted, for
	// CoilShorted: bare wires that touch, or a drop of solder, and the way there.
	Ohms float64 `json:"-"`
}

// DefaultLost is the share of shorted turns assumed when none is given.
const DefaultLost = 0.35

// Text writes a fault as ParseFault reads it: KIND:ID, with further words after
// a comma.
func (f Fault) Text() string {
	var what []string
	switch f.Kind {
	case StringsInSeries:
		what = f.IDs
	case CoilInWrongString:
		what = []string{f.ID, f.String}
	case PadReversed:
	case TurnsShorted:
		what = []string{f.ID}
		if f.Lost != 0 {
			what = append(what, strconv.FormatFloat(f.Lost, 'g', -1, 64))
		}
	case CoilShorted:
		what = []string{f.ID}
		if f.Ohms != 0 {
			what = append(what, strconv.FormatFloat(f.Ohms, 'g', -1, 64))
		}
	default:
		what = []string{f.ID}
	}
	if len(what) == 0 {
		return string(f.Kind)
	}
	return string(f.Kind) + ":" + strings.Join(what, ",")
}

// ParseFault reads a fault: "coil-reversed:A1", "pad-reversed",
// "turns-shorted:A1" or "turns-shorted:A1,0.3" (the share of turns lost),
// "coil-shorted:A1" or "coil-shorted:A1,0.05" (the ohms left between its leads),
// "strings-in-series:A,B", "coil-in-wrong-string:A1,B". Whether the ids exist
// is for Solve to say.
func ParseFault(s string) (Fault, error) {
	kind, rest, _ := strings.Cut(s, ":")
	f := Fault{Kind: FaultKind(kind)}
	var what []string
	if rest != "" {
		what = strings.Split(rest, ",")
	}
	bad := func(expected string) (Fault, error) {
		return Fault{}, fmt.Errorf("fault %s: expected %s", strconv.Quote(clip(s)), expected)
	}
	for i := range what {
		what[i] = strings.TrimSpace(what[i])
		if what[i] == "" {
			return bad("an id, found nothing before or after a comma")
		}
	}
	switch f.Kind {
	case CoilReversed, StringReversed, GroupReversed, StringOpen, CoilOpen:
		if len(what) != 1 {
			return bad(fmt.Sprintf("one id, like %s:ID", kind))
		}
		f.ID = what[0]
	case PadReversed:
		if len(what) != 0 {
			return bad("no id: there is one pad")
		}
	case CoilShorted:
		if len(what) != 1 && len(what) != 2 {
			return bad("a coil and, if known, the ohms left between its leads, like coil-shorted:A1,0.05")
		}
		f.ID = what[0]
		if len(what) == 2 {
			ohms, err := strconv.ParseFloat(what[1], 64)
			if err != nil || !(ohms >= 0) || math.IsInf(ohms, 1) {
				return bad("ohms from 0 on, like coil-shorted:A1,0.05")
			}
			f.Ohms = ohms
		}
	case TurnsShorted:
		if len(what) != 1 && len(what) != 2 {
			return bad("a coil and, if known, the share of turns lost, like turns-shorted:A1,0.3")
		}
		f.ID = what[0]
		if len(what) == 2 {
			lost, err := strconv.ParseFloat(what[1], 64)
			if err != nil || !(lost > 0 && lost < 1) {
				return bad("a share of turns between 0 and 1, like turns-shorted:A1,0.3")
			}
			f.Lost = lost
		}
	case StringsInSeries:
		if len(what) < 2 {
			return bad("two strings or more, like strings-in-series:A,B")
		}
		f.IDs = what
	case CoilInWrongString:
		if len(what) != 2 {
			return bad("a coil and the string it ended up in, like coil-in-wrong-string:A1,B")
		}
		f.ID, f.String = what[0], what[1]
	default:
		words := make([]string, len(faultKinds))
		for i, k := range faultKinds {
			words[i] = string(k)
		}
		if near := nearest(kind, words); near != "" {
			return bad(fmt.Sprintf("a kind of fault; did you mean %s?", near))
		}
		return bad("a kind of fault: " + strings.Join(words, ", "))
	}
	return f, nil
}
