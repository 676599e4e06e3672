package browsertest

import (
	"context"
	_ "embed"
	"encoding/json"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

//go:embed testdata/axe/axe.min.js
var axeScript string

// axe fails the test for every violation of axe-core's rules on the page as it
// stands. It says what is wrong, where, and what was found there. What stands
// in frames is looked at by tests of its own. With rules named, only those.
func axe(t *testing.T, ctx context.Context, what string, rules ...string) {
	t.Helper()
	var found []struct {
		ID    string `json:"id"`
		Help  string `json:"help"`
		Nodes []struct {
			Target  string `json:"target"`
			Summary string `json:"summary"`
			HTML    string `json:"html"`
		} `json:"nodes"`
	}
	var passed int
	only := "undefined"
	if len(rules) > 0 {
		raw, _ := json.Marshal(rules)
		only = string(raw)
	}
	var there bool
	do(t, ctx, chromedp.Evaluate("!!window.axe", &there))
	if !there {
		// The devtools are not held by the page's Content-Security-Policy.
		do(t, ctx, chromedp.Evaluate(axeScript+"\n;true", nil))
	}
	do(t, ctx,
		chromedp.Evaluate(`(async () => {
			window.axeSaw = await axe.run(document, { iframes: false, resultTypes: ["violations", "passes"], runOnly: `+only+` });
			return axeSaw.passes.length;
		})()`, &passed, awaited),
		chromedp.Evaluate(`axeSaw.violations.map((v) => ({ id: v.id, help: v.help,
			nodes: v.nodes.slice(0, 6).map((n) => ({ target: n.target.join(" "), summary: n.failureSummary, html: n.html.slice(0, 200) })) }))`, &found),
	)
	if passed == 0 {
		t.Errorf("%s: axe found nothing to look at", what)
	}
	for _, v := range found {
		for _, n := range v.Nodes {
			t.Errorf("%s: %s (%s) at %s\n\t%s\n\t%s", what, v.Help, v.ID, n.Target, strings.ReplaceAll(n.Summary, "\n", "\n\t"), n.HTML)
		}
	}
	if len(found) > 0 {
		shot(t, ctx, "axe")
	}
}
