// Package demotest gives tests the demo plans.
package demotest

import (
	"testing"

	"polewise/assets"
	"polewise/layout"
)

// Plan is the demo plan of an id.
func Plan(t testing.TB, id string) *layout.Plan {
	t.Helper()
	d, ok := assets.DemoNamed(id)
	if !ok {
		t.Fatal("no demo ", id)
	}
	p, err := layout.Parse(id, d.TOML)
	if err != nil {
		t.Fatal(err)
	}
	return p
}
