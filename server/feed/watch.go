package feed

import (
	"math"
	"slices"
	"time"
)

// How a number moved is kept in buckets: enough for a bar of the last seconds.
const (
	bucketEvery   = 500 * time.Millisecond
	buckets       = 60 // half a minute
	recentBuckets = 6
	keptMessages  = 300 // for the proposal
	keptEvery     = 60 * time.Millisecond
	maxTracks     = 300 // paths of one source
)

// Seen is a number as shown to a person: its last value, how far it moved in the
// last three seconds, and in the last thirty.
type Seen struct {
	Path   string  `json:"path"`
	Value  float64 `json:"value"`
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
	Lowest float64 `json:"lowest"`
	Most   float64 `json:"most"`
	Stale  bool    `json:"stale,omitempty"` // not in the latest messages
}

type extent struct {
	low, high float64
	index     int64
}

type track struct {
	path  string
	value float64
	when  time.Time
	ring  [buckets]extent
}

func (t *track) add(v float64, index int64) {
	e := &t.ring[index%buckets]
	if e.index != index {
		*e = extent{v, v, index}
	}
	e.low, e.high = min(e.low, v), max(e.high, v)
}

// watch remembers what a source's numbers did lately.
type watch struct {
	began  time.Time
	tracks []*track
	by     map[string]*track
	kept   []keptMessage
	next   int
	last   map[string]time.Time // when a message beginning with a path was kept
}

type keptMessage struct {
	at      time.Time
	numbers []Number
}

func newWatch(now time.Time) *watch {
	return &watch{began: now, by: map[string]*track{}, last: map[string]time.Time{}}
}

func (w *watch) see(m *Message, at time.Time) {
	index := int64(at.Sub(w.began)/bucketEvery) + 1
	for _, n := range m.Numbers {
		t := w.by[n.Path]
		if t == nil {
			if len(w.tracks) == maxTracks {
				continue
			}
			t = &track{path: n.Path}
			w.by[n.Path] = t
			w.tracks = append(w.tracks, t)
		}
		t.value, t.when = n.Value, at
		t.add(n.Value, index)
	}
	first := m.Numbers[0].Path
	if at.Sub(w.last[first]) < keptEvery {
		return
	}
	if _, known := w.last[first]; !known && len(w.last) == maxTracks {
		return
	}
	w.last[first] = at
	k := keptMessage{at, m.Numbers}
	if len(w.kept) < keptMessages {
		w.kept = append(w.kept, k)
		return
	}
	w.kept[w.next] = k
	w.next = (w.next + 1) % keptMessages
}

// seen lists every number.
func (w *watch) seen(now time.Time) []Seen {
	index := int64(now.Sub(w.began)/bucketEvery) + 1
	out := make([]Seen, 0, len(w.tracks))
	for _, t := range w.tracks {
		s := Seen{Path: t.path, Value: t.value, Low: t.value, High: t.value, Lowest: t.value, Most: t.value, Stale: now.Sub(t.when) > 3*time.Second}
		for _, e := range t.ring {
			if e.index == 0 || index-e.index >= buckets {
				continue
			}
			s.Lowest, s.Most = min(s.Lowest, e.low), max(s.Most, e.high)
			if index-e.index < recentBuckets {
				s.Low, s.High = min(s.Low, e.low), max(s.High, e.high)
			}
		}
		out = append(out, s)
	}
	return out
}

// history is the messages kept, the oldest first.
func (w *watch) history() []keptMessage {
	return append(slices.Clone(w.kept[w.next:]), w.kept[:w.next]...)
}

// series collects numbers of the messages that have all of the paths.
func series(history []keptMessage, paths ...string) (at []time.Time, values [][]float64) {
	for _, k := range history {
		m := Message{Numbers: k.numbers}
		v := make([]float64, 0, len(paths))
		for _, p := range paths {
			if x, ok := m.Get(p); ok {
				v = append(v, x)
			}
		}
		if len(v) == len(paths) {
			at, values = append(at, k.at), append(values, v)
		}
	}
	return at, values
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
