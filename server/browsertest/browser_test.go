// Package browsertest drives the real pages in a real Chromium against the real
// program: built binary, real sockets, real database.
package browsertest

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto"
	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// NeedVariable, when set, makes a missing browser a failure instead of a skip.
const NeedVariable = "POLEWISE_NEED_BROWSER"

// chromium finds the browser, or skips the test where nothing demands one.
func chromium(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv(NeedVariable) != "" {
		t.Fatal("no Chromium found, and ", NeedVariable, " is set")
	}
	t.Skip("no Chromium found: browser tests not run")
	return ""
}

// builtIn is the folder of the program under test, once it is built.
var builtIn string

// atOnce is how many tests run side by side unless -parallel says otherwise: they
// mostly wait, for a hold to last its seconds, so more than there are processors.
const atOnce = "4"

func TestMain(m *testing.M) {
	flag.Parse()
	told := false
	flag.Visit(func(f *flag.Flag) { told = told || f.Name == "test.parallel" })
	if !told {
		if err := flag.Set("test.parallel", atOnce); err != nil {
			panic(err)
		}
	}
	code := m.Run()
	if builtIn != "" {
		os.RemoveAll(builtIn)
	}
	os.Exit(code)
}

var build = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "polewise-browsertest")
	if err != nil {
		return "", err
	}
	builtIn = dir
	path := filepath.Join(dir, "polewise")
	out, err := exec.Command("go", "build", "-o", path, "polewise/server").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("go build: %w\n%s", err, out)
	}
	return path, nil
})

// Running is a program under test.
type Running struct {
	Bench  string `json:"bench_url"`
	Phone  string `json:"phone_url"`
	Stream string `json:"stream_url"`
	CAFile string `json:"ca_file"`
	Data   string
	Cmd    *exec.Cmd
}

// startProgram builds and runs polewise on free ports and waits until it
// listens. It is stopped at the end of the test.
func startProgram(t *testing.T, args ...string) *Running {
	t.Helper()
	return launch(t, t.TempDir(), args...)
}

// launch is startProgram over given data.
func launch(t *testing.T, data string, args ...string) *Running {
	t.Helper()
	path, err := build()
	if err != nil {
		t.Fatal(err)
	}
	r := &Running{Data: data}
	ready := filepath.Join(t.TempDir(), "ready.json")
	args = append([]string{"bench", "--data", r.Data, "--ready-file", ready, "--listen", "127.0.0.1:0", "--phone-listen", "127.0.0.1:0"}, args...)
	r.Cmd = exec.Command(path, args...)
	if testing.Verbose() {
		r.Cmd.Stderr = os.Stderr
	}
	if err := r.Cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = r.Cmd.Process.Signal(os.Interrupt)
		_ = r.Cmd.Wait() // its status is of no interest here
	})
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(30 * time.Millisecond) {
		if raw, err := os.ReadFile(ready); err == nil {
			if err := json.Unmarshal(raw, r); err != nil {
				t.Fatal(err)
			}
			return r
		}
		if time.Now().After(deadline) {
			t.Fatal("the program did not listen within 20 s")
		}
	}
}

// newBrowser starts a headless Chromium of its own with one page of a given size
// and the flags that make the raw magnetometer work.
func newBrowser(t *testing.T, width, height int64, extra ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	options := append([]chromedp.ExecAllocatorOption{
		chromedp.ExecPath(chromium(t)),
		chromedp.NoFirstRun, chromedp.NoDefaultBrowserCheck, chromedp.Headless, chromedp.NoSandbox,
		chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true),
		chromedp.Flag("disable-gpu", true),
		chromedp.Flag("ignore-certificate-errors", true),
		chromedp.Flag("enable-features", "GenericSensorExtraClasses"),
		chromedp.UserDataDir(t.TempDir()),
	}, extra...)
	alloc, cancelAlloc := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, cancel := chromedp.NewContext(alloc)
	if err := chromedp.Run(ctx); err != nil {
		t.Fatal("Chromium does not start: ", err)
	}
	ctx, cancelTime := context.WithTimeout(ctx, 4*time.Minute)
	t.Cleanup(func() {
		_ = chromedp.Cancel(ctx) // closes it and waits, or else it writes to the folder being removed
		cancelTime()
		cancel()
		cancelAlloc()
	})
	do(t, ctx, chromedp.EmulateViewport(width, height), emulation.SetFocusEmulationEnabled(true))
	return ctx
}

// do runs actions and fails the test where one does.
func do(t *testing.T, ctx context.Context, actions ...chromedp.Action) {
	t.Helper()
	if err := chromedp.Run(ctx, actions...); err != nil {
		shot(t, ctx, "failed")
		t.Fatal(err)
	}
}

// goneCode is what Chromium answers where a node, or the page it was asked about, is
// not there any more: drawn anew, or being loaded again.
const goneCode = -32000

func gone(err error) bool {
	e, ok := errors.AsType[*cdproto.Error](err)
	return ok && e.Code == goneCode
}

// press clicks an element once it lies still: a page that takes in a verdict may
// move it, or draw it anew, between the moment it is found and the click.
func press(selector string) chromedp.Action {
	still := fmt.Sprintf(`new Promise((done) => {
		let before = "", same = 0, frames = 0;
		(function look() {
			const r = document.querySelector(%q)?.getBoundingClientRect();
			const now = r ? [r.x, r.y, r.width, r.height].join() : "";
			same = r && now === before ? same + 1 : 0;
			before = now;
			same >= 6 || ++frames > 300 ? done(true) : requestAnimationFrame(look);
		})();
	})`, selector)
	return chromedp.ActionFunc(func(ctx context.Context) error {
		for tries := 1; ; tries++ {
			// Scrolled to first, or the click's own scrolling moves it.
			err := chromedp.Tasks{
				chromedp.WaitVisible(selector, chromedp.ByQuery),
				chromedp.ScrollIntoView(selector, chromedp.ByQuery),
				chromedp.Evaluate(still, nil, awaited),
				chromedp.Click(selector, chromedp.ByQuery),
			}.Do(ctx)
			if !gone(err) || tries == 5 {
				return err
			}
		}
	})
}

// awaited makes chromedp.Evaluate wait for a promise.
func awaited(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }

// waitFor waits until a JavaScript expression is true.
func waitFor(t *testing.T, ctx context.Context, what, expression string) {
	t.Helper()
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(100 * time.Millisecond) {
		var ok bool
		if err := chromedp.Run(ctx, chromedp.Evaluate("!!("+expression+")", &ok)); err != nil && !gone(err) {
			t.Fatal(what, ": ", err)
		}
		if ok {
			return
		}
		if time.Now().After(deadline) {
			var text string
			_ = chromedp.Run(ctx, chromedp.Evaluate("document.body.innerText", &text)) // best effort, for the message
			shot(t, ctx, "waiting")
			t.Fatalf("waited 30 s for %s; the page says:\n%s", what, text)
		}
	}
}

// text returns an element's text, with the spaces that do not break made plain.
func text(t *testing.T, ctx context.Context, selector string) string {
	t.Helper()
	var s string
	do(t, ctx, chromedp.Text(selector, &s, chromedp.ByQuery))
	return strings.ReplaceAll(s, "\u00a0", " ")
}

// shot saves a screenshot among the test's artefacts.
func shot(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	dir := os.Getenv("POLEWISE_ARTEFACTS")
	if dir == "" {
		return
	}
	var png []byte
	if err := chromedp.Run(ctx, chromedp.FullScreenshot(&png, 100)); err != nil {
		t.Log("no screenshot: ", err)
		return
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, filepath.Base(t.Name())+"-"+name+".png"), png, 0o644); err != nil {
		t.Fatal(err)
	}
}

// theme sets the preferred colours of a page.
func theme(name string) chromedp.Action {
	return emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}})
}

// allow grants a permission to every page.
func allow(name string) chromedp.Action {
	return chromedp.ActionFunc(func(ctx context.Context) error {
		c := chromedp.FromContext(ctx)
		return browser.SetPermission(&browser.PermissionDescriptor{Name: name}, browser.PermissionSettingGranted).Do(withExecutor(ctx, c))
	})
}

// withExecutor addresses the browser rather than one of its tabs.
func withExecutor(ctx context.Context, c *chromedp.Context) context.Context {
	return cdp.WithExecutor(ctx, c.Browser)
}
