package desk_test

import (
	"slices"
	"testing"

	"polewise/server/desk"
)

// TestUndoOfOneOfTwo: readings of one moment are told apart by their coil, within one
// capture and where the clock began anew, also after a new start of the program.
func TestUndoOfOneOfTwo(t *testing.T) {
	for name, messages := range map[string][]string{
		"holds": {
			`{"seq":1,"lines":[{"type":"start","v":1,"route":"vector"},{"type":"hold","t":5,"at":"A1"},{"type":"b","t":5.5,"uT":[1,2,3]},{"type":"lift","t":6}]}`,
			`{"seq":2,"lines":[{"type":"start","v":1,"route":"vector"},{"type":"hold","t":5,"at":"A2"},{"type":"b","t":5.5,"uT":[1,2,3]},{"type":"lift","t":6},{"type":"hold","t":8,"at":"A3"},{"type":"b","t":8.5,"uT":[1,2,3]},{"type":"lift","t":9}]}`,
		},
		"passes": {
			`{"seq":1,"lines":[{"type":"start","v":1,"route":"vector"},{"type":"pass","t":5,"along":["A1","B1"]},{"type":"b","t":5.5,"uT":[1,2,3]},{"type":"pass-end","t":6}]}`,
			`{"seq":2,"lines":[{"type":"start","v":1,"route":"vector"},{"type":"pass","t":5,"along":["A2","B2"]},{"type":"b","t":5.5,"uT":[1,2,3]},{"type":"pass-end","t":6},{"type":"hold","t":8,"at":"A3"},{"type":"b","t":8.5,"uT":[1,2,3]},{"type":"lift","t":9}]}`,
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			s, shut := openShop(t, dir)
			defer func() { shut() }()
			say := func(m string) {
				t.Helper()
				if _, err := s.desk.Ingest(t.Context(), "anna", []byte(m)); err != nil {
					t.Fatal(err)
				}
			}
			expect := func(when string, want ...string) {
				t.Helper()
				got := []string{}
				st := s.desk.State()
				for _, h := range st.Holds {
					if h.Thrown {
						got = append(got, h.At)
					}
				}
				for _, p := range st.Passes {
					if p.Thrown {
						got = append(got, p.Along[0])
					}
				}
				if !slices.Equal(got, want) {
					t.Errorf("%s: thrown out are %v, expected %v", when, got, want)
				}
			}
			for _, m := range messages {
				say(m)
			}
			say(`{"seq":3,"undo":{"at":"A1","t":5}}`)
			expect("one taken back", "A1")
			say(`{"seq":4,"undo":{"at":"A2","t":5}}`)
			shut()
			s, shut = openShop(t, dir)
			expect("both, after a new start", "A1", "A2")
			if err := s.desk.PutBack(t.Context(), "anna", "A1", 5); err != nil {
				t.Fatal(err)
			}
			expect("one put back", "A2")
			shut()
			s, shut = openShop(t, dir)
			expect("one put back, after a new start", "A2")
		})
	}
}

// TestUndoOfOneFaceOfTwo: the same of faces and ohms of one moment, which make no hold.
func TestUndoOfOneFaceOfTwo(t *testing.T) {
	s := newShop(t)
	for _, m := range []string{
		`{"seq":1,"lines":[{"type":"start","v":1,"route":"hand"},{"type":"reading","t":5,"at":"A1","face":"north"},{"type":"reading","t":5,"at":"A2","face":"north"},{"type":"ohms","t":5,"across":"pad","ohms":3},{"type":"ohms","t":5,"across":"coil:A1","ohms":1}]}`,
		`{"seq":2,"undo":{"at":"A1","t":5}}`, `{"seq":3,"undo":{"at":"pad","t":5}}`,
	} {
		if _, err := s.desk.Ingest(t.Context(), desk.BenchSource, []byte(m)); err != nil {
			t.Fatal(err)
		}
	}
	e := s.desk.Entered()
	if _, a1 := e.Faces["A1"]; a1 || e.Faces["A2"] == "" || e.Ohms["pad"] != nil || e.Ohms["coil:A1"] == nil {
		t.Errorf("left are %+v", e)
	}
}
