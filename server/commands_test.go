package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"polewise/assets"
	"polewise/field/verdict"
	"polewise/layout"
)

// command runs the program's own entry.
func command(stdin string, args ...string) (status int, out, errs string) {
	var o, e bytes.Buffer
	status = run(context.Background(), args, strings.NewReader(stdin), &o, &e)
	return status, o.String(), e.String()
}

func demoPlan(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "kennel.toml")
	if err := os.WriteFile(path, assets.Demo(), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestExitStatus(t *testing.T) {
	plan := demoPlan(t)
	broken := filepath.Join(t.TempDir(), "broken.toml")
	if err := os.WriteFile(broken, []byte("format = 2\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	const startLine = `{"type":"start","v":1,"route":"vector"}` + "\n"
	for _, tc := range []struct {
		name   string
		stdin  string
		args   []string
		status int
		says   string
	}{
		{"no such command", "", []string{"polish"}, exitUsage, `no command "polish"`},
		{"no such flag", "", []string{"judge", "--loud"}, exitUsage, "unknown flag"},
		{"judge without capture", "", []string{"judge", plan}, exitUsage, "a plan and a capture"},
		{"predict without plan", "", []string{"predict"}, exitUsage, "expected 1 arguments"},
		{"predict at nowhere", "", []string{"predict", plan, "--at", "1,2"}, exitUsage, "three numbers"},
		{"rehearse a fault unknown", "", []string{"rehearse", plan, "--fault", "coil-bored:A1"}, exitUsage, "coil-bored"},
		{"a plan that is not there", "", []string{"predict", "nowhere.toml"}, exitData, "nowhere.toml"},
		{"a broken plan", "", []string{"predict", broken}, exitData, "format"},
		{"a broken capture", startLine + "{", []string{"judge", plan, "-"}, exitData, "line 2"},
		{"a capture of another pad", startLine + `{"type":"hold","t":0,"at":"Q7"}`, []string{"judge", plan, "-"}, exitData, `no coil "Q7"`},
		{"nothing read", startLine, []string{"judge", plan, "-"}, exitUndecided, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			status, out, errs := command(tc.stdin, tc.args...)
			if status != tc.status || !strings.Contains(errs, tc.says) {
				t.Errorf("status %d, stderr %q; expected %d and the words %q", status, errs, tc.status, tc.says)
			}
			if status >= exitUsage && out != "" {
				t.Errorf("something on standard output: %q", out)
			}
		})
	}
}

func TestHelpEverywhere(t *testing.T) {
	for _, args := range [][]string{{"--help"}, {"bench", "--help"}, {"predict", "--help"}, {"judge", "--help"}, {"rehearse", "--help"}, {"feed", "--help"}} {
		status, out, _ := command("", args...)
		if status != 0 || !strings.Contains(out, "Usage:") {
			t.Errorf("%v: status %d, output %q", args, status, out)
		}
	}
}

func TestPredictJSON(t *testing.T) {
	status, out, errs := command("", "predict", demoPlan(t), "--json", "--at", "240,240,10", "--at", "0,0,50")
	if status != 0 {
		t.Fatal(status, errs)
	}
	var p struct {
		Coils []struct {
			ID   string
			Amps float64
			Ohms float64
			Bz   float64    `json:"bz_uT"`
			B    [3]float64 `json:"b_uT"`
			At   [3]float64 `json:"at_mm"`
		}
		Strings []struct {
			ID         string
			Ohms, Amps float64
		}
		Pad    struct{ Ohms, Amps, Volts float64 }
		Points []struct {
			At [3]float64 `json:"at_mm"`
			B  [3]float64 `json:"b_uT"`
		}
	}
	if err := json.Unmarshal([]byte(out), &p); err != nil {
		t.Fatal(err)
	}
	if len(p.Coils) != 9 || len(p.Strings) != 3 || len(p.Points) != 2 {
		t.Fatalf("%d coils, %d strings, %d points", len(p.Coils), len(p.Strings), len(p.Points))
	}
	// B2's centre is asked for twice: as a coil and as a point.
	if p.Coils[4].ID != "B2" || p.Coils[4].At != [3]float64{240, 240, 10} || p.Coils[4].B != p.Points[0].B || p.Coils[4].Bz != p.Coils[4].B[2] {
		t.Errorf("B2 %+v, point %+v", p.Coils[4], p.Points[0])
	}
	// Three strings of three like coils side by side: a third of a string.
	if d := p.Pad.Ohms*3 - p.Strings[0].Ohms; d > 1e-9 || d < -1e-9 {
		t.Errorf("pad %.6f ohm, string %.6f", p.Pad.Ohms, p.Strings[0].Ohms)
	}
}

// faultText names a fault as the rehearse command takes it.
func faultText(f layout.Fault) string {
	if f.ID == "" {
		return string(f.Kind)
	}
	return string(f.Kind) + ":" + f.ID
}

// TestRehearseJudge pipes made-up captures of every fault of the main job, ten
// seeds each, from one command to the other.
func TestRehearseJudge(t *testing.T) {
	plan := demoPlan(t)
	p, err := layout.Load(plan)
	if err != nil {
		t.Fatal(err)
	}
	for _, faults := range [][]layout.Fault{
		nil,
		{{Kind: layout.CoilReversed, ID: "B2"}},
		{{Kind: layout.CoilReversed, ID: "A1"}, {Kind: layout.CoilReversed, ID: "C2"}},
		{{Kind: layout.StringReversed, ID: "B"}},
		{{Kind: layout.PadReversed}},
		{{Kind: layout.StringOpen, ID: "C"}},
		{{Kind: layout.CoilShorted, ID: "A3"}},
	} {
		var args []string
		var names []string
		for _, f := range faults {
			args = append(args, "--fault", faultText(f))
			names = append(names, faultText(f))
		}
		name := strings.Join(names, "+")
		if name == "" {
			name = "nothing wrong"
		}
		cur, err := p.Solve(faults...)
		if err != nil {
			t.Fatal(err)
		}
		t.Run(name, func(t *testing.T) {
			for seed := 1; seed <= 10; seed++ {
				s := strings.Repeat("1", seed) // ten seeds of very different size
				status, capture, errs := command("", append([]string{"rehearse", plan, "--seed", s}, args...)...)
				if status != 0 {
					t.Fatal(errs)
				}
				status, out, errs := command(capture, "judge", plan, "-", "--json")
				var v verdict.Verdict
				if err := json.Unmarshal([]byte(out), &v); err != nil {
					t.Fatalf("seed %s: %v (%s)", s, err, errs)
				}
				want := exitFault
				if len(faults) == 0 {
					want = exitAsPlanned
				}
				if status != want {
					t.Errorf("seed %s: exit status %d, expected %d", s, status, want)
				}
				if len(faults) > 0 {
					var got []string
					if len(v.Causes) > 0 {
						for _, f := range v.Causes[0].Faults {
							got = append(got, faultText(f))
						}
					}
					slices.Sort(got)
					slices.Sort(names)
					if !slices.Equal(got, names) {
						t.Errorf("seed %s: first cause %v, expected %v", s, got, names)
					}
				}
				for j, c := range v.Coils {
					truth := verdict.StateAsPlanned
					switch a := cur.CoilAmps[j] * cur.CoilTurns[j]; {
					case a == 0:
						truth = verdict.StateDead
					case a < 0:
						truth = verdict.StateReversed
					}
					if c.State != truth && c.State != verdict.StateUndecided {
						t.Errorf("seed %s: %s is called %s and is %s", s, c.ID, c.State, truth)
					}
				}
			}
		})
	}
}
