package main

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"polewise/field/planning"
	"polewise/layout"
)

// cardWidth is the width of printed cards, in characters.
const cardWidth = 78

// printCards prints what to have at hand while winding, cutting and joining.
func printCards(w io.Writer, plan *layout.Plan, f *planning.Figures) error {
	c := &cards{b: bufio.NewWriter(w)}
	fmt.Fprintf(c.b, "%s\n%s\n", plan.Title(), strings.Repeat("=", min(len([]rune(plan.Title())), cardWidth)))
	c.windings(f)
	c.cut(f)
	c.ohms(f)
	c.driven(f)
	c.check(f)
	c.warnings(f)
	fmt.Fprintf(c.b, "\n%s\n", cautions)
	return c.b.Flush()
}

type cards struct{ b *bufio.Writer }

func (c *cards) heading(format string, args ...any) {
	fmt.Fprintf(c.b, "\n%s\n%s\n", fmt.Sprintf(format, args...), strings.Repeat("-", cardWidth))
}

// item prints text beside a label, wrapped, later lines below the first.
func (c *cards) item(label, text string) { c.wrapped(fmt.Sprintf("%-10s", label), text) }

// list prints things to do, the label beside the first.
func (c *cards) list(label string, things []string) {
	for _, t := range things {
		c.wrapped(fmt.Sprintf("%-10s- ", label), t)
		label = ""
	}
}

// ticks prints a line for each coil, to fill in.
func (c *cards) ticks(coils []string) {
	fmt.Fprintln(c.b)
	rows := [][]string{{"coil", "set", "turns counted", "ends", "ohm read", "marked"}}
	for _, id := range coils {
		rows = append(rows, []string{id, "[ ]", "________", "[ ]", "________", "[ ]"})
	}
	c.table(1, rows...)
}

// wrapped prints text after a head, later lines as far in as the first.
func (c *cards) wrapped(head, text string) {
	indent := strings.Repeat(" ", len(head))
	line := head
	for _, word := range strings.Fields(text) {
		if len(line) > len(head) && len([]rune(line))+len([]rune(word)) > cardWidth {
			fmt.Fprintln(c.b, strings.TrimRight(line, " "))
			line = indent
		}
		line += word + " "
	}
	fmt.Fprintln(c.b, strings.TrimRight(line, " "))
}

// table prints rows with numbers to the right, the first columns to the left.
func (c *cards) table(left int, rows ...[]string) {
	var flushed bytes.Buffer
	t := tabwriter.NewWriter(&flushed, 0, 0, 2, ' ', tabwriter.AlignRight)
	wide := make([]int, left)
	for _, r := range rows {
		for i := range left {
			wide[i] = max(wide[i], len([]rune(r[i])))
		}
	}
	for _, r := range rows {
		for i, cell := range r {
			if i < left {
				cell = fmt.Sprintf("%-*s", wide[i], cell)
			}
			fmt.Fprint(t, cell, "\t")
		}
		fmt.Fprintln(t)
	}
	_ = t.Flush() // into memory
	for line := range strings.Lines(flushed.String()) {
		fmt.Fprintln(c.b, strings.TrimRight(strings.TrimPrefix(line, "  "), " \n"))
	}
}

func (c *cards) windings(f *planning.Figures) {
	for i, card := range f.Cards {
		plus := "plus at the " + card.PlusLead + " lead"
		if card.PlusLead == planning.UnknownLead {
			plus = "plus by the way it is wound"
		}
		c.heading("Winding card %d of %d: %s, north %s, %s", i+1, len(f.Cards), card.Winding, card.North, plus)
		c.item("For", fmt.Sprintf("%s (%s)", strings.Join(card.Coils, ", "), count(len(card.Coils), "coil")))
		c.list("Set", card.Set)
		c.list("Count", card.Count)
		c.list("Ends", card.Ends)
		c.list("Measure", card.Measure)
		c.list("Mark", card.Mark)
		c.ticks(card.Coils)
	}
	fmt.Fprintln(c.b)
	c.item("North", "is the face that the field comes out of, and that pushes a compass needle's north end away. Some makers call it south.")
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func (c *cards) cut(f *planning.Figures) {
	c.heading("Wire to wind with")
	rows := [][]string{{"wire", "metres", "kg", "spools"}}
	for _, s := range f.Cut.Spools {
		rows = append(rows, []string{s.Wire, planning.Decimals(s.Metres, 1), planning.Decimals(s.Kg, 3), fmt.Sprint(s.Spools)})
	}
	c.table(1, rows...)

	c.heading("Leads to cut, %.0f percent longer than the way along the rows", 100*f.Cut.SlackShare)
	rows = [][]string{{"from", "to", "mm"}}
	for _, l := range f.Cut.Leads {
		rows = append(rows, []string{l.From, l.To, fmt.Sprintf("%.0f", l.LengthMM)})
	}
	c.table(2, append(rows, []string{"", "all", fmt.Sprintf("%.0f", 1e3*f.Cut.LeadM)})...)
}

func (c *cards) ohms(f *planning.Figures) {
	c.heading("Ohms sheet, at %g C", f.RoomCelsius)
	rows := [][]string{{"across", "ohm", "from", "to", "at 20 C", "read"}}
	for _, o := range f.Ohms {
		kind, id, _ := strings.Cut(o.Across, ":")
		rows = append(rows, []string{strings.TrimSpace(kind + " " + id), planning.Decimals(o.Room, 2), planning.Decimals(o.Low, 2),
			planning.Decimals(o.High, 2), planning.Decimals(o.Ohms20, 2), "________"})
	}
	fmt.Fprint(c.b, "Date ____________  Temperature of the coils ________ C  Meter ______________\n\n")
	c.table(1, rows...)
	fmt.Fprintln(c.b)
	c.item("How", "A coil, string or group is measured unplugged from the rest, the pad at its own plug with the supply off. Warmer copper reads 0.39 percent more for each degree.")
	c.item("If off", "No reading at all: an open joint, enamel left on a lead or cold solder. A string low by a coil: that coil is shorted or left out. High by a coil: one too many, a wrong join. A coil a little low: so much of its turns shorted; a little high: a poor joint. The bench page works it out from what you read.")
}

// driven prints what strings and pad take when driven as planned.
func (c *cards) driven(f *planning.Figures) {
	c.heading("Driven as planned")
	rows := [][]string{{"", "ohm", "A", "W", "share", "inductance", "tau ms", "peak A"}}
	for _, s := range f.Strings {
		rows = append(rows, []string{"string " + s.ID, planning.Decimals(s.Ohms20, 2), planning.Decimals(s.Amps, 3), planning.Decimals(s.Watts, 2),
			planning.Decimals(100*s.Share, 0) + " %", planning.Henries(s.InductanceUH), planning.Decimals(s.TimeConstantMS, 2), planning.Decimals(s.PeakAmps, 3)})
	}
	p := &f.Pad
	c.table(1, append(rows, []string{"pad", planning.Decimals(p.Ohms20, 2), planning.Decimals(p.Amps, 3), planning.Decimals(p.Watts, 2), "",
		planning.Henries(p.InductanceUH), planning.Decimals(p.TimeConstantMS, 2), planning.Decimals(p.PeakAmps, 3)})...)
	fmt.Fprintln(c.b)
	c.item("How", "Currents are those at 20 C, with pulses while one lasts; watts are on average. A string's inductance is what a meter shows of it unplugged; tau, the time constant, is that after a voltage is switched on.")
	o := &f.Over
	c.item("Field", fmt.Sprintf("weakest over %s, strongest over %s: evenness %.0f percent. At the sensor's height over the whole pad %.0f uT on average, from %s to %.0f.",
		o.Weakest, o.Strongest, 100*o.Evenness, o.MeanUT, planning.Decimals(o.LeastUT, 0), o.MostUT))
}

func (c *cards) check(f *planning.Figures) {
	c.heading("Supply for the check")
	c.item("Raw", f.Check.Raw.Say)
	c.item("Compass", f.Check.Compass.Say)
	c.item("Away", f.Keep.Say)
	c.item("", f.Keep.Source)
}

func (c *cards) warnings(f *planning.Figures) {
	if len(f.Warnings) == 0 {
		return
	}
	c.heading("Warnings")
	for _, w := range f.Warnings {
		c.wrapped("[ ] ", w.String())
	}
}
