package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"polewise/assets"
	"polewise/field/planning"
	"polewise/layout"
)

// TestCards pins what --cards prints, word for word: polewise predict
// assets/demo/ring.toml --cards --room 23 --slack 20.
func TestCards(t *testing.T) {
	want, err := os.ReadFile("testdata/ring-cards.txt")
	if err != nil {
		t.Fatal(err)
	}
	status, out, errs := command("", "predict", "../assets/demo/ring.toml", "--cards", "--room", "23", "--slack", "20")
	if status != 0 || errs != "" || out != string(want) {
		t.Errorf("status %d, %s\n%s", status, errs, out)
	}
	for line := range strings.Lines(out) {
		if n := len([]rune(strings.TrimRight(line, "\n"))); n > 80 {
			t.Errorf("%d characters: %s", n, line)
		}
	}
}

// cannotBeBuilt is the demo with its first two coils overlapping and far more
// turns than there is room for.
func cannotBeBuilt(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("../assets/demo/kennel.toml")
	if err != nil {
		t.Fatal(err)
	}
	s := strings.Replace(string(text), "at = [240, 390]", "at = [110, 390]", 1)
	s = strings.Replace(s, "turns = 60", "turns = 600", 1)
	path := filepath.Join(t.TempDir(), "tight.toml")
	if err := os.WriteFile(path, []byte(s), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

type printed struct {
	Coils    []struct{ ID string }
	Planning *planning.Figures
	Problems []layout.Problem
}

func TestUnbuildableIsPredicted(t *testing.T) {
	path := cannotBeBuilt(t)
	status, out, errs := command("", "predict", path, "--json")
	var p printed
	if err := json.Unmarshal([]byte(out), &p); err != nil {
		t.Fatal(err, errs)
	}
	if status != exitData || len(p.Coils) != 9 || p.Planning == nil || len(p.Planning.Windings) != 1 {
		t.Errorf("status %d, %d coils, planning %+v", status, len(p.Coils), p.Planning)
	}
	if len(p.Problems) != 2 {
		t.Fatalf("%+v", p.Problems)
	}
	for _, q := range p.Problems {
		if !q.Unbuildable || q.Remedy == "" || !strings.Contains(errs, q.Say) || !strings.Contains(errs, q.Remedy) {
			t.Errorf("%+v is not told in %q", q, errs)
		}
	}
	for _, kind := range []string{"--cards", ""} {
		args := []string{"predict", path}
		if kind != "" {
			args = append(args, kind)
		}
		if status, out, errs := command("", args...); status != exitData || !strings.Contains(out, "600 turns") || !strings.Contains(errs, "overlaps") {
			t.Errorf("%v: status %d\n%s\n%s", args, status, out, errs)
		}
	}
}

func TestPlanningFlags(t *testing.T) {
	status, out, errs := command("", "predict", demoPlan(t), "--json", "--room", "25", "--spool", "0.1", "--slack", "50", "--tail", "400")
	var p printed
	if err := json.Unmarshal([]byte(out), &p); err != nil || status != 0 {
		t.Fatal(status, err, errs)
	}
	f := p.Planning
	// 400 mm at each end of the coil; copper rises 0.393 percent a kelvin.
	if f.RoomCelsius != 25 || f.Cut.SlackShare != 0.5 || f.Windings[0].CutM-f.Windings[0].WireM-0.8 > 1e-9 {
		t.Errorf("%+v", f.Windings)
	}
	if r := f.Pad.OhmsRoom / f.Pad.Ohms20; r < 1.01964 || r > 1.01966 {
		t.Errorf("pad %.5f times at 25 C of what it is at 20", r)
	}
	if p.Problems == nil || len(p.Problems) != 0 {
		t.Errorf("problems %v of a plan without", p.Problems)
	}
	for _, args := range [][]string{{"--room", "900"}, {"--spool", "0"}, {"--slack", "-1"}, {"--slack", "501"}, {"--tail", "nan"}, {"--json", "--cards"}} {
		status, out, errs := command("", append([]string{"predict", demoPlan(t)}, args...)...)
		if status != exitUsage || out != "" || !strings.Contains(errs, "expected") {
			t.Errorf("%v: status %d, %q, %q", args, status, out, errs)
		}
	}
}

// A plan comes from elsewhere: what its name holds is printed, not obeyed by the
// terminal.
func TestNameIsPrintedOnOneLine(t *testing.T) {
	file := filepath.Join(t.TempDir(), "pad.toml")
	text := strings.Replace(string(assets.Demo()), `name = "`, `name = "\u001b[2J\u009b1A\n`, 1)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{nil, {"--cards"}} {
		status, out, errs := command("", append([]string{"predict", file}, args...)...)
		if first, _, _ := strings.Cut(out, "\n"); status != 0 || !strings.HasPrefix(first, " [2J 1A Kennel bed") {
			t.Errorf("%v: status %d, %q, %s", args, status, first, errs)
		}
	}
}

func TestMap(t *testing.T) {
	dir := t.TempDir()
	for name, begins := range map[string]string{"field.svg": "<?xml", "field.png": "\x89PNG", "field.csv": "# Kennel"} {
		file := filepath.Join(dir, name)
		if status, _, errs := command("", "predict", demoPlan(t), "--map", file, "--map-grid", "40"); status != 0 {
			t.Fatal(errs)
		}
		raw, err := os.ReadFile(file)
		if err != nil || !strings.HasPrefix(string(raw), begins) {
			t.Errorf("%s begins %q, %v", name, raw[:min(len(raw), 10)], err)
		}
	}
	// Several at once, each in its form.
	both := []string{filepath.Join(dir, "a.svg"), filepath.Join(dir, "b.csv")}
	if status, _, errs := command("", "predict", demoPlan(t), "--map", both[0], "--map", both[1], "--map-grid", "40"); status != 0 {
		t.Fatal(errs)
	}
	for _, file := range both {
		if _, err := os.Stat(file); err != nil {
			t.Error(err)
		}
	}
	for _, args := range [][]string{
		{"--map", "field.gif"}, {"--map", filepath.Join(dir, "nowhere", "field.svg")}, {"--map", "x.svg", "--map-lines", "all"},
		{"--map", "x.png", "--map-size", "1"}, {"--map", filepath.Join(dir, "x.csv"), "--map-grid", "0"},
	} {
		if status, out, errs := command("", append([]string{"predict", demoPlan(t)}, args...)...); status != exitUsage || out != "" || !strings.Contains(errs, "map") {
			t.Errorf("%v: status %d, %s", args, status, errs)
		}
	}
}
