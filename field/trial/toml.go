package trial

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// toml writes a pad as a plan file.
func (p *pad) toml() []byte {
	var b strings.Builder
	say := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	unit := map[string]float64{"mm": 1e-3, "cm": 1e-2, "in": 0.0254}[p.unit]
	l := func(metres float64) string { return strconv.FormatFloat(metres/unit, 'g', 10, 64) }
	n := func(x float64) string { return strconv.FormatFloat(x, 'g', 10, 64) }
	list := func(ids []string) string {
		var q []string
		for _, id := range ids {
			q = append(q, strconv.Quote(id))
		}
		return "[" + strings.Join(q, ", ") + "]"
	}
	say("format = 1\nname = %q", p.name)
	if p.unit != "mm" {
		say("length_unit = %q", p.unit)
	}
	say("\n[outline]\nsize = [%s, %s]", l(p.size[0]), l(p.size[1]))
	say("\n[supply]")
	if p.supply.volts > 0 {
		say("volts = %s", n(p.supply.volts))
	} else {
		say("amps = %s", n(p.supply.amps))
	}
	if p.supply.sourceOhms > 0 {
		say("source_ohms = %s", n(p.supply.sourceOhms))
	}
	if p.supply.limitAmps > 0 {
		say("limit_amps = %s", n(p.supply.limitAmps))
	}
	if p.supply.pulsed {
		say("drive = \"pulsed\"\nhz = %s\nduty = %s", n(p.supply.hz), n(p.supply.duty))
	}
	say("\n[sensor]\nabove = %s", l(p.above))
	for _, k := range p.kinds {
		say("\n[[winding]]\nid = %q\nshape = %q", k.id, k.shape)
		if k.shape == "round" {
			say("inner = %s", l(k.innerX))
		} else {
			say("inner = [%s, %s]", l(k.innerX), l(k.innerY))
		}
		if k.shape == "rectangle" && k.corner > 0 {
			say("corner = %s", l(k.corner))
		}
		say("turns = %d\nbuild = %s\nwidth = %s\nwire_awg = %s", k.turns, l(k.build), l(k.width), n(k.awg))
		if k.givenOhms > 0 {
			say("ohms = %s", n(k.givenOhms))
		}
	}
	for _, c := range p.coils {
		say("\n[[coil]]\nid = %q\nwinding = %q\nat = [%s, %s]", c.id, c.kind.id, l(c.x), l(c.y))
		if c.turned != 0 {
			say("turned = %s", n(math.Round(c.turned*180/math.Pi*100)/100))
		}
		if c.down {
			say("north = \"down\"")
		}
	}
	for _, s := range p.strings {
		var ids []string
		for _, j := range s.coils {
			ids = append(ids, p.coils[j].id)
		}
		say("\n[[string]]\nid = %q\ncoils = %s", s.id, list(ids))
		if s.leadOhms > 0 {
			say("lead_ohms = %s", n(s.leadOhms))
		}
	}
	for _, g := range p.groups {
		join := "parallel"
		if g.series {
			join = "series"
		}
		say("\n[[group]]\nid = %q\njoin = %q\nof = %s", g.id, join, list(g.of))
	}
	return []byte(b.String())
}
