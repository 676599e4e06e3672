package layout

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/BurntSushi/toml"
)

// FuzzPlan: no text makes the reader panic; a plan it accepts can be solved,
// for what was planned and for every single fault, without a NaN, and can be
// written and read back.
func FuzzPlan(f *testing.F) {
	seeds := 0
	for _, pattern := range []string{"../assets/demo/*.toml", "testdata/broken/*.toml"} {
		files, err := filepath.Glob(pattern)
		if err != nil {
			f.Fatal(err)
		}
		for _, path := range files {
			data, err := os.ReadFile(path)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(data)
			seeds++
		}
	}
	f.Add([]byte(full))
	if seeds < 30 {
		f.Fatalf("only %d seeds", seeds)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Parse("fuzz.toml", data)
		if err != nil {
			if err.Error() == "" {
				t.Error("refused without a word")
			}
			if p == nil {
				return
			}
		}
		checkCurrents(t, p)
		if len(p.Coils) <= 20 {
			for j := range p.Coils {
				checkCurrents(t, p, Fault{Kind: CoilReversed, ID: p.Coils[j].ID})
				checkCurrents(t, p, Fault{Kind: CoilShorted, ID: p.Coils[j].ID})
				checkCurrents(t, p, Fault{Kind: CoilOpen, ID: p.Coils[j].ID}, Fault{Kind: PadReversed})
			}
			if len(p.Strings) > 1 && len(p.Groups) == 0 {
				checkCurrents(t, p, Fault{Kind: StringsInSeries, IDs: []string{p.Strings[0].ID, p.Strings[1].ID}})
			}
		}
		sameAfterWriting(t, p)
	})
}

func checkCurrents(t *testing.T, p *Plan, faults ...Fault) {
	t.Helper()
	c, err := p.Solve(faults...)
	if err != nil {
		t.Fatalf("%v: %v", faults, err)
	}
	for j, amps := range c.CoilAmps {
		if math.IsNaN(amps) || math.IsInf(amps, 0) {
			t.Fatalf("%v: coil %s carries %g A", faults, p.Coils[j].ID, amps)
		}
	}
	for _, x := range []float64{c.PadAmps, c.PadVolts} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			t.Fatalf("%v: pad %g A at %g V", faults, c.PadAmps, c.PadVolts)
		}
	}
}

// FuzzEditText: whatever the text, an edit either fails or leaves a text that
// says what was asked for, which EditText itself makes sure of; nothing panics.
func FuzzEditText(f *testing.F) {
	for _, text := range []string{remarked, inlined, full, "coil = [ ]\n", "[[coil]]\nid='a'\nat=[1,\n2]#x", "\"coil\"=[{id=\"a\"},{\"id\"='b',at=[[1],2]}]"} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var values map[string]any
		if toml.Unmarshal(data, &values) != nil {
			return
		}
		ids := map[string]string{}
		for _, kind := range listTables {
			list, _ := normal(values[kind]).([]any)
			for _, m := range list {
				if m, ok := m.(map[string]any); ok {
					if id, ok := m["id"].(string); ok {
						ids[id] = kind
					}
				}
			}
		}
		var all []Edit
		for id, kind := range ids {
			all = append(all,
				Edit{Op: "set", Table: kind, ID: id, Key: "at", Value: []any{1.0, 2.0}},
				Edit{Op: "set", Table: kind, ID: id, Key: "coils", Value: []any{"x"}},
				Edit{Op: "set", Table: kind, ID: id, Key: "coils", Value: []any{"a", "x", "y"}},
				Edit{Op: "unset", Table: kind, ID: id, Key: "at"},
				Edit{Op: "rename", Table: kind, ID: id, Value: "new"},
				Edit{Op: "remove", Table: kind, ID: id})
		}
		for _, kind := range listTables {
			all = append(all, Edit{Op: "add", Table: kind, Pairs: []Pair{{"id", "fresh"}}})
		}
		for _, kind := range append([]string{""}, singleTables...) {
			all = append(all, Edit{Op: "set", Table: kind, Key: "size", Value: 1.5}, Edit{Op: "unset", Table: kind, Key: "size"}, Edit{Op: "remove", Table: kind})
		}
		for _, q := range all {
			if _, err := EditText(data, []Edit{q}); err != nil && err.Error() == "" {
				t.Error("refused without a word")
			}
		}
		if _, err := EditText(data, all); err != nil && err.Error() == "" {
			t.Error("refused without a word")
		}
	})
}
