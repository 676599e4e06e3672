package record

import (
	"context"
	"math"
	"slices"
	"strings"

	"polewise/field/capture"
	"polewise/field/fieldmap"
	"polewise/field/planning"
	"polewise/field/predict"
	"polewise/field/verdict"
	"polewise/layout"
)

// Source is what one phone or feed sent, cut into captures.
type Source struct {
	ID       string
	Captures []*capture.Capture
	// Newest has the places whose ohms were read last here; nil: all of them.
	Newest map[string]bool
}

// Collect puts together everything that a record says of a pad besides who
// signs it and when.
func Collect(plan *layout.Plan, toml string, v *verdict.Verdict, sources []Source) (*Record, error) {
	r := &Record{Type: recordType, V: recordVersion, Verdict: v, Cautions: cautions, Ohms: []Ohm{}, Readings: []Reading{}, Phones: []Phone{}, Plan: Plan{Name: plan.Name, TOML: toml}}
	var err error
	if r.Predicted, err = predict.Predict(plan, nil); err != nil {
		return nil, err
	}
	r.Readings, r.Phones, r.Ohms = readings(plan, sources)
	if r.Coils, err = coils(plan, sources); err != nil {
		return nil, err
	}
	return r, nil
}

// mapPoints is how many points the longer side of a record's map has.
const mapPoints = 64

// AddMap works out the predicted field for the record's map.
func (r *Record) AddMap(ctx context.Context, plan *layout.Plan) (err error) {
	r.Map, err = fieldmap.SamplePage(ctx, plan, mapPoints, 1, nil)
	return err
}

// OpenOf tells what stands against signing: coils without the claim, ohms
// against the plan or not read, wiring, and what was read before a mend only.
func OpenOf(plan *layout.Plan, v *verdict.Verdict, ohms []Ohm, before []string) Open {
	o := Open{Coils: []string{}, Ohms: []string{}, Unread: !ohmsOfAll(plan, ohms)}
	for _, c := range v.Coils {
		if Claim(c) != verdict.StateAsPlanned {
			o.Coils = append(o.Coils, c.ID)
		}
	}
	for _, m := range ohms {
		if m.Counts && !m.Agrees {
			o.Ohms = append(o.Ohms, m.Across)
		}
	}
	switch {
	case len(before) > 0:
		o.Wiring = "Not read since the mend: " + strings.Join(before, ", ") + "."
	case len(o.Coils) > 0 || v.Outcome == verdict.AsPlanned:
	case v.Outcome == verdict.Fault && len(v.Causes) > 0:
		o.Wiring = v.Causes[0].Say
	default:
		o.Wiring = "The wiring as a whole is not decided."
	}
	return o
}

// ohmsOfAll tells whether the ohms of the whole wiring were read: of the pad, of
// every string or of every coil.
func ohmsOfAll(plan *layout.Plan, ohms []Ohm) bool {
	read := map[string]bool{}
	for _, m := range ohms {
		read[m.Across] = read[m.Across] || m.Counts
	}
	strings, coils := true, true
	for i := range plan.Strings {
		strings = strings && read["string:"+plan.Strings[i].ID]
	}
	for i := range plan.Coils {
		coils = coils && read["coil:"+plan.Coils[i].ID]
	}
	return read["pad"] || strings || coils
}

// Ohms puts the ohmmeter readings beside the plan, the last of each counting.
func Ohms(plan *layout.Plan, sources []Source) []Ohm {
	_, _, o := readings(plan, sources)
	return o
}

func readings(plan *layout.Plan, sources []Source) (list []Reading, phones []Phone, ohms []Ohm) {
	list, phones, ohms = []Reading{}, []Phone{}, []Ohm{}
	for _, s := range sources {
		for _, c := range s.Captures {
			p := Phone{Source: s.ID, Device: c.Start.Device, Route: string(c.Start.Route)}
			if c.Start.Sensor != nil {
				p.OffsetMM = c.Start.Sensor.OffsetMM
			}
			cut := c.Cut()
			for _, h := range cut.Holds {
				if h.Open {
					continue
				}
				m := Reading{Kind: "hold", Source: s.ID, At: []string{h.Hold.Coil}, T: h.From, Samples: len(h.B) + len(h.Bearings), MeanUT: mean(driven(cut, h.B))}
				m.OffDeg, m.OnDeg = Settled(cut, &h)
				list = append(list, m)
			}
			for _, h := range cut.Passes {
				if h.Open {
					continue
				}
				list = append(list, Reading{Kind: "pass", Source: s.ID, At: h.Pass.Along, T: h.From, Samples: len(h.B)})
			}
			for _, h := range cut.Readings {
				list = append(list, Reading{Kind: "hand", Source: s.ID, At: []string{h.Coil}, T: h.T, Samples: 1, Face: string(h.Face), UT: h.UT})
			}
			for _, l := range c.Lines {
				switch l.(type) {
				case capture.B, capture.Bearing, capture.Reading:
					p.Samples++
				}
			}
			for _, o := range cut.Ohms {
				a, ok := planning.OhmsAgree(plan, o.Across, o.Ohms, o.Celsius)
				if !ok {
					continue
				}
				counts := s.Newest == nil || s.Newest[o.Across]
				for i := range ohms {
					if counts && ohms[i].Across == o.Across {
						ohms[i].Counts = false
					}
				}
				ohms = append(ohms, Ohm{Across: o.Across, Ohms: o.Ohms, Celsius: o.Celsius, Planned: micro(a.Planned), Low: micro(a.Low), High: micro(a.High), Agrees: a.Agrees, Counts: counts})
			}
			if p.Samples > 0 || len(cut.Ohms) > 0 {
				phones = append(phones, p)
			}
		}
	}
	return list, phones, ohms
}

// settledBearings are the last of a state of the supply, in which a compass shows where
// it came to rest.
const settledBearings = 8

// Settled is where a compass came to rest in a hold, clockwise from north, with the
// supply off and on; nil where it was not so, or nobody told.
func Settled(cut *capture.Stretches, h *capture.Stretch) (off, on *float64) {
	by := map[capture.DriveState][]float64{}
	for _, b := range h.Bearings {
		if d, known := cut.DriveAt(b.T); known {
			by[d.State] = append(by[d.State], b.Deg)
		}
	}
	rest := func(s capture.DriveState) *float64 {
		all := by[s]
		if len(all) == 0 {
			return nil
		}
		var x, y float64
		for _, deg := range all[max(0, len(all)-settledBearings):] {
			sin, cos := math.Sincos(deg * math.Pi / 180)
			x, y = x+cos, y+sin
		}
		deg := math.Mod(math.Round(math.Atan2(y, x)*1800/math.Pi)/10+360, 360)
		return &deg
	}
	return rest(capture.Off), rest(capture.On)
}

// driven leaves out samples with the supply off: their mean with the others says
// nothing. Where it was off throughout, all stay.
func driven(cut *capture.Stretches, b []capture.B) []capture.B {
	on := slices.DeleteFunc(slices.Clone(b), func(s capture.B) bool {
		d, known := cut.DriveAt(s.T)
		return known && d.State == capture.Off
	})
	if len(on) == 0 {
		return b
	}
	return on
}

func mean(b []capture.B) *[3]float64 {
	if len(b) == 0 {
		return nil
	}
	var m [3]float64
	for _, s := range b {
		for a := range m {
			m[a] += s.UT[a] / float64(len(b))
		}
	}
	for a := range m {
		m[a] = math.Round(m[a]*100) / 100
	}
	return &m
}

// micro leaves enough digits for the page to round by itself: what is rounded twice
// may come to another last digit than elsewhere.
func micro(x float64) float64 { return math.Round(x*1e6) / 1e6 }

// coils works out how well each coil's field is known: by its own holds, as
// good as their number, or as one hold where there is none.
func coils(plan *layout.Plan, sources []Source) ([]Coil, error) {
	m, err := verdict.Warm(plan)
	if err != nil {
		return nil, err
	}
	type laid struct {
		offset  [2]float64
		top     float64
		ownRest bool
		n       int
	}
	how := make([]laid, len(plan.Coils))
	for _, s := range sources {
		for _, c := range s.Captures {
			cut := c.Cut()
			for _, h := range cut.Holds {
				j := plan.CoilIndex(h.Hold.Coil)
				if j < 0 || h.Open {
					continue
				}
				l := laid{top: h.TopDeg, n: how[j].n + 1}
				if c.Start.Sensor != nil && c.Start.Sensor.OffsetMM != nil {
					o := c.Start.Sensor.OffsetMM
					l.offset = [2]float64{o[0] / 1000, o[1] / 1000}
				}
				l.ownRest = slices.ContainsFunc(cut.Drives, func(d capture.Drive) bool { return d.T > h.From && d.T < h.To })
				how[j] = l
			}
		}
	}
	out := make([]Coil, len(plan.Coils))
	for j := range plan.Coils {
		sd := m.RepeatSD(j, how[j].offset, how[j].top, how[j].ownRest, how[j].n)
		out[j] = Coil{ID: plan.Coils[j].ID, String: plan.Strings[plan.StringOf(j)].ID, North: plan.Coils[j].North.String(), ErrorUT: math.Round(sd*10) / 10}
	}
	return out, nil
}

// Shares of one coil's turns that may be shorted unseen.
const (
	worthUnseen = 0.15 // the least that is worth a word
	fieldUnseen = 0.20 // what a coil claimed as planned by the size of its field may have lost (an estimate, no source)
)

// TurnsUnseen is how many percent of one coil's turns may be shorted in a pad that is claimed
// as planned, with the ohms that count within the plan's bounds; 0 where that is worth no word.
func TurnsUnseen(plan *layout.Plan, v *verdict.Verdict, ohms []Ohm) int {
	var noted []planning.Noted
	for _, o := range ohms {
		if o.Counts {
			noted = append(noted, planning.Noted{Across: o.Across, Ohms: o.Ohms, Celsius: o.Celsius})
		}
	}
	share := planning.TurnsUnseen(plan, noted)
	if !slices.ContainsFunc(v.Coils, func(c verdict.Coil) bool { return c.MeasuredUT == nil }) {
		share = min(share, fieldUnseen)
	}
	if share < worthUnseen {
		return 0
	}
	return int(math.Round(100 * share))
}
