package browsertest

import (
	"context"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// openHelp opens "Other ways, and help" and returns what it says.
func openHelp(t *testing.T, ctx context.Context, address string) string {
	t.Helper()
	do(t, ctx, chromedp.Navigate(address))
	waitFor(t, ctx, "the first screen", `document.querySelector("#begin")`)
	do(t, ctx, press("#others > summary"))
	return text(t, ctx, "#help")
}

// TestPhoneShowsHowToTrust: the page hands out the authority and tells for both
// big phone systems what to do with it; with a certificate of the maker's own it
// claims none of that.
func TestPhoneShowsHowToTrust(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	phone := newBrowser(t, 360, 740, noRawReadings()...)
	openHelp(t, phone, program.Phone)
	do(t, phone, chromedp.Evaluate(`for (const d of document.querySelectorAll("#help details")) if (!d.open) d.querySelector("summary").click();`, nil))
	help := text(t, phone, "#help")
	for _, words := range []string{"On an Android phone", "CA certificate", "Install anyway", "On an iPhone or iPad", "Profile downloaded", "Certificate Trust Settings", "full trust"} {
		if !strings.Contains(help, words) {
			t.Errorf("expected %q in:\n%s", words, help)
		}
	}
	var got string
	do(t, phone, chromedp.Evaluate(`fetch(document.querySelector("#ca").href).then(async (r) => r.status + " " + r.headers.get("content-type") + " " + (await r.arrayBuffer()).byteLength)`, &got,
		awaited))
	if !strings.HasPrefix(got, "200 application/x-x509-ca-cert ") || len(got) < len("200 application/x-x509-ca-cert 300") {
		t.Errorf("the link gives %q", got)
	}
	shot(t, phone, "help")

	own := startProgram(t, "--cert", filepath.Join(program.Data, "phone.crt"), "--key", filepath.Join(program.Data, "phone.key"))
	help = openHelp(t, phone, own.Phone)
	if !strings.Contains(help, "certificate of its own maker's choice") || strings.Contains(help, "made its own certificate") || strings.Contains(help, "Install anyway") {
		t.Errorf("with an own certificate the page says:\n%s", help)
	}
}
