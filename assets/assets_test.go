package assets

import (
	"io/fs"
	"path"
	"strings"
	"testing"

	"polewise/layout"
)

// Every demo plan is without fault, can be solved, and stays within currents
// that are gentle for its wire and fields that a phone can read.
func TestDemoPlans(t *testing.T) {
	plans := DemoPlans()
	for _, d := range plans {
		t.Run(d.ID, func(t *testing.T) {
			p, err := layout.Parse(d.ID+".toml", d.TOML)
			if err != nil {
				t.Fatal(err)
			}
			if p.Name != d.Name {
				t.Errorf("offered as %q, named %q", d.Name, p.Name)
			}
			c, err := p.Solve()
			if err != nil {
				t.Fatal(err)
			}
			for j := range p.Coils {
				// Common practice, no source: up to 5 A/mm2 in the open.
				if perMM2 := c.CoilAmps[j] / (p.WindingOf(j).WireSection() * 1e6); perMM2 < 0.3 || perMM2 > 5 {
					t.Errorf("coil %s: %.2f A/mm2", p.Coils[j].ID, perMM2)
				}
				// However a coil is turned, it reaches as far as its narrow side.
				at, half := p.Coils[j].At, p.WindingOf(j).HalfExtent()
				if r := min(half.X, half.Y); at.X < r || at.Y < r || at.X > p.Outline.X-r || at.Y > p.Outline.Y-r {
					t.Errorf("coil %s at %v leaves the outline", p.Coils[j].ID, at)
				}
			}
		})
	}
	if string(Demo()) != string(plans[0].TOML) {
		t.Error("the default is not the first")
	}
}

// No demo plan is forgotten in the list.
func TestAllDemosListed(t *testing.T) {
	names, err := fs.Glob(files, "demo/*.toml")
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]bool{}
	for _, d := range DemoPlans() {
		listed[d.ID] = true
	}
	for _, n := range names {
		if id := strings.TrimSuffix(path.Base(n), ".toml"); !listed[id] {
			t.Errorf("%s is embedded and not listed", n)
		}
	}
	if len(names) != len(listed) {
		t.Errorf("%d files, %d listed", len(names), len(listed))
	}
}
