package verdict

import (
	"testing"

	"polewise/field/capture"
	"polewise/field/rehearsal"
)

// TestScalesReach: a supply that gives a quarter less than planned, or more, and shows no
// figure, is looked for further out; one that gives what is planned is not.
func TestScalesReach(t *testing.T) {
	p := plain(t)
	for _, tc := range []struct {
		share float64
		want  moreScales
	}{{1, moreScales{}}, {0.74, moreScales{below: mostMore}}, {1.28, moreScales{above: mostMore}}} {
		o := rehearsal.Defaults()
		o.Rest, o.TellOffsetMM, o.OffsetMM, o.CurrentSD = rehearsal.RestHolds, 2, &[2]float64{2, 12}, 0
		other := *p
		other.Supply.Volts *= tc.share
		other.Supply.Amps *= tc.share
		made, err := rehearsal.Make(&other, o)
		if err != nil {
			t.Fatal(err)
		}
		c, err := capture.FromLines(made.Lines)
		if err != nil {
			t.Fatal(err)
		}
		m, err := Warm(p)
		if err != nil {
			t.Fatal(err)
		}
		e, list, err := m.decide(nil, []*capture.Capture{c})
		if err != nil {
			t.Fatal(err)
		}
		if m.more != tc.want {
			t.Errorf("at %.2f of the planned current: %+v more values of the scale, expected %+v", tc.share, m.more, tc.want)
		}
		n := e.evaluate(&scored{hyp: list[0].hyp})
		_, at := e.likeliest(n, 0)
		if s := n.sc.s[at]; s < tc.share-0.06 || s > tc.share+0.06 {
			t.Errorf("at %.2f of the planned current the likeliest is %.2f", tc.share, s)
		}
	}
}
