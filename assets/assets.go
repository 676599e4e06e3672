// Package assets holds what the bench serves besides its code: the bench page,
// the styles and modules both pages share, and the demo plans.
package assets

import (
	"embed"
	"io/fs"
	"slices"
	"strings"
)

//go:embed bench common demo
var files embed.FS

// Bench holds the bench page and its modules, Common what both pages share.
var (
	Bench  = sub("bench")
	Common = sub("common")
)

func sub(dir string) fs.FS {
	f, err := fs.Sub(files, dir)
	if err != nil {
		panic("assets: " + err.Error())
	}
	return f
}

// DemoPlan is an invented pad that comes with the program.
type DemoPlan struct {
	ID   string
	Name string
	TOML []byte
}

// demos in the order in which they are offered; the first is the default.
var demos = []string{"kennel", "cushion", "ring", "bolster", "mat"}

// Demo is the plan used when none is given.
func Demo() []byte { return demo(demos[0]) }

// DemoPlans lists all demo plans, the default first.
func DemoPlans() []DemoPlan {
	out := make([]DemoPlan, len(demos))
	for i, id := range demos {
		text := demo(id)
		out[i] = DemoPlan{ID: id, Name: nameOf(text), TOML: text}
	}
	return out
}

// DemoNamed is the demo plan of an id; ok is false where there is none.
func DemoNamed(id string) (d DemoPlan, ok bool) {
	plans := DemoPlans()
	i := slices.IndexFunc(plans, func(d DemoPlan) bool { return d.ID == id })
	if i < 0 {
		return d, false
	}
	return plans[i], true
}

func demo(id string) []byte {
	text, err := files.ReadFile("demo/" + id + ".toml")
	if err != nil {
		panic("assets: " + err.Error())
	}
	return text
}

// nameOf finds the line name = "..." of a demo plan.
func nameOf(text []byte) string {
	for line := range strings.Lines(string(text)) {
		if rest, ok := strings.CutPrefix(line, `name = "`); ok {
			name, _, _ := strings.Cut(rest, `"`)
			return name
		}
	}
	return ""
}
