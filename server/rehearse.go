package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"polewise/field/rehearsal"
	"polewise/layout"
)

func rehearseCommand() *cobra.Command {
	// A phone whose sensor has been found, and the supply switched in every hold:
	// what a maker who follows the phone page has.
	o := rehearsal.Defaults()
	o.Rest = rehearsal.RestHolds
	o.TellOffsetMM = 4
	var faults []string
	var offset string
	c := &cobra.Command{
		Use:   "rehearse PLAN",
		Short: "Write a made-up capture of a pad, with faults of your choice",
		Long: `rehearse writes to standard output what a made-up phone reads over a made-up
pad: something to practise on, and to pipe into judge.

Faults: coil-reversed:ID, string-reversed:ID, group-reversed:ID, pad-reversed,
coil-shorted:ID[,OHMS LEFT], turns-shorted:ID[,SHARE], string-open:ID,
coil-open:ID, strings-in-series:ID,ID, coil-in-wrong-string:ID,STRING.`,
		Args: onePlan,
		RunE: func(c *cobra.Command, args []string) error { return rehearse(c, args[0], o, faults, offset) },
	}
	f := c.Flags()
	f.StringArrayVar(&faults, "fault", nil, "what is wrong, as `KIND:ID` (repeatable)")
	f.Uint64Var(&o.Seed, "seed", 1, "the same `NUMBER` makes the same capture")
	f.StringVar((*string)(&o.Route), "route", string(o.Route), "what the phone gives, `ROUTE` being vector, heading or hand")
	f.StringVar((*string)(&o.Rest), "rest", string(o.Rest), "`WHEN` the supply is off: once, holds (within each hold too) or none")
	f.BoolVar(&o.Passes, "passes", false, "draw the phone along each row instead of holding it on each coil")
	f.BoolVar(&o.Ohms, "ohms", false, "measure resistances as well")
	f.BoolVar(&o.TellAmps, "amps", false, "report the current read off the supply")
	f.Float64Var(&o.TopDeg, "top", o.TopDeg, "direction of the phone's top edge, `DEGREES` counter-clockwise from pad +y")
	f.StringVar(&offset, "offset", "2,18", "sensor's place from the mark, `X,Y` in mm; empty: drawn as phones have it")
	f.Float64Var(&o.TellOffsetMM, "tell-offset", o.TellOffsetMM, "tell the offset, wrong by this sd in `MM`; negative: say nothing of it")
	f.Float64Var(&o.NoiseUT, "noise", o.NoiseUT, "noise of a sample, `UT`")
	f.Float64Var(&o.PlacementMM, "placement", o.PlacementMM, "sd of placing the mark, `MM`")
	f.Float64Var(&o.YawDeg, "yaw", o.YawDeg, "sd of the phone's turn, `DEGREES`")
	f.Float64Var(&o.TiltDeg, "tilt", o.TiltDeg, "sd of the phone's tilt, `DEGREES`")
	f.Float64Var(&o.SteelUT, "steel", o.SteelUT, "the most that steel in the bench adds, `UT`")
	f.Float64Var(&o.JumpChance, "jumps", o.JumpChance, "`CHANCE` that the phone re-zeroes itself before a hold, 0 to 1")
	f.Float64Var(&o.CurrentSD, "current-sd", o.CurrentSD, "`SHARE` by which the supply's current is off the plan, one sd")
	f.Bool("json", false, "print as JSON, one object a line, as it does anyway")
	f.Float64Var(&o.HandMistakes, "hand-mistakes", o.HandMistakes, "hand route: `SHARE` of faces read wrong")
	return c
}

func rehearse(c *cobra.Command, planFile string, o rehearsal.Options, faults []string, offset string) error {
	plan, err := loadPlan(planFile)
	if err != nil {
		return err
	}
	for _, s := range faults {
		f, err := layout.ParseFault(s)
		if err != nil {
			return usage(fmt.Errorf("--fault: %w", err))
		}
		o.Faults = append(o.Faults, f)
	}
	if offset != "" {
		x, y, _ := strings.Cut(offset, ",")
		var mm [2]float64
		for i, text := range []string{x, y} {
			if mm[i], err = strconv.ParseFloat(strings.TrimSpace(text), 64); err != nil {
				return usage(fmt.Errorf("--offset %q: expected two numbers in millimetres, as in --offset 3,40", offset))
			}
		}
		o.OffsetMM = &mm
	}
	made, err := rehearsal.Make(plan, o)
	if err != nil {
		return usage(err)
	}
	return made.Write(c.OutOrStdout())
}
