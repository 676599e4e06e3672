package browsertest

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestPhoneCuesCanBeTried: the help says of every claim what is felt and heard, and
// gives it when tapped, the tones also where they are switched off.
func TestPhoneCuesCanBeTried(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	phone := newBrowser(t, 360, 740)
	do(t, phone,
		before(`
			window.felt = []; window.heard = [];
			navigator.vibrate = (p) => felt.push(p.join(" "));
			const start = OscillatorNode.prototype.start;
			OscillatorNode.prototype.start = function (at) { heard.push(this.frequency.value); start.call(this, at); };
			localStorage.setItem("polewise tones", "false");`),
		chromedp.Navigate(program.Phone+"app/states.html?state=help"),
		chromedp.WaitVisible("#cue-weak", chromedp.ByQuery))
	for _, c := range []struct{ id, name, words, felt, heard string }{
		{"as-planned", "as planned", "one short", "70", "1047"},
		{"reversed", "reversed", "three long", "230 110 230 110 230", "784 587 440"},
		{"weak", "weak", "a short and a long", "70 110 350", "659 392"},
		{"dead", "dead", "one very long", "650", "330"},
		{"undecided", "undecided", "two short", "70 110 70", "659 659"},
	} {
		if row := text(t, phone, "#help li:has(#cue-"+c.id+")"); !strings.Contains(row, c.name) || !strings.Contains(row, c.words) {
			t.Errorf("%s: the page says %q", c.id, row)
		}
		var felt string
		do(t, phone, chromedp.Evaluate(`felt = []; heard = [];`, nil), press("#cue-"+c.id))
		waitFor(t, phone, "the tones of "+c.id, fmt.Sprintf(`heard.map(Math.round).join(" ") === %q`, c.heard))
		do(t, phone, chromedp.Evaluate(`felt.join()`, &felt))
		if felt != c.felt {
			t.Errorf("%s: felt %q, expected %q", c.id, felt, c.felt)
		}
	}
}
