package field

import (
	"sync"

	"polewise/layout"
)

// source is the field of one winding in its own frame, made ready for speed.
// Exactly one of the two is set.
type source struct {
	round *roundTable
	path  *pathField
}

// shape is what a winding's field depends on.
type shape struct {
	path  path
	round bool
	build float64
	width float64
}

// sources keeps the windings asked for, so that the many pads that a check makes
// share their tables.
var sources struct {
	sync.Mutex
	kept map[shape]source
}

// keptSources bounds how many windings are kept; then all are let go. Pads that
// hold one go on using it.
const keptSources = 64

func sourceOf(w *layout.Winding) source {
	key := shape{path: pathOf(w), round: w.Shape == layout.Round, build: w.Build, width: w.Width}
	sources.Lock()
	defer sources.Unlock()
	s, ok := sources.kept[key]
	if ok {
		return s
	}
	if key.round {
		s.round = newRoundTable(w.InnerX/2, w.Build, w.Width)
	} else {
		s.path = newPathField(key.path, section{build: w.Build, half: w.Width / 2})
	}
	if sources.kept == nil || len(sources.kept) >= keptSources {
		sources.kept = map[shape]source{}
	}
	sources.kept[key] = s
	return s
}
