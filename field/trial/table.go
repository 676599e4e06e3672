package trial

import (
	"fmt"
	"io"
	"time"
)

// Run puts a row of cases to a judge.
func Run(judge Judge, c Condition, first, count uint64) (*Score, error) {
	t := &Score{}
	return t, each(c, first, count, func(k *Case) error {
		_, err := k.Put(judge, t)
		return err
	})
}

// each makes a row of cases one after the other.
func each(c Condition, first, count uint64, do func(*Case) error) error {
	for seed := first; seed < first+count; seed++ {
		k, err := Make(c, seed)
		if err != nil {
			return err
		}
		if err := do(k); err != nil {
			return err
		}
	}
	return nil
}

func (t *Score) add(o *Score) {
	t.Pads += o.Pads
	t.Coils += o.Coils
	t.WrongClaims += o.WrongClaims
	t.WrongAsPlanned += o.WrongAsPlanned
	t.Undecided += o.Undecided
	t.FaultyPads += o.FaultyPads
	t.CauseRight += o.CauseRight
	t.SoundPads += o.SoundPads
	t.FalseAlarms += o.FalseAlarms
	t.WrongSound += o.WrongSound
	t.PadsOpen += o.PadsOpen
	t.PlainWrong += o.PlainWrong
	t.PlainCoils += o.PlainCoils
	t.Time += o.Time
	t.Longest = max(t.Longest, o.Longest)
	for i := range t.Calibration {
		t.Calibration[i].Claims += o.Calibration[i].Claims
		t.Calibration[i].Right += o.Calibration[i].Right
		t.Calibration[i].Stated += o.Calibration[i].Stated
	}
}

func share(n, of int) float64 {
	if of == 0 {
		return 0
	}
	return float64(n) / float64(of)
}

func percent(n, of int) string { return fmt.Sprintf("%.1f %%", 100*share(n, of)) }

// writeTable writes the table in Markdown: a line for each condition, then how
// well stated probabilities held.
func writeTable(w io.Writer, conditions []Condition, scores []*Score) {
	fmt.Fprintln(w, "| condition | pads | coils | wrong claims | of these as planned | undecided | first cause right | faulty called as planned | false alarms | plain method wrong | mean time | longest |")
	fmt.Fprintln(w, "|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|")
	var all Score
	row := func(title string, t *Score) {
		mean := time.Duration(0)
		if t.Pads > 0 {
			mean = t.Time / time.Duration(t.Pads)
		}
		plain := "-"
		if t.PlainCoils > 0 {
			plain = percent(t.PlainWrong, t.PlainCoils)
		}
		fmt.Fprintf(w, "| %s | %d | %d | %d | %d | %s | %s of %d | %d | %d of %d | %s | %s | %s |\n", title, t.Pads, t.Coils, t.WrongClaims, t.WrongAsPlanned,
			percent(t.Undecided, t.Coils), percent(t.CauseRight, t.FaultyPads), t.FaultyPads, t.WrongSound, t.FalseAlarms, t.SoundPads, plain,
			mean.Round(time.Millisecond), t.Longest.Round(time.Millisecond))
	}
	for i, t := range scores {
		row(conditions[i].Title, t)
		all.add(t)
	}
	row("all", &all)
	fmt.Fprintln(w)
	fmt.Fprintln(w, "| claims with stated p | claims | mean stated p | right |")
	fmt.Fprintln(w, "|---|---:|---:|---:|")
	for i, name := range []string{"0.99 to 0.999", "above 0.999"} {
		c := all.Calibration[i]
		if c.Claims == 0 {
			fmt.Fprintf(w, "| %s | 0 | - | - |\n", name)
			continue
		}
		fmt.Fprintf(w, "| %s | %d | %.5f | %.5f |\n", name, c.Claims, c.Stated/float64(c.Claims), share(c.Right, c.Claims))
	}
}
