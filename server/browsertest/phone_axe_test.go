package browsertest

import (
	"fmt"
	"net/url"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestPhoneAxe looks at every canned state of the phone page at the width of a
// small phone, by day and by night.
func TestPhoneAxe(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 360, 740)
	page := func(actions ...chromedp.Action) { t.Helper(); do(t, ctx, actions...) }
	for _, name := range stateNames(t, program, page) {
		page(chromedp.Navigate(program.Phone+"app/states.html?state="+url.QueryEscape(name)),
			chromedp.WaitVisible(fmt.Sprintf("body[data-shown=%q]", name), chromedp.ByQuery))
		page(theme("light"))
		axe(t, ctx, name+" light")
		page(theme("dark")) // nothing but colours differs
		axe(t, ctx, name+" dark", "color-contrast")
	}
}
