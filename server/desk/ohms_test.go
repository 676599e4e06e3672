package desk_test

import (
	"fmt"
	"testing"

	"polewise/server/desk"
)

// TestOhmsReadLastCount has two phones, whose clocks know nothing of each other, read
// the pad's ohms in turn: what came last counts, also after a new start.
func TestOhmsReadLastCount(t *testing.T) {
	dir := t.TempDir()
	open := func() (*desk.Desk, func()) {
		t.Helper()
		s, shut := openShop(t, dir)
		return s.desk, shut
	}
	d, shut := open()
	say := func(source string, seq, at int, lines string) {
		t.Helper()
		if _, err := d.Ingest(t.Context(), source, fmt.Appendf(nil, `{"seq":%d,"lines":[%s]}`, seq, fmt.Sprintf(lines, at))); err != nil {
			t.Fatal(err)
		}
	}
	counts := func(when string, want float64) {
		t.Helper()
		var found []float64
		for _, o := range d.State().SignOff.Ohms {
			if o.Counts {
				found = append(found, *o.Ohms)
			}
		}
		if len(found) != 1 || found[0] != want {
			t.Errorf("%s: %v counts, expected %g", when, found, want)
		}
	}
	const start, pad = `{"type":"start","v":1,"route":"hand"},`, `{"type":"ohms","t":%d,"across":"pad","celsius":20,"ohms":`
	say("zelda", 1, 900, start+pad+"0.97}")
	counts("one phone", 0.97)
	say("anna", 1, 3, start+pad+"0.98}")
	counts("the other later", 0.98)
	say("zelda", 2, 950, pad+"1.50}")
	counts("the first again", 1.5)
	shut()
	d, shut = open()
	counts("after a new start", 1.5)
	say("anna", 2, 7, pad+"0.99}")
	counts("the other once more", 0.99)
	shut()
	d, shut = open()
	defer func() { shut() }()
	counts("after another new start", 0.99)
}
