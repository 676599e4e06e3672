package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"reflect"
	"runtime/debug"
	"slices"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/layout"
)

// smallMemory is what judge's heap stays within as long as what it works out fits in: with
// the program itself that makes less than 100 MB.
const smallMemory = 78 << 20

// keepSmall has the memory of what is no longer needed used again sooner than usual, unless
// whoever runs the program said how much there is (GOMEMLIMIT).
func keepSmall() {
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(smallMemory)
	}
}

func judgeCommand() *cobra.Command {
	var asJSON, why bool
	c := &cobra.Command{
		Use:   "judge PLAN CAPTURE...",
		Short: "Say what a capture tells of a pad",
		Long: `judge reads a plan and one or more captures of one pad ("-" is standard
input) and says what is wrong, if anything.

Exit status: 0 every coil verified as planned, 1 at least one fault found, 2 not
decided, 64 wrong usage, 65 unusable plan or capture.`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) < 2 {
				return usage(fmt.Errorf("expected a plan and a capture, as in polewise judge pad.toml readings.jsonl, found %s. See polewise judge --help", count(len(args), "argument")))
			}
			for i, name := range args {
				if name == "-" && (i == 0 || slices.Contains(args[1:i], "-")) {
					return usage(errors.New("\"-\" is standard input: expected it for one capture at most, and not for the plan. See polewise judge --help"))
				}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return judge(c, args[0], args[1:], asJSON, why) },
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print the verdict as JSON")
	c.Flags().BoolVar(&why, "why", false, "name the readings that carried the verdict and the best rival explanation")
	return c
}

func judge(c *cobra.Command, planFile string, names []string, asJSON, why bool) error {
	plan, err := loadPlan(planFile)
	if err != nil {
		return err
	}
	captures, err := loadCaptures(c.InOrStdin(), names, plan)
	if err != nil {
		return err
	}
	keepSmall()
	m, err := verdict.Warm(plan)
	if err != nil {
		return badData(err)
	}
	v, because, err := m.Explain(captures...)
	if err != nil {
		return badData(err)
	}
	if !why {
		because = nil
	}
	if asJSON {
		err = writeJSON(c.OutOrStdout(), struct {
			*verdict.Verdict
			Why *verdict.Why `json:"why,omitempty"`
		}{v, because})
	} else {
		err = printVerdict(c.OutOrStdout(), v, because)
	}
	if err != nil {
		return err
	}
	return outcome(v.Outcome)
}

func loadPlan(name string) (*layout.Plan, error) {
	p, err := layout.Load(name)
	var problems *layout.Problems
	if err != nil && !errors.As(err, &problems) {
		err = cannotRead("a plan", name, err)
	}
	if err != nil {
		return nil, badData(err)
	}
	return p, nil
}

// captureName is how a capture is called in messages.
func captureName(name string) string {
	if name == "-" {
		return "standard input"
	}
	return name
}

// loadCaptures reads captures of a plan's pad, each once.
func loadCaptures(stdin io.Reader, names []string, plan *layout.Plan) ([]*capture.Capture, error) {
	var captures []*capture.Capture
	for _, name := range names {
		cap, err := loadCapture(stdin, name)
		if err == nil {
			err = cap.Check(plan)
		}
		var pathErr *fs.PathError
		switch {
		case errors.As(err, &pathErr):
			return nil, badData(cannotRead("a capture", name, err))
		case err != nil:
			return nil, badData(fmt.Errorf("%s: %w", captureName(name), err))
		}
		for k, other := range captures {
			if reflect.DeepEqual(cap, other) {
				return nil, usage(fmt.Errorf("%s holds the same readings as %s: expected each capture once, as a reading counts once. Leave one of them out", captureName(name), captureName(names[k])))
			}
		}
		captures = append(captures, cap)
	}
	return captures, nil
}

func loadCapture(stdin io.Reader, name string) (*capture.Capture, error) {
	if name == "-" {
		return capture.Read(stdin)
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return capture.Read(f)
}

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	return e.Encode(v)
}

// worthSaying is how likely the first cause must be to be told of at all.
const worthSaying = 0.1

func printVerdict(w io.Writer, v *verdict.Verdict, why *verdict.Why) error {
	b := bufio.NewWriter(w)
	switch v.Outcome {
	case verdict.AsPlanned:
		fmt.Fprintln(b, "AS PLANNED. Every coil faces as planned.")
	case verdict.Fault:
		fmt.Fprintln(b, "FAULT.")
	default:
		fmt.Fprintln(b, "UNDECIDED. The readings do not tell yet.")
	}
	for i, c := range v.Causes {
		switch {
		case i == 0 && c.P < worthSaying:
			// Where little was read every cause is as unlikely as the next.
		case i == 0 && c.P >= verdict.MinClaim:
			fmt.Fprintf(b, "%s\n", c.Say)
		case i == 0:
			fmt.Fprintf(b, "Likeliest (%s): %s\n", percent(c.P), c.Say)
		case c.P >= 0.01 && v.Causes[0].P >= worthSaying:
			fmt.Fprintf(b, "Or (%s): %s\n", percent(c.P), c.Say)
		}
	}
	fmt.Fprintln(b)
	t := tabwriter.NewWriter(b, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "coil\tis\tsure\texpected uT\tread uT\treadings\t")
	for _, c := range v.Coils {
		read := "-"
		if c.MeasuredUT != nil {
			read = fmt.Sprintf("%.0f", *c.MeasuredUT)
		}
		p := 0.0
		for _, q := range c.P {
			p = max(p, q)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%.0f\t%s\t%d\t\n", c.ID, c.State, percent(p), c.ExpectedUT, read, c.Used)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if v.Next != nil {
		at := v.Next.At + ". "
		if v.Next.Across != "" {
			at = "" // told in the reason
		}
		fmt.Fprintf(b, "\nNext: %s%s\n", at, v.Next.Why)
	}
	for _, n := range v.Notes {
		fmt.Fprintf(b, "Note: %s\n", n)
	}
	if why != nil {
		fmt.Fprintf(b, "\nWhy: %s\n", why.Best)
		if why.Rival == "" {
			fmt.Fprintln(b, "No other explanation comes near.")
		} else {
			fmt.Fprintf(b, "Best rival, %s less likely: %s\n", howOften(why.WorseBy), why.Rival)
			for _, c := range why.Carried {
				switch {
				case c.Times >= 1.05:
					fmt.Fprintf(b, "  %s: explained %s better\n", c.Reading, howOften(c.Times))
				case c.Times <= 1/1.05: // what is left tells the two apart not at all
					fmt.Fprintf(b, "  %s: explained %s worse\n", c.Reading, howOften(1/c.Times))
				}
			}
		}
	}
	return b.Flush()
}

// howOften writes a ratio as a person would say it.
func howOften(times float64) string {
	switch {
	case times > 1e6:
		return "over a million times"
	case times >= 100:
		return fmt.Sprintf("%.0f times", times)
	default:
		return fmt.Sprintf("%.2g times", times)
	}
}

// percent writes a probability without ever rounding up to certainty.
func percent(p float64) string {
	switch {
	case p > 0.9999:
		return ">99.99 %"
	case p >= 0.99:
		return fmt.Sprintf("%.2f %%", p*100)
	default:
		return fmt.Sprintf("%.0f %%", p*100)
	}
}
