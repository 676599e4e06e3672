package browsertest

import (
	"context"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"polewise/layout"
)

// newPhone is a browser of a phone's size that may read the magnetometer.
func newPhone(t *testing.T, extra ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	ctx := newBrowser(t, 360, 740, extra...)
	do(t, ctx, allow("magnetometer"))
	return ctx
}

// checkAll goes through the whole raw route: begin, rest, supply on, every coil.
func (v *virtualPhone) checkAll() {
	v.t.Helper()
	for i, c := range v.plan.Coils {
		if i == 0 {
			v.beginVector()
		} else {
			v.carryTo(v.over(c.ID))
		}
		v.count(c.ID)
	}
}

func testPhoneFinds(t *testing.T, fault layout.Fault, outcome func(say string) bool) {
	program := startProgram(t)
	phone := newPhone(t)
	bench := newBrowser(t, 1280, 800)
	do(t, bench, chromedp.Navigate(program.Bench))
	v := newVirtualPhone(t, phone, fault)
	do(t, phone, chromedp.Navigate(program.Phone))
	v.checkAll()
	v.lieUntil("the result on the phone page", `document.querySelector("#title").textContent.includes("reversed")`)
	waitFor(t, bench, "a fault on the bench page", `document.querySelector(".outcome").textContent.includes("Something is wrong")`)
	shot(t, phone, "result")
	shot(t, bench, "bench")
	for name, say := range map[string]string{"phone": text(t, phone, "#lead"), "bench": text(t, bench, ".cause")} {
		if !outcome(say) {
			t.Errorf("the %s page says %q", name, say)
		}
	}
}

func TestPhoneFindsReversedCoil(t *testing.T) {
	testPhoneFinds(t, layout.Fault{Kind: layout.CoilReversed, ID: "B2"}, func(say string) bool {
		return strings.Contains(say, "Coil B2 faces the wrong way") && strings.Contains(say, "Turn B2 over")
	})
}

func TestPhoneFindsReversedString(t *testing.T) {
	testPhoneFinds(t, layout.Fault{Kind: layout.StringReversed, ID: "C"}, func(say string) bool {
		return strings.Contains(say, "whole string C runs the wrong way") && strings.Contains(say, "Swap the two ends of string C")
	})
}
