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

// BenchmarkVerdict judges finished captures. A warm model is what the bench
// page has; a cold one is what the judge command makes.
func BenchmarkVerdict(b *testing.B) {
	known := rehearsal.Defaults()
	known.Rest, known.TellOffsetMM = rehearsal.RestHolds, 4
	known.OffsetMM = &[2]float64{2, 18}
	unknown := rehearsal.Defaults()
	unknown.OffsetMM = &[2]float64{2, 18}
	var base time.Duration
	for _, tc := range []struct {
		name   string
		nx, ny int
		o      rehearsal.Options
	}{
		{"20-coils/offset-known", 5, 4, known},
		{"20-coils/offset-unknown", 5, 4, unknown},
		{"50-coils/offset-known", 10, 5, known},
		{"100-coils/offset-known", 10, 10, known},
		{"200-coils/offset-known", 10, 20, known},
	} {
		p := grid(tc.nx, tc.ny)
		tc.o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "S2C3"}}
		captures := capturesOf(p, tc.o)
		for _, warm := range []bool{false, true} {
			name := tc.name + "/cold"
			if warm {
				name = tc.name + "/warm"
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

// BenchmarkLive judges what the bench page gets when a hold ends, right after the
// verdict on the holds before it, against judging the same with a new model.
func BenchmarkLive(b *testing.B) {
	known := rehearsal.Defaults()
	known.Rest, known.TellOffsetMM = rehearsal.RestHolds, 4
	known.OffsetMM = &[2]float64{2, 18}
	unknown := rehearsal.Defaults()
	unknown.OffsetMM = &[2]float64{2, 18}
	for _, tc := range []struct {
		name string
		o    rehearsal.Options
	}{{"offset-known", known}, {"offset-unknown", unknown}} {
		p := grid(5, 4)
		tc.o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "S2C3"}}
		made, err := rehearsal.Make(p, tc.o)
		if err != nil {
			b.Fatal(err)
		}
		upTo := func(holds int) *capture.Capture {
			n := 0
			for ; holds > 0; n++ {
				if _, ok := made.Lines[n].(capture.Lift); ok {
					holds--
				}
			}
			c, err := capture.FromLines(made.Lines[:n])
			if err != nil {
				b.Fatal(err)
			}
			return c
		}
		before, now := upTo(19), upTo(20)
		var whole time.Duration
		for _, live := range []bool{false, true} {
			b.Run(fmt.Sprintf("20-coils/%s/live=%v", tc.name, live), func(b *testing.B) {
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
