package verdict_test

import (
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/field/verdict"
	"polewise/layout"
)

// TestUnreadIsNotClaimed: on a pad of two hundred coils each is as planned with
// more than 99 % before anything is read. That is no claim.
func TestUnreadIsNotClaimed(t *testing.T) {
	p := grid(20, 10)
	c, err := capture.Read(strings.NewReader(`{"type":"start","v":1,"route":"hand"}
{"type":"reading","t":1,"at":"S1C1","face":"north"}
`))
	if err != nil {
		t.Fatal(err)
	}
	v, err := verdict.Judge(p, c)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range v.Coils[1:] {
		if c.State != verdict.StateUndecided {
			t.Fatalf("%s was not read and is called %s", c.ID, c.State)
		}
	}
	if v.Outcome != verdict.Undecided || v.Next == nil {
		t.Errorf("the pad is called %s, next %+v", v.Outcome, v.Next)
	}
}

// TestHoldThatWasOnlyTold: the phone lies on a coil that faces the wrong way when the next
// coil is told, a third of a second before it is lifted. What was read in that time is of
// the wrong coil, and the next has not been read.
func TestHoldThatWasOnlyTold(t *testing.T) {
	p := kennel(t)
	o := careful(3, layout.Fault{Kind: layout.CoilReversed, ID: "A1"})
	o.Rest, o.Ohms = rehearsal.RestOnce, false
	c := capturesOf(p, o)[0]
	lines, numbers := c.Lines, c.Numbers
	c.Lines, c.Numbers = nil, nil
	over := "" // the coil that the phone lies on
	for i, l := range lines {
		switch at := l.(type) {
		case capture.Hold:
			if over = at.Coil; over == "A2" {
				continue // it was told before
			}
		case capture.Lift:
			if over == "A1" {
				c.Lines, c.Numbers = append(c.Lines, capture.Hold{T: at.T - 0.3, Coil: "A2"}), append(c.Numbers, numbers[i])
			}
		}
		c.Lines, c.Numbers = append(c.Lines, l), append(c.Numbers, numbers[i])
	}
	v, err := verdict.Judge(p, c)
	if err != nil {
		t.Fatal(err)
	}
	for _, coil := range v.Coils {
		want := verdict.StateAsPlanned
		switch coil.ID {
		case "A1":
			want = verdict.StateReversed
		case "A2":
			want = verdict.StateUndecided
		}
		if coil.State != want {
			t.Errorf("%s is called %s, want %s: %v", coil.ID, coil.State, want, coil.P)
		}
	}
	if said := strings.Join(v.Notes, " "); !strings.Contains(said, "The hold on A2 was over after 0.3 s") {
		t.Errorf("notes: %s", said)
	}
	if v.Next == nil || v.Next.At != "A2" || !strings.Contains(v.Next.Why, "Nothing that was read over A2 counts") {
		t.Errorf("next: %+v, want A2, of which nothing counts", v.Next)
	}
}

// TestStoppedSensor: a sensor that stops repeats what it read last, whatever lies under the
// phone. That is said, and not that the coils were not read yet.
func TestStoppedSensor(t *testing.T) {
	o := careful(7)
	o.Ohms = false
	c := capturesOf(kennel(t), o)[0]
	var last [3]float64
	holds := 0
	for i, l := range c.Lines {
		switch l := l.(type) {
		case capture.Hold:
			holds++
		case capture.B:
			if holds > 3 {
				l.UT = last
				c.Lines[i] = l
			}
			last = l.UT
		}
	}
	v, err := verdict.Judge(kennel(t), c)
	if err != nil {
		t.Fatal(err)
	}
	said := strings.Join(v.Notes, " ")
	if !strings.Contains(said, "the sensor has stopped") || v.Next == nil || !strings.Contains(v.Next.Why, "the notes say why") {
		t.Errorf("next %+v, notes %s", v.Next, said)
	}
	rightly(t, "stopped", v, func(string) verdict.State { return verdict.StateAsPlanned })
}

// TestClockBeginsAnew: two captures in one file, each with a clock of its own.
func TestClockBeginsAnew(t *testing.T) {
	c := capturesOf(kennel(t), careful(7))[0]
	c.Lines = append(c.Lines, c.Lines[len(c.Lines)/2:]...)
	for n := len(c.Numbers); n < len(c.Lines); n++ {
		c.Numbers = append(c.Numbers, n+2)
	}
	v, err := verdict.Judge(kennel(t), c)
	if err != nil {
		t.Fatal(err)
	}
	if said := strings.Join(v.Notes, " "); !strings.Contains(said, "The times of a capture go back in its line") {
		t.Errorf("notes: %s", said)
	}
}
