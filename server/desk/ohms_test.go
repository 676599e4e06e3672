package desk_test

import (
	"fmt"
	"maps"
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

// TestOhmsTakenBack takes a mistyped reading of the pad back, twice as a phone does
// that heard no answer: the one before counts again, and that of another phone stays.
func TestOhmsTakenBack(t *testing.T) {
	s, shut := openShop(t, t.TempDir())
	defer shut()
	say := func(source, message string) error {
		_, err := s.desk.Ingest(t.Context(), source, []byte(message))
		return err
	}
	for source, message := range map[string]string{
		"anna":  `{"seq":1,"lines":[{"type":"start","v":1,"route":"hand"},{"type":"ohms","t":3,"across":"coil:A1","ohms":0.96}]}`,
		"zelda": `{"seq":1,"lines":[{"type":"start","v":1,"route":"hand"},{"type":"ohms","t":3,"across":"pad","ohms":0.97},{"type":"ohms","t":4,"across":"pad","ohms":97}]}`,
	} {
		if err := say(source, message); err != nil {
			t.Fatal(err)
		}
	}
	for seq := 2; seq <= 3; seq++ {
		if err := say("zelda", fmt.Sprintf(`{"seq":%d,"undo":{"at":"pad","t":4}}`, seq)); err != nil {
			t.Fatal(err)
		}
	}
	if err := say("zelda", `{"seq":4,"undo":{"at":"coil:A1","t":3}}`); err == nil {
		t.Error("a phone takes back what another one read")
	}
	read := map[string]float64{}
	for _, o := range s.desk.State().SignOff.Ohms {
		if o.Counts {
			read[o.Across] = *o.Ohms
		}
	}
	if want := map[string]float64{"coil:A1": 0.96, "pad": 0.97}; !maps.Equal(read, want) {
		t.Errorf("%v counts, expected %v", read, want)
	}
}

// TestSlipBesideAnotherPhone: a phone takes a slip of the ohmmeter back. What counts
// then is what came last of what is left, not what the same phone had read before.
func TestSlipBesideAnotherPhone(t *testing.T) {
	for _, second := range []float64{5, 0.96} { // it is no matter which of them is right
		dir := t.TempDir()
		s, shut := openShop(t, dir)
		say := func(source, message string) {
			t.Helper()
			if _, err := s.desk.Ingest(t.Context(), source, []byte(message)); err != nil {
				t.Fatal(err)
			}
		}
		say("zelda", `{"seq":1,"lines":[{"type":"start","v":1,"route":"hand"},{"type":"ohms","t":1,"across":"pad","ohms":0.97}]}`)
		say("anna", fmt.Sprintf(`{"seq":1,"lines":[{"type":"start","v":1,"route":"hand"},{"type":"ohms","t":1,"across":"pad","ohms":%g}]}`, second))
		say("zelda", `{"seq":2,"lines":[{"type":"ohms","t":300,"across":"pad","ohms":7}]}`)
		say("zelda", `{"seq":3,"undo":{"at":"pad","t":300}}`)
		for _, when := range []string{"taken back", "after a new start"} {
			var counts []float64
			for _, o := range s.desk.State().SignOff.Ohms {
				if o.Counts {
					counts = append(counts, *o.Ohms)
				}
			}
			if len(counts) != 1 || counts[0] != second {
				t.Errorf("%s: %v counts, expected %g", when, counts, second)
			}
			shut()
			s, shut = openShop(t, dir)
		}
		shut()
	}
}
