package layout

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Problem is one thing wrong with a plan file, told so that the person who
// wrote the file can put it right.
type Problem struct {
	File   string `json:"file"`
	Line   int    `json:"line,omitempty"` // from 1; 0 when the thing is missing and so has no line
	Key    string `json:"key,omitempty"`  // e.g. coil "A1".winding
	Say    string `json:"say"`            // what was expected and what was found
	Remedy string `json:"remedy,omitempty"`
	// Table and ID name what it is about, e.g. coil and A1, where that is one
	// thing; With is the other coil of an overlap.
	Table string `json:"table,omitempty"`
	ID    string `json:"id,omitempty"`
	With  string `json:"with,omitempty"`
	// Unbuildable marks a plan that reads well and can be computed with, but
	// cannot be wound or laid as it stands.
	Unbuildable bool `json:"unbuildable,omitempty"`
}

// String is the problem on one line: file:line: key: sentence remedy.
func (p Problem) String() string {
	var b strings.Builder
	if p.File != "" {
		b.WriteString(p.File)
		if p.Line > 0 {
			fmt.Fprintf(&b, ":%d", p.Line)
		}
		b.WriteString(": ")
	}
	if p.Key != "" {
		b.WriteString(p.Key)
		b.WriteString(": ")
	}
	b.WriteString(p.Say)
	if p.Remedy != "" {
		b.WriteString(" ")
		b.WriteString(p.Remedy)
	}
	return b.String()
}

// maxListed is how many problems are told at once. Nobody reads more, and a
// hostile file could have half a million.
const maxListed = 50

// Problems is everything wrong with a plan file, in order of line. It is the
// error that Parse returns.
type Problems struct {
	List []Problem `json:"list"`
	More int       `json:"more,omitempty"` // how many beyond those in List
}

// Error lists the problems, one a line.
func (p *Problems) Error() string {
	lines := make([]string, 0, len(p.List)+1)
	for _, q := range p.List {
		lines = append(lines, q.String())
	}
	if p.More > 0 {
		lines = append(lines, fmt.Sprintf("... and %d more.", p.More))
	}
	return strings.Join(lines, "\n")
}

// OnlyUnbuildable tells whether the plan can be computed with all the same:
// every problem is one of building it.
func (p *Problems) OnlyUnbuildable() bool {
	for _, q := range p.List {
		if !q.Unbuildable {
			return false
		}
	}
	return true
}

// maxKept is how many problems are kept before the list is cut. Of those that do
// not keep a plan from being used there can be this many only when copper
// overlaps, and that is looked for last.
const maxKept = 5000

func (p *Problems) add(q Problem) *Problem {
	if len(p.List) >= maxKept {
		p.More++
		return &q
	}
	p.List = append(p.List, q)
	return &p.List[len(p.List)-1]
}

// orNil sorts and cuts the list, and returns nil when it is empty. Problems
// that keep the plan from being used come before those that are cut.
func (p *Problems) orNil() *Problems {
	if len(p.List) == 0 {
		return nil
	}
	if len(p.List) > maxListed {
		slices.SortStableFunc(p.List, func(a, b Problem) int {
			switch {
			case a.Unbuildable == b.Unbuildable:
				return 0
			case a.Unbuildable:
				return 1
			default:
				return -1
			}
		})
		p.More += len(p.List) - maxListed
		p.List = slices.Clip(p.List[:maxListed])
	}
	slices.SortStableFunc(p.List, func(a, b Problem) int { return cmp.Compare(a.Line, b.Line) })
	return p
}
