package browsertest

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"testing"

	"github.com/chromedp/chromedp"

	"polewise/assets"
	"polewise/phoneapp"
)

// TestPhonePureParts runs the checks of the page's parts that need no phone, in
// the browser that the page itself runs in.
func TestPhonePureParts(t *testing.T) {
	mux := http.NewServeMux()
	mux.Handle("/app/", http.StripPrefix("/app/", http.FileServerFS(phoneapp.Page)))
	mux.Handle("/common/", http.StripPrefix("/common/", http.FileServerFS(assets.Common)))
	mux.Handle("/bench/", http.StripPrefix("/bench/", http.FileServerFS(assets.Bench)))
	mux.Handle("/pure/", http.StripPrefix("/pure/", http.FileServerFS(os.DirFS("testdata/pure"))))
	mux.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "<!doctype html><title>checks</title>") })
	server := httptest.NewServer(mux)
	defer server.Close()
	ctx := newBrowser(t, 360, 740)
	do(t, ctx, chromedp.Navigate(server.URL))
	for _, module := range []string{"hold-detector", "flow", "rows", "others", "sensor", "stream", "editor", "check"} {
		type outcome struct{ Name, Error string }
		var outcomes []outcome
		run := fmt.Sprintf(`(async () => {
			const checks = await import("/pure/%s.js");
			const out = [];
			for (const [name, check] of Object.entries(checks)) {
				let error = "";
				try { await check(); } catch (e) { error = e.stack || String(e); }
				out.push({name, error});
			}
			return out;
		})()`, module)
		do(t, ctx, chromedp.Evaluate(run, &outcomes, awaited))
		if len(outcomes) == 0 {
			t.Errorf("%s holds no checks", module)
		}
		for _, o := range outcomes {
			t.Run(module+"/"+o.Name, func(t *testing.T) {
				if o.Error != "" {
					t.Error(o.Error)
				}
			})
		}
	}
}
