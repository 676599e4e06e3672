package verdict_test

import (
	"fmt"
	"testing"
	"time"

	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/field/verdict"
	"polewise/layout"
)

// grid is a pad of round coils in strings along its rows.
func grid(nx, ny int) *layout.Plan {
	text := fmt.Sprintf("format = 1\nname = \"grid\"\n[supply]\nvolts = %g\n[[winding]]\nid = \"r\"\nshape = \"round\"\ninner = 80\nturns = 50\nbuild = 6\nwidth = 8\nwire_awg = 22\n", 0.7*float64(nx))
	for y := range ny {
		ids := ""
		for x := range nx {
			id := fmt.Sprintf("S%dC%d", y+1, x+1)
			text += fmt.Sprintf("[[coil]]\nid = %q\nwinding = \"r\"\nat = [%d, %d]\n", id, 60+110*x, 60+110*y)
			ids += fmt.Sprintf("%q,", id)
		}
		text += fmt.Sprintf("[[string]]\nid = \"S%d\"\ncoils = [%s]\n", y+1, ids)
	}
	p, err := layout.Parse("grid", []byte(text))
	if err != nil {
		panic(err)
	}
	return p
}

func capturesOf(p *layout.Plan, o rehearsal.Options) []*capture.Capture {
	made, err := rehearsal.Make(p, o)
	if err != nil {
		panic(err)
	}
	c, err := capture.FromLines(made.Lines)
	if err != nil {
		panic(err)
	}
	return []*capture.Capture{c}
}

// readings are the ways a phone with its sensor in one place may read a pad.
func readings() map[string]rehearsal.Options {
	out := map[string]rehearsal.Options{}
	for _, known := range []bool{true, false} {
		holds := rehearsal.Defaults()
		holds.OffsetMM = &[2]float64{2, 18}
		name := "offset-unknown"
		if known {
			holds.TellOffsetMM = 4
			name = "offset-known"
		}
		passes, headings := holds, holds
		passes.Passes = true
		headings.Route = capture.Heading
		if known {
			holds.Rest = rehearsal.RestHolds
		}
		out[name], out["passes/"+name], out["headings/"+name] = holds, passes, headings
	}
	return out
}

// BenchmarkVerdict judges finished captures. A warm model is what the bench
// page has; a cold one is what the judge command makes.
func BenchmarkVerdict(b *testing.B) {
	var base time.Duration
	for _, tc := range []struct {
		read   string
		nx, ny int
	}{
		{"offset-known", 5, 4},
		{"offset-unknown", 5, 4},
		{"passes/offset-known", 5, 4},
		{"passes/offset-unknown", 5, 4},
		{"headings/offset-known", 5, 4},
		{"headings/offset-unknown", 5, 4},
		{"offset-known", 10, 5},
		{"offset-known", 10, 10},
		{"offset-known", 10, 20},
	} {
		p := grid(tc.nx, tc.ny)
		o := readings()[tc.read]
		o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "S2C3"}}
		captures := capturesOf(p, o)
		for _, warm := range []bool{false, true} {
			name := fmt.Sprintf("%d-coils/%s/cold", tc.nx*tc.ny, tc.read)
			if warm {
				name = fmt.Sprintf("%d-coils/%s/warm", tc.nx*tc.ny, tc.read)
			}
			b.Run(name, func(b *testing.B) {
				m, err := verdict.Warm(p)
				if err != nil {
					b.Fatal(err)
				}
				if warm {
					if _, err := m.Judge(captures...); err != nil {
						b.Fatal(err)
					}
				}
				for b.Loop() {
					if !warm {
						if m, err = verdict.Warm(p); err != nil {
							b.Fatal(err)
						}
					}
					if _, err := m.Judge(captures...); err != nil {
						b.Fatal(err)
					}
				}
				each := b.Elapsed() / time.Duration(b.N)
				if base == 0 {
					base = each
				}
				b.ReportMetric(float64(each)/float64(base), "x-20-coils-cold")
			})
		}
	}
}

// BenchmarkLive judges what the bench page gets when a hold or a pass ends, right
// after the verdict on those before it, against judging the same with a new model.
func BenchmarkLive(b *testing.B) {
	p := grid(5, 4)
	for _, name := range []string{"offset-known", "offset-unknown", "passes/offset-known", "passes/offset-unknown", "headings/offset-known", "headings/offset-unknown"} {
		o := readings()[name]
		o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "S2C3"}}
		stages := stagesOf(b, p, o)
		before, now := stages[len(stages)-2], stages[len(stages)-1]
		var whole time.Duration
		for _, live := range []bool{false, true} {
			b.Run(fmt.Sprintf("20-coils/%s/live=%v", name, live), func(b *testing.B) {
				var each time.Duration
				for b.Loop() {
					b.StopTimer()
					m, err := verdict.Warm(p)
					if err != nil {
						b.Fatal(err)
					}
					if live {
						if _, err := m.Judge(before); err != nil {
							b.Fatal(err)
						}
					}
					b.StartTimer()
					if _, err := m.Judge(now); err != nil {
						b.Fatal(err)
					}
				}
				each = b.Elapsed() / time.Duration(b.N)
				if !live {
					whole = each
				}
				b.ReportMetric(float64(each)/float64(whole), "x-whole")
			})
		}
	}
}

// stagesOf is a made-up capture as it stood when each of its holds or passes ended.
func stagesOf(t testing.TB, p *layout.Plan, o rehearsal.Options) (out []*capture.Capture) {
	made, err := rehearsal.Make(p, o)
	if err != nil {
		t.Fatal(err)
	}
	for n, line := range made.Lines {
		switch line.(type) {
		case capture.Lift, capture.PassEnd:
			c, err := capture.FromLines(made.Lines[:n+1])
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, c)
		}
	}
	return out
}
