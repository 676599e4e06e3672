package verdict_test

import (
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/field/verdict"
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
