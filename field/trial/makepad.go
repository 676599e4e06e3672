package trial

import (
	"fmt"
	"math"
	"slices"
	"strconv"
)

// makePad draws a pad as people build them: 4 to 20 coils of 50 to 140 mm, 20
// to 120 turns of AWG 18 to 26, in one to six strings.
func makePad(r random) *pad {
	p := &pad{unit: "mm", above: 6e-3}
	if r.chance(0.12) {
		p.unit = pick(r, "cm", "in")
	}
	if r.chance(0.3) {
		p.above = float64(r.whole(4, 12)) * 1e-3
	}
	n := r.whole(4, 20)
	p.name = fmt.Sprintf("Trial pad, %d coils", n)

	kinds := 1
	if r.chance(0.2) {
		kinds = 2
	}
	for i := range kinds {
		p.kinds = append(p.kinds, makeKind(r, "w"+strconv.Itoa(i+1)))
	}
	p.lay(r, n)
	p.string(r)
	p.group(r)
	if r.chance(0.18) {
		if r.chance(0.5) {
			for j := range p.coils {
				p.coils[j].down = j%2 == 1
			}
		} else {
			for j := range p.coils {
				p.coils[j].down = r.chance(0.3)
			}
		}
	}
	p.power(r)
	return p
}

func half(x float64) float64 { return math.Round(x*2000) / 2000 } // to half a millimetre

func makeKind(r random, id string) *kind {
	for range 1000 {
		k := &kind{id: id, shape: "round", turns: r.whole(20, 120), awg: float64(r.whole(18, 26))}
		d := bareDiameter(k.awg)*1.07 + 0.05e-3
		section := float64(k.turns) * d * d * r.between(1.02, 1.3)
		outer := r.between(0.050, 0.140)
		k.width = half(math.Max(r.between(0.004, 0.014), 1.5*d))
		k.build = math.Ceil(section/k.width*2000) / 2000
		if k.build < d {
			k.build = math.Ceil(d*2000) / 2000
		}
		k.innerX = half(outer - 2*k.build)
		if k.build > outer/5 || k.innerX < 0.018 {
			continue
		}
		k.innerY = k.innerX
		if r.chance(0.22) {
			k.shape = pick(r, "oblong", "rectangle")
			k.innerY = half(k.innerX * r.between(0.5, 0.9))
			if r.chance(0.3) {
				k.innerX, k.innerY = k.innerY, k.innerX
			}
			if k.shape == "rectangle" && r.chance(0.8) {
				k.corner = half(math.Min(k.innerX, k.innerY) * r.between(0.05, 0.35))
			}
			if math.Min(k.innerX, k.innerY) < 0.018 {
				continue
			}
		}
		if r.chance(0.3) {
			k.givenOhms = math.Round(k.ohms20()*(1+r.normal(0.02))*100) / 100
			if k.givenOhms < 0.1 {
				k.givenOhms = 0
			}
		}
		k.wound = wind(k)
		return k
	}
	panic("trial: no coil fits its section")
}

// lay puts the coils on the pad: rows that are level or staggered, close or
// wide.
func (p *pad) lay(r random, n int) {
	turn := 0.0
	if r.chance(0.3) {
		turn = pick(r, 90.0, 45, 30, -20) * math.Pi / 180
	}
	sizeX, sizeY := 0.0, 0.0
	for _, k := range p.kinds {
		hx, hy := k.half()
		if k.shape != "round" {
			s, c := math.Sincos(turn)
			hx, hy = math.Abs(c)*hx+math.Abs(s)*hy, math.Abs(s)*hx+math.Abs(c)*hy
		}
		sizeX, sizeY = math.Max(sizeX, 2*hx), math.Max(sizeY, 2*hy)
	}
	gap := r.between(1.02, 1.12)
	if r.chance(0.5) {
		gap = r.between(1.12, 1.8)
	}
	pitchX, pitchY := half(sizeX*gap)+0.001, half(sizeY*gap)+0.001
	staggered := r.chance(0.25)
	if staggered && p.kinds[0].shape == "round" && len(p.kinds) == 1 {
		pitchY = half(pitchX*0.87) + 0.0005
	}
	columns := min(n, r.whole(int(math.Ceil(math.Sqrt(float64(n))*0.75)), int(math.Ceil(math.Sqrt(float64(n))*1.5))))
	if n <= 7 && r.chance(0.3) {
		columns = n
	}
	loose := 0.0 // by how much places are off the grid
	if r.chance(0.2) {
		loose = 0.4 * (gap - 1) * math.Min(sizeX, sizeY)
	}
	left, below := half(sizeX/2+0.02), half(sizeY/2+0.02)
	rowCount := (n + columns - 1) / columns
	for j := range n {
		row, col := j/columns, j%columns
		c := padCoil{kind: p.kinds[0], x: left + float64(col)*pitchX, y: below + float64(rowCount-1-row)*pitchY}
		if len(p.kinds) > 1 && (row+col)%2 == 1 {
			c.kind = p.kinds[1]
		}
		if staggered && row%2 == 1 {
			c.x += half(pitchX / 2)
		}
		if loose > 0 {
			c.x += half(r.between(-loose, loose) / 2)
			c.y += half(r.between(-loose, loose) / 2)
		}
		if c.kind.shape != "round" {
			c.turned = turn
		}
		if row == len(p.rows) {
			p.rows = append(p.rows, nil)
		}
		p.rows[row] = append(p.rows[row], j)
		p.coils = append(p.coils, c)
		p.size[0] = math.Max(p.size[0], c.x+left)
		p.size[1] = math.Max(p.size[1], c.y+below)
	}
}

// string joins the coils into one to six strings.
func (p *pad) string(r random) {
	n := len(p.coils)
	count := min(r.whole(1, 6), n/2)
	var cuts []int // where strings end
	if r.chance(0.6) {
		for i := range count {
			cuts = append(cuts, n*(i+1)/count)
		}
	} else {
		for len(cuts) < count-1 {
			at := r.whole(1, n-1)
			if !slices.Contains(cuts, at) {
				cuts = append(cuts, at)
			}
		}
		slices.Sort(cuts)
		cuts = append(cuts, n)
	}
	order := make([]int, n)
	for j := range order {
		order[j] = j
	}
	if r.chance(0.2) {
		r.Shuffle(n, func(i, j int) { order[i], order[j] = order[j], order[i] })
	}
	numbered := r.chance(0.15)
	from := 0
	lead := 0.0
	if r.chance(0.7) {
		lead = math.Round(r.between(0.02, 0.15)*100) / 100
	}
	for i, to := range cuts {
		s := padString{id: string(rune('A' + i)), leadOhms: lead}
		for k, j := range order[from:to] {
			s.coils = append(s.coils, j)
			p.coils[j].id = s.id + strconv.Itoa(k+1)
			if numbered {
				p.coils[j].id = strconv.Itoa(j + 1)
			}
		}
		p.strings = append(p.strings, s)
		from = to
	}
}

// group joins the strings of some pads in groups.
func (p *pad) group(r random) {
	n := len(p.strings)
	if n < 2 || !r.chance(0.22) {
		return
	}
	var ids []string
	for _, s := range p.strings {
		ids = append(ids, s.id)
	}
	series := r.chance(0.5)
	if n < 4 {
		p.groups = []padGroup{{"all", series, ids}}
		return
	}
	p.groups = []padGroup{
		{"left", !series, ids[:n/2]},
		{"right", !series, ids[n/2:]},
		{"whole", series, []string{"left", "right"}},
	}
}

// power sets a supply that gives a field of 80 to 1500 uT over the coils, or
// sometimes less.
func (p *pad) power(r random) {
	p.supply.volts = 1
	w, err := p.build(nil, nil)
	if err != nil {
		panic("trial: " + err.Error())
	}
	f := w.drive()
	var over []float64
	most := 0.0 // share of a coil's safe current at one volt
	for j := range p.coils {
		c := &p.coils[j]
		over = append(over, math.Abs(p.field(f.amps, f.share, vec{c.x, c.y, p.sensorHeight(j)})[2]))
		d := bareDiameter(c.kind.awg) * 1e3
		most = math.Max(most, math.Abs(f.amps[j])/(5*math.Pi*d*d/4)) // 5 A/mm2, for a while
	}
	slices.Sort(over)
	target := r.logBetween(80, 1500)
	if r.chance(0.1) {
		target = r.between(35, 80)
	}
	volts := math.Min(target/over[len(over)/2], math.Min(1/most, 10*f.padOhms))
	amps := volts / f.padOhms
	s := supply{}
	figure := func(x float64) float64 {
		unit := math.Pow(10, math.Floor(math.Log10(x))-1)
		return math.Round(math.Round(x/unit)*unit*1e6) / 1e6
	}
	if r.chance(0.7) {
		if r.chance(0.3) {
			s.sourceOhms = math.Round(r.between(0.02, 0.4)*100) / 100
		}
		s.volts = figure(volts * (1 + s.sourceOhms/f.padOhms))
	} else {
		s.amps = figure(amps)
	}
	if r.chance(0.6) {
		s.limitAmps = figure(amps * r.between(1.15, 2.5))
	}
	p.supply = s
}
