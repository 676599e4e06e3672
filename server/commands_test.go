package main

import (
	"bytes"
	"context"
	"encoding/json"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"polewise/assets"
	"polewise/field/verdict"
	"polewise/layout"
	"polewise/server/store"
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
	jsonl := filepath.Join(t.TempDir(), "readings.jsonl")
	if err := os.WriteFile(jsonl, []byte(startLine), 0o644); err != nil {
		t.Fatal(err)
	}
	noKey := t.TempDir()
	if err := os.WriteFile(filepath.Join(noKey, "pairing.key"), []byte("short"), 0o600); err != nil {
		t.Fatal(err)
	}
	noCertificate := t.TempDir()
	if err := os.Mkdir(filepath.Join(noCertificate, "phone.crt"), 0o700); err != nil {
		t.Fatal(err)
	}
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	for _, tc := range []struct {
		name   string
		stdin  string
		args   []string
		status int
		says   string
	}{
		{"no such command", "", []string{"polish"}, exitUsage, `no command "polish"`},
		{"help of no command", "", []string{"help", "polish"}, exitUsage, `no command "polish"`},
		{"no such flag", "", []string{"judge", "--loud"}, exitUsage, "unknown flag"},
		{"judge without capture", "", []string{"judge", plan}, exitUsage, "a plan and a capture"},
		{"predict without plan", "", []string{"predict"}, exitUsage, "expected one plan file, as in polewise predict pad.toml, found 0 arguments"},
		{"predict at nowhere", "", []string{"predict", plan, "--at", "1,2"}, exitUsage, "three numbers"},
		{"rehearse a fault unknown", "", []string{"rehearse", plan, "--fault", "coil-bored:A1"}, exitUsage, "coil-bored"},
		{"an offset with a word first", "", []string{"rehearse", plan, "--offset", "abc,3"}, exitUsage, `--offset "abc,3": expected two numbers`},
		{"a plan that is not there", "", []string{"predict", "nowhere.toml"}, exitData, "nowhere.toml"},
		{"a broken plan", "", []string{"predict", broken}, exitData, "format"},
		{"a broken capture", startLine + "{", []string{"judge", plan, "-"}, exitData, "line 2"},
		{"a capture of another pad", startLine + `{"type":"hold","t":0,"at":"Q7"}`, []string{"judge", plan, "-"}, exitData, `no coil "Q7"`},
		{"a folder for a plan", "", []string{"predict", t.TempDir()}, exitData, "expected a plan, found a folder. Name the file in it"},
		{"a folder for a capture", "", []string{"judge", plan, t.TempDir()}, exitData, "expected a capture, found a folder. Name the file in it"},
		{"a capture that is not there", "", []string{"judge", plan, "nowhere.jsonl"}, exitData, "nowhere.jsonl: there is no such file"},
		{"a capture for a plan", "", []string{"judge", jsonl, plan}, exitData, "It looks like a capture or other JSON. The plan is the .toml file, and comes first."},
		{"an empty capture", "", []string{"judge", plan, "-"}, exitData, "standard input: line 1: the capture is empty"},
		{"standard input twice", startLine, []string{"judge", plan, "-", "-"}, exitUsage, "for one capture at most"},
		{"the same capture twice", "", []string{"judge", plan, jsonl, jsonl}, exitUsage, "expected each capture once"},
		{"standard input for the plan", startLine, []string{"judge", "-", plan}, exitUsage, "not for the plan"},
		{"standard input for a plan", "", []string{"predict", "-"}, exitUsage, "from a file only"},
		{"a number that is none", "", []string{"predict", plan, "--room", "warm"}, exitUsage, `--room "warm": expected a number, with a point as in 2.5. See polewise predict --help`},
		{"a decimal comma", "", []string{"rehearse", plan, "--noise", "0,4"}, exitUsage, `--noise "0,4": expected a number, with a point`},
		{"a flag without its value", "", []string{"predict", plan, "--map"}, exitUsage, "--map: expected FILE after it, found nothing"},
		{"a place out of this world", "", []string{"predict", plan, "--at", "1,2,1e300"}, exitUsage, "at most 1000 m from the pad's corner, found 1e300"},
		{"a place of two letters", "", []string{"predict", plan, "--at", "1,2,x"}, exitUsage, `"x" is not one`},
		{"an address without port", "", []string{"--data", t.TempDir(), "--listen", "here"}, exitUsage, `--listen "here": expected HOST:PORT`},
		{"a port too large", "", []string{"--data", t.TempDir(), "--listen", "127.0.0.1:99999"}, exitUsage, "expected a port from 1 to 65535"},
		{"a port that is taken", "", []string{"--data", t.TempDir(), "--listen", taken.Addr().String()}, exitUnavailable, "the port is taken. Is polewise running already? Choose another port with --listen"},
		{"half a certificate", "", []string{"--data", t.TempDir(), "--key", plan}, exitUsage, "name both files, or neither"},
		{"no place for the ready file", "", []string{"--data", t.TempDir(), "--listen", "127.0.0.1:0", "--phone-listen", "127.0.0.1:0", "--ready-file", filepath.Join(plan, "x")}, exitTrouble, "--ready-file " + filepath.Join(plan, "x") + ": it cannot be written"},
		{"a key that is none", "", []string{"--data", noKey}, exitTrouble, "Remove it to have a new one made. Or name another data folder with --data"},
		{"no place for the certificate", "", []string{"--data", noCertificate, "--listen", "127.0.0.1:0", "--phone-listen", "127.0.0.1:0"}, exitTrouble, "Name another data folder with --data"},
		{"no place for data", "", []string{"--data", plan}, exitTrouble, "Name another data folder with --data"},
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
	// What a bench had begun before it failed has ended with it.
	left := func() string {
		all := make([]byte, 1<<20)
		return string(all[:runtime.Stack(all, true)])
	}
	for _, of := range []string{"desk.(*Desk).work", "feed.(*Hub).Run"} {
		for deadline := time.Now().Add(5 * time.Second); strings.Contains(left(), of); time.Sleep(10 * time.Millisecond) {
			if time.Now().After(deadline) {
				t.Fatalf("%s goes on", of)
			}
		}
	}
}

// With next to nothing read no cause is likelier than the next, and none is named.
func TestNoCauseOutOfNothing(t *testing.T) {
	status, out, _ := command(`{"type":"start","v":1,"route":"vector"}`+"\n"+`{"type":"wobble","t":1}`+"\n", "judge", demoPlan(t), "-")
	if status != exitUndecided || strings.Contains(out, "the wrong way") || !strings.Contains(out, "Next: A1.") || !strings.Contains(out, "Note: 1 line of a kind") {
		t.Errorf("status %d:\n%s", status, out)
	}
}

// Why names what tells the two explanations apart, in words, and nothing else.
func TestWhyInWords(t *testing.T) {
	plan := demoPlan(t)
	_, capture, _ := command("", "rehearse", plan, "--fault", "coil-reversed:B2")
	status, out, errs := command(capture, "judge", plan, "-", "--why")
	if status != exitFault || !strings.Contains(out, "Why: Coil B2 faces the wrong way.") || !strings.Contains(out, "times less likely: ") || !strings.Contains(out, "times better\n") {
		t.Errorf("status %d, %s:\n%s", status, errs, out)
	}
	for _, word := range []string{"e+", " 0.", " 1 times"} {
		_, because, _ := strings.Cut(out, "Why:")
		if strings.Contains(because, word) {
			t.Errorf("%q in:\n%s", word, because)
		}
	}
}

// TestReadmeExample runs what the README shows, and finds what it shows.
func TestReadmeExample(t *testing.T) {
	t.Chdir("..")
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, example, ok := strings.Cut(string(readme), "    $ polewise ")
	if !ok {
		t.Fatal("no example")
	}
	line, shown, _ := strings.Cut(example, "\n")
	first, second, ok := strings.Cut(line, " | polewise ")
	if !ok {
		t.Fatalf("the example is %q", line)
	}
	_, capture, errs := command("", strings.Fields(first)...)
	_, out, more := command(capture, strings.Fields(second)...)
	shown, _, _ = strings.Cut(shown, "    ...")
	shown = strings.ReplaceAll(strings.TrimPrefix(shown, "    "), "\n    ", "\n")
	if shown == "" || !strings.HasPrefix(out, shown) {
		t.Errorf("the README shows\n%s\nand the program says\n%s%s%s", shown, out, errs, more)
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

// A ready file left by a bench before is gone as long as nothing listens.
func TestReadyFileOfBefore(t *testing.T) {
	ready := filepath.Join(t.TempDir(), "ready.json")
	if err := os.WriteFile(ready, []byte("{}"), 0o600); err != nil {
		t.Fatal(err)
	}
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	status, _, errs := command("", "--data", t.TempDir(), "--listen", taken.Addr().String(), "--ready-file", ready)
	if _, err := os.Lstat(ready); status != exitUnavailable || !os.IsNotExist(err) {
		t.Errorf("status %d, %s; the ready file: %v", status, errs, err)
	}
}

// What rehearse prints is JSON as it stands; to ask for it is no mistake.
func TestRehearseJSON(t *testing.T) {
	plan := demoPlan(t)
	_, plain, _ := command("", "rehearse", plan)
	status, asked, errs := command("", "rehearse", plan, "--json")
	if status != 0 || errs != "" || asked != plain {
		t.Errorf("status %d, stderr %q, other output: %v", status, errs, asked != plain)
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

// TestDamagedData: a spoilt database is told with the way to put a backup back, and
// nothing is begun in it.
func TestDamagedData(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, store.FileName)
	if err := os.WriteFile(path, bytes.Repeat([]byte("spoilt "), 2000), 0o600); err != nil {
		t.Fatal(err)
	}
	status, _, errs := command("", "bench", "--data", dir, "--listen", "127.0.0.1:0", "--phone-listen", "127.0.0.1:0")
	if status != exitTrouble || !strings.Contains(errs, "put the backup in its place") || !strings.Contains(errs, "--data") {
		t.Errorf("status %d: %s", status, errs)
	}
	if raw, err := os.ReadFile(path); err != nil || !bytes.HasPrefix(raw, []byte("spoilt spoilt")) {
		t.Errorf("it was written to (%v)", err)
	}
}

// TestHeadersThatDoNotCome: the server does not wait for ever for the head of a request,
// nor for the next one of a connection.
func TestHeadersThatDoNotCome(t *testing.T) {
	s := server(http.NotFoundHandler(), slog.New(slog.DiscardHandler))
	for name, d := range map[string]time.Duration{"head": s.ReadHeaderTimeout, "next request": s.IdleTimeout} {
		if d <= 0 || d > 5*time.Minute {
			t.Errorf("it waits %v for the %s", d, name)
		}
	}
}
