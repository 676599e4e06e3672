package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field/fieldmap"
	"polewise/field/planning"
	"polewise/field/predict"
	"polewise/layout"
	"polewise/server/whole"
)

// predictOptions are the flags of predict.
type predictOptions struct {
	json, cards bool
	at          []string
	planning    planning.Options
	slack       float64 // percent
	mapFiles    []string
	mapGrid     int
	mapStyle    fieldmap.Style
}

func predictCommand() *cobra.Command {
	o := predictOptions{planning: planning.Defaults(), mapStyle: fieldmap.Style{Lines: fieldmap.Vertical}}
	c := &cobra.Command{
		Use:   "predict PLAN",
		Short: "Say what a planned pad should do",
		Long: `predict says what a planned pad should do: currents, ohms, the field where the
sensor lies. With --cards it prints what to have at hand while winding and
joining; with --json everything.

A plan that can be computed but not built (copper that overlaps, too many turns)
is predicted all the same; what is wrong with it is told on standard error, and
the exit status is 65.`,
		Args: onePlan,
		RunE: func(c *cobra.Command, args []string) error { return predictPlan(c, args[0], o) },
	}
	f := c.Flags()
	f.BoolVar(&o.json, "json", false, "print as JSON")
	f.BoolVar(&o.cards, "cards", false, "print winding cards, cut list, ohms sheet and check current")
	f.StringArrayVar(&o.at, "at", nil, "also the field at `X,Y,Z` in the plan's unit, pad frame (repeatable)")
	f.Float64Var(&o.planning.RoomCelsius, "room", o.planning.RoomCelsius, "temperature of the room, `CELSIUS`")
	f.Float64Var(&o.planning.SpoolKg, "spool", o.planning.SpoolKg, "copper on a spool, `KG`")
	f.Float64Var(&o.slack, "slack", 100*o.planning.LeadSlack, "leads are cut longer by this `PERCENT`")
	f.Float64Var(&o.planning.TailMM, "tail", o.planning.TailMM, "wire left at each end of a coil, `MM`")
	f.StringArrayVar(&o.mapFiles, "map", nil, "also draw the field over the pad at the sensor's height into `FILE`: .svg, .png, or .csv for a table (repeatable)")
	f.IntVar(&o.mapGrid, "map-grid", fieldmap.UsualPoints, "`POINTS` of the map along its longer side")
	f.IntVar(&o.mapStyle.Pixels, "map-size", fieldmap.UsualPixels, "width of a .png, about so many `PIXELS`")
	f.StringVar((*string)(&o.mapStyle.Lines), "map-lines", string(o.mapStyle.Lines), "draw lines of the vertical field or of its strength: `WHAT` is vertical or strength")
	return c
}

// planned is what predict prints as JSON: the contract's keys, and ours.
type planned struct {
	*predict.Prediction
	Planning *planning.Figures `json:"planning"`
	Problems []layout.Problem  `json:"problems"` // why the plan cannot be built as it stands
}

func predictPlan(c *cobra.Command, file string, o predictOptions) error {
	o.planning.LeadSlack = o.slack / 100
	if err := o.planning.Check(); err != nil {
		return usage(err)
	}
	if o.json && o.cards {
		return usage(errors.New("--json prints the cards too: expected one of --json and --cards, found both"))
	}
	for _, name := range o.mapFiles {
		_, err := fieldmap.FormatOf(name)
		if err == nil {
			err = o.mapStyle.Check()
		}
		if err != nil {
			return usage(fmt.Errorf("--map %s: %w", name, err))
		}
	}
	plan, err := layout.Load(file)
	var unbuildable *layout.Problems
	if err != nil && !errors.As(err, &unbuildable) {
		err = cannotRead("a plan", file, err)
	}
	if err != nil && plan == nil {
		return badData(err)
	}
	points, err := parsePoints(o.at, plan.Unit)
	if err != nil {
		return usage(err)
	}
	out := planned{Problems: []layout.Problem{}}
	if out.Prediction, err = predict.Predict(plan, points); err != nil {
		return badData(err)
	}
	if out.Planning, err = planning.Plan(plan, o.planning); err != nil {
		return badData(err)
	}
	if unbuildable != nil {
		out.Problems = unbuildable.List
	}
	if len(o.mapFiles) > 0 {
		if err := writeMaps(c.Context(), plan, o); err != nil {
			return err
		}
	}
	switch {
	case o.json:
		err = writeJSON(c.OutOrStdout(), out)
	case o.cards:
		err = printCards(c.OutOrStdout(), plan, out.Planning)
	default:
		err = printPrediction(c.OutOrStdout(), plan, out.Prediction, out.Planning.Warnings)
	}
	if err == nil && unbuildable != nil {
		err = badData(unbuildable)
	}
	return err
}

// writeMaps draws the field into files, each whole or not at all.
func writeMaps(ctx context.Context, plan *layout.Plan, o predictOptions) error {
	grid, err := fieldmap.Sample(ctx, plan, o.mapGrid, nil)
	if err != nil {
		return usage(fmt.Errorf("--map-grid: %w", err))
	}
	for _, name := range o.mapFiles {
		format, err := fieldmap.FormatOf(name)
		if err != nil {
			return usage(err)
		}
		var out bytes.Buffer
		if err := grid.Write(&out, plan, format, o.mapStyle); err != nil {
			return err
		}
		if err := whole.Write(name, out.Bytes(), 0o644); err != nil {
			return usage(fmt.Errorf("--map %s: the map cannot be written there: %w", name, err))
		}
	}
	return nil
}

// farthest is how far off a point may lie, metres.
const farthest = 1000.0

func parsePoints(at []string, unit layout.LengthUnit) ([]r3.Vec, error) {
	var out []r3.Vec
	for _, s := range at {
		parts := strings.Split(s, ",")
		if len(parts) != 3 {
			return nil, fmt.Errorf("--at %q: expected three numbers with commas between, as in --at 120,120,10", s)
		}
		var v [3]float64
		for i, p := range parts {
			x, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
			if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
				return nil, fmt.Errorf("--at %q: expected three numbers with commas between, as in --at 120,120,10; %q is not one", s, p)
			}
			if v[i] = x * unit.Metres(); math.Abs(v[i]) > farthest {
				return nil, fmt.Errorf("--at %q: expected a place at most %g m from the pad's corner, found %s", s, farthest, p)
			}
		}
		out = append(out, r3.Vec{X: v[0], Y: v[1], Z: v[2]})
	}
	return out, nil
}

func printPrediction(w io.Writer, plan *layout.Plan, p *predict.Prediction, warnings []planning.Warning) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "%s\n\n", plan.Title())
	t := tabwriter.NewWriter(b, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "coil\tohm\tA\tBz uT\t|B| uT\t")
	for _, c := range p.Coils {
		fmt.Fprintf(t, "%s\t%.3f\t%.3f\t%.1f\t%.1f\t\n", c.ID, c.Ohms, c.Amps, c.BzUT, math.Hypot(c.BUT[0], math.Hypot(c.BUT[1], c.BUT[2])))
	}
	fmt.Fprintln(t, "\t\t\t\t\t")
	fmt.Fprintln(t, "string\tohm\tA\t\t\t")
	for _, s := range p.Strings {
		fmt.Fprintf(t, "%s\t%.3f\t%.3f\t\t\t\n", s.ID, s.Ohms, s.Amps)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(b, "\nPad: %.3f ohm, %.3f A at %.2f V. Field over each coil's centre, %.4g mm over its top face.\n", p.Pad.Ohms, p.Pad.Amps, p.Pad.Volts, plan.Above*1e3)
	for _, q := range p.Points {
		fmt.Fprintf(b, "At (%.1f, %.1f, %.1f) mm: (%.2f, %.2f, %.2f) uT\n", q.AtMM[0], q.AtMM[1], q.AtMM[2], q.BUT[0], q.BUT[1], q.BUT[2])
	}
	for _, w := range warnings {
		fmt.Fprintf(b, "\nWarning: %s", w)
	}
	if len(warnings) > 0 {
		fmt.Fprintln(b)
	}
	fmt.Fprintf(b, "\n%s\n", cautions)
	return b.Flush()
}
