package verdict_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/layout"
)

// besideA1 judges one reading by compass beside A1, whose needle turns by 60
// degrees. drive goes into the line that switches the supply on; turned is how far
// the phone is turned by hand while it is on.
func besideA1(t *testing.T, plan *layout.Plan, drive string, turned float64) *verdict.Verdict {
	t.Helper()
	var b strings.Builder
	fmt.Fprintln(&b, `{"type":"start","v":1,"route":"heading","sensor":{"offset_mm":[0,0],"offset_sd_mm":[3,3]}}`)
	fmt.Fprintln(&b, `{"type":"drive","t":0,"state":"off"}`)
	fmt.Fprintln(&b, `{"type":"hold","t":0.01,"at":"A1","shift_mm":[45,0]}`)
	heading := func(i int, deg, by float64) {
		fmt.Fprintf(&b, `{"type":"heading","t":%g,"deg":%.1f,"turned_deg":%.1f}`+"\n", float64(i)/10, math.Mod(deg+by+720, 360), by)
	}
	for i := 1; i <= 30; i++ {
		heading(i, 350, 0)
	}
	fmt.Fprintf(&b, `{"type":"drive","t":3.05,"state":"on"%s}`+"\n", drive)
	for i := 31; i <= 70; i++ {
		heading(i, 350-60*(1-math.Exp(-float64(i-30)/10)), turned)
	}
	fmt.Fprintln(&b, `{"type":"lift","t":7.1}`)
	c, err := capture.Read(strings.NewReader(b.String()))
	if err != nil {
		t.Fatal(err)
	}
	return judgedOf(t, plan, c)
}

// TestTurnByHandIsTakenOut: a phone that is turned about its own sensor while the
// supply is on reads the same field, so the verdict must be the same.
func TestTurnByHandIsTakenOut(t *testing.T) {
	plan := kennel(t)
	judge := func(turned float64) map[verdict.State]float64 {
		return besideA1(t, plan, "", turned).Coils[plan.CoilIndex("A1")].P
	}
	still := judge(0)
	if math.Abs(still[verdict.StateReversed]-still[verdict.StateAsPlanned]) < 0.5 {
		t.Fatalf("the example tells too little to test with: %v", still)
	}
	for _, turned := range []float64{-90, 40, 90, 170} {
		for state, p := range judge(turned) {
			if math.Abs(p-still[state]) > 0.01 {
				t.Errorf("turned by %g degrees: %s %.4f, and %.4f lying still", turned, state, p, still[state])
			}
		}
	}
}

// TestCurrentShownOnOneString: a compass wants little current, and on a pad of one
// string an open joint stops it all. Chances must stay chances.
func TestCurrentShownOnOneString(t *testing.T) {
	plan, err := layout.Parse("pair.toml", []byte(`format = 1
name = "A pair"
[supply]
volts = 2.0
[[winding]]
id = "round"
shape = "round"
inner = 90
turns = 60
build = 6
width = 8
wire_awg = 22
[[coil]]
id = "A1"
winding = "round"
at = [100, 100]
[[coil]]
id = "A2"
winding = "round"
at = [250, 100]
[[string]]
id = "A"
coils = ["A1", "A2"]
`))
	if err != nil {
		t.Fatal(err)
	}
	for _, amps := range []float64{0.02, 0.1, 1} {
		v := besideA1(t, plan, fmt.Sprintf(`,"amps":%g`, amps), 0)
		sum := 0.0
		for _, p := range v.Coils[0].P {
			sum += p
		}
		if math.Abs(sum-1) > 1e-3 || v.Coils[0].P[verdict.StateAsPlanned] < 0.9 {
			t.Errorf("%g A: %v adds up to %g", amps, v.Coils[0].P, sum)
		}
	}
}
