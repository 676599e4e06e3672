package main

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field/predict"
	"polewise/layout"
)

func predictCommand() *cobra.Command {
	var asJSON bool
	var at []string
	c := &cobra.Command{
		Use:   "predict PLAN",
		Short: "Say what a planned pad should do",
		Args:  exactly("PLAN"),
		RunE: func(c *cobra.Command, args []string) error {
			plan, err := loadPlan(args[0])
			if err != nil {
				return err
			}
			points, err := parsePoints(at, plan.Unit)
			if err != nil {
				return usage(err)
			}
			p, err := predict.Predict(plan, points)
			if err != nil {
				return badData(err)
			}
			if asJSON {
				return writeJSON(c.OutOrStdout(), p)
			}
			return printPrediction(c.OutOrStdout(), plan, p)
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON")
	c.Flags().StringArrayVar(&at, "at", nil, "also the field at `X,Y,Z` in the plan's unit, pad frame (repeatable)")
	return c
}

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
				return nil, fmt.Errorf("--at %q: %q is not a number", s, p)
			}
			v[i] = x * unit.Metres()
		}
		out = append(out, r3.Vec{X: v[0], Y: v[1], Z: v[2]})
	}
	return out, nil
}

func printPrediction(w io.Writer, plan *layout.Plan, p *predict.Prediction) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "%s\n\n", plan.Name)
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
	fmt.Fprintf(b, "\nPad: %.3f ohm, %.3f A at %.2f V. Field over each coil's centre, %.0f mm over its top face.\n", p.Pad.Ohms, p.Pad.Amps, p.Pad.Volts, plan.Above*1e3)
	for _, q := range p.Points {
		fmt.Fprintf(b, "At (%.1f, %.1f, %.1f) mm: (%.2f, %.2f, %.2f) uT\n", q.AtMM[0], q.AtMM[1], q.AtMM[2], q.BUT[0], q.BUT[1], q.BUT[2])
	}
	fmt.Fprintf(b, "\n%s\n", cautions)
	return b.Flush()
}
