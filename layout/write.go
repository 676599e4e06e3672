package layout

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// Write writes the plan as a plan file, in the unit it was planned in. Reading
// it again gives the same plan, to the last bit where the plan itself was read
// from a file. Comments of the original are not kept.
func (p *Plan) Write(w io.Writer) error {
	out := bufio.NewWriter(w)
	line := func(format string, args ...any) { fmt.Fprintf(out, format+"\n", args...) }
	unit := p.Unit.Metres()
	length := func(metres float64) string { return inUnits(metres, unit) }

	line("format = 1")
	line("name = %s", tomlText(p.Name))
	line("length_unit = %s", tomlText(string(p.Unit)))
	if p.Outline.X > 0 && p.Outline.Y > 0 {
		line("\n[outline]\nsize = [%s, %s]", length(p.Outline.X), length(p.Outline.Y))
	}

	s := &p.Supply
	line("\n[supply]")
	if s.Volts != 0 {
		line("volts = %s", plain(s.Volts))
	} else {
		line("amps = %s", plain(s.Amps))
	}
	if s.SourceOhms != 0 {
		line("source_ohms = %s", plain(s.SourceOhms))
	}
	if s.LimitAmps != 0 {
		line("limit_amps = %s", plain(s.LimitAmps))
	}
	if s.Pulsed {
		line("drive = \"pulsed\"\nhz = %s\nduty = %s", plain(s.Hz), plain(s.Duty))
	}

	line("\n[sensor]\nabove = %s", length(p.Above))

	for i := range p.Windings {
		k := &p.Windings[i]
		line("\n[[winding]]\nid = %s\nshape = %s", tomlText(k.ID), tomlText(string(k.Shape)))
		if k.Shape == Round {
			line("inner = %s", length(k.InnerX))
		} else {
			line("inner = [%s, %s]", length(k.InnerX), length(k.InnerY))
		}
		if k.Corner != 0 {
			line("corner = %s", length(k.Corner))
		}
		line("turns = %d\nbuild = %s\nwidth = %s", k.Turns, length(k.Build), length(k.Width))
		if math.IsNaN(k.AWG) {
			line("wire_mm = %s", inUnits(k.Wire, 1e-3))
		} else {
			line("wire_awg = %s", plain(k.AWG))
		}
		if k.GivenOhms != 0 {
			line("ohms = %s", plain(k.GivenOhms))
		}
	}

	for j := range p.Coils {
		c := &p.Coils[j]
		line("\n[[coil]]\nid = %s\nwinding = %s\nat = [%s, %s]", tomlText(c.ID), tomlText(p.WindingOf(j).ID), length(c.At.X), length(c.At.Y))
		if c.Turned != 0 {
			line("turned = %s", inUnits(c.Turned, degree))
		}
		if c.North == Down {
			line("north = \"down\"")
		}
		if c.Sense != SenseUnknown {
			line("sense = %s", tomlText(string(c.Sense)))
		}
	}

	for i := range p.Strings {
		ids := make([]string, len(p.Strings[i].Coils))
		for k, j := range p.Strings[i].Coils {
			ids[k] = p.Coils[j].ID
		}
		line("\n[[string]]\nid = %s\ncoils = %s", tomlText(p.Strings[i].ID), tomlTexts(ids))
		if p.Strings[i].LeadOhms != 0 {
			line("lead_ohms = %s", plain(p.Strings[i].LeadOhms))
		}
	}
	for _, g := range p.Groups {
		line("\n[[group]]\nid = %s\njoin = %s\nof = %s", tomlText(g.ID), tomlText(string(g.Join)), tomlTexts(g.Of))
	}
	return out.Flush()
}

// inUnits writes the shortest number that, times the unit, gives exactly x, or
// the nearest there is.
func inUnits(x, unit float64) string {
	best := x / unit
	for _, near := range []float64{best, math.Nextafter(best, math.Inf(1)), math.Nextafter(best, math.Inf(-1))} {
		if near*unit == x {
			best = near
			break
		}
	}
	for digits := 1; digits < 17; digits++ {
		short, err := strconv.ParseFloat(strconv.FormatFloat(best, 'g', digits, 64), 64)
		if err == nil && short*unit == x {
			return plain(short)
		}
	}
	return plain(best)
}

func tomlTexts(texts []string) string {
	quoted := make([]string, len(texts))
	for i, t := range texts {
		quoted[i] = tomlText(t)
	}
	return "[" + strings.Join(quoted, ", ") + "]"
}

// tomlText writes a basic string: quotes, backslashes and control characters
// are escaped, all else stands for itself.
func tomlText(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < 0x20 || r == 0x7f:
			fmt.Fprintf(&b, "\\u%04X", r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
