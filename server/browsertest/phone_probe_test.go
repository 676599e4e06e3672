package browsertest

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// probed waits for the phone page's first screen and returns what the page found
// of raw readings and of headings, its sentence, and how long it took.
func probed(t *testing.T, ctx context.Context, address string) (raw, compass, say string, took time.Duration) {
	t.Helper()
	do(t, ctx, chromedp.Navigate(address))
	var ready float64
	waitFor(t, ctx, "the first screen", `document.querySelector("#begin")`)
	do(t, ctx,
		chromedp.Evaluate(`document.querySelectorAll(".way")[0].dataset.code`, &raw),
		chromedp.Evaluate(`document.querySelectorAll(".way")[1].dataset.code`, &compass),
		chromedp.Evaluate(`document.querySelector("#lead").textContent + " " + document.querySelector("#why").textContent`, &say),
		chromedp.Evaluate(`performance.getEntriesByName("found out")[0]?.startTime - performance.getEntriesByName("finding out")[0]?.startTime`, &ready))
	return raw, compass, say, time.Duration(ready * float64(time.Millisecond))
}

// through serves a program's phone page by plain HTTP, with headers changed: what
// a page that was opened by the wrong address, or inside another page, sees.
func through(t *testing.T, program *Running, change func(http.Header)) string {
	t.Helper()
	bench, err := url.Parse(program.Bench)
	if err != nil {
		t.Fatal(err)
	}
	key := strings.Trim(strings.SplitN(program.Phone, "/", 4)[3], "/")
	proxy := &httputil.ReverseProxy{
		Rewrite: func(r *httputil.ProxyRequest) {
			r.SetURL(bench)
			r.Out.Host = bench.Host
			r.Out.Header.Del("Origin")
		},
		ModifyResponse: func(r *http.Response) error { change(r.Header); return nil },
	}
	server := httptest.NewServer(proxy)
	t.Cleanup(server.Close)
	return server.URL + "/phone/" + key + "/"
}

func deny(name string) chromedp.Action {
	return chromedp.ActionFunc(func(ctx context.Context) error {
		c := chromedp.FromContext(ctx)
		return browser.SetPermission(&browser.PermissionDescriptor{Name: name}, browser.PermissionSettingDenied).Do(withExecutor(ctx, c))
	})
}

// before runs a script before the page's own.
func before(script string) chromedp.Action {
	return chromedp.ActionFunc(func(ctx context.Context) error {
		_, err := page.AddScriptToEvaluateOnNewDocument(script).Do(ctx)
		return err
	})
}

// appleLike makes Chromium look like the browser of an iPhone, which it cannot be:
// a class that asks, and events with webkitCompassHeading once it was allowed.
func appleLike(answer string) []chromedp.Action {
	return []chromedp.Action{
		emulation.SetUserAgentOverride("Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.0 Mobile/15E148 Safari/604.1"),
		before(`
			delete window.Magnetometer; delete window.AbsoluteOrientationSensor; delete window.RelativeOrientationSensor;
			window.asked = [];
			DeviceOrientationEvent.requestPermission = async () => { window.asked.push(navigator.userActivation.isActive); return "` + answer + `"; };
			window.heading = 40; window.alpha = 100;
			setInterval(() => {
				if (!window.asked.length || "` + answer + `" !== "granted") return;
				const e = new Event("deviceorientation");
				Object.assign(e, {webkitCompassHeading: window.heading, webkitCompassAccuracy: 10, alpha: window.alpha, beta: 0, gamma: 0, absolute: false});
				window.dispatchEvent(e);
			}, 50);`),
	}
}

func TestPhoneProbe(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	sensor := emulation.SetSensorOverrideEnabled(true, emulation.SensorTypeMagnetometer)
	reading := emulation.SetSensorOverrideReadings(emulation.SensorTypeMagnetometer, &emulation.SensorReading{Xyz: &emulation.SensorReadingXYZ{X: 1, Y: 2, Z: 3}})
	flags := func(f ...chromedp.ExecAllocatorOption) []chromedp.ExecAllocatorOption { return f }
	cases := []struct {
		name    string
		flags   []chromedp.ExecAllocatorOption
		actions []chromedp.Action
		address func() string
		raw     string
		compass string // "" where it does not matter
		say     string
	}{
		{name: "raw readings", actions: []chromedp.Action{allow("magnetometer"), sensor, reading}, raw: "works", say: "raw readings"},
		{name: "class missing", flags: flags(chromedp.Flag("enable-features", "")), raw: "missing", compass: "no-compass", say: "No sensor reaches this page"},
		{name: "class there, sensor not", flags: flags(chromedp.Flag("enable-features", ""), chromedp.Flag("enable-experimental-web-platform-features", true)),
			actions: []chromedp.Action{allow("magnetometer")}, raw: "not-readable", say: "No sensor reaches this page"},
		{name: "permission denied", actions: []chromedp.Action{deny("magnetometer"), sensor, reading}, raw: "denied", say: "not allowed to use the motion sensors"},
		{name: "no reading comes", actions: []chromedp.Action{allow("magnetometer"), sensor}, raw: "silent", say: "sends nothing"},
		{name: "policy of the page around it", actions: []chromedp.Action{allow("magnetometer"), sensor, reading}, raw: "policy", say: "inside another page",
			address: func() string {
				return through(t, program, func(h http.Header) { h.Set("Permissions-Policy", "magnetometer=(), accelerometer=(), gyroscope=()") })
			}},
		{name: "page not secure", flags: flags(chromedp.Flag("host-resolver-rules", "MAP bench.example 127.0.0.1")), raw: "insecure", compass: "insecure", say: "not opened by its safe address",
			address: func() string {
				return strings.Replace(through(t, program, func(http.Header) {}), "127.0.0.1", "bench.example", 1)
			}},
		{name: "page not in front", actions: []chromedp.Action{allow("magnetometer"), sensor, reading,
			before(`Object.defineProperty(document, "hidden", {get: () => true}); Document.prototype.hasFocus = () => false;`),
			emulation.SetFocusEmulationEnabled(false)}, raw: "hidden", say: "not in front"},
		{name: "iPhone-like, asks", actions: appleLike("granted"), raw: "missing", compass: "ask", say: "You will be asked to allow it"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			ctx := newBrowser(t, 360, 740, c.flags...)
			do(t, ctx, c.actions...)
			address := program.Phone
			if c.address != nil {
				address = c.address()
			}
			raw, compass, say, took := probed(t, ctx, address)
			if raw != c.raw {
				t.Errorf("raw readings: expected %q, found %q", c.raw, raw)
			}
			if c.compass != "" && compass != c.compass {
				t.Errorf("headings: expected %q, found %q", c.compass, compass)
			}
			if !strings.Contains(say, c.say) {
				t.Errorf("expected %q in %q", c.say, say)
			}
			if took > 3*time.Second {
				t.Errorf("took %v to find out; expected 3 s at most", took)
			}
			t.Logf("%s, headings %s, after %v: %s", raw, compass, took.Round(time.Millisecond), say)
		})
	}
}

// TestPhoneAsksAndIsRefused: iPhone-like (marked as such: Chromium cannot be one).
func TestPhoneAsksAndIsRefused(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 360, 740)
	do(t, ctx, appleLike("denied")...)
	probed(t, ctx, program.Phone)
	do(t, ctx, press("#begin"))
	waitFor(t, ctx, "the refusal", `document.querySelector("#note").textContent.includes("the answer was no")`)
	var inTap []bool
	do(t, ctx, chromedp.Evaluate("window.asked", &inTap))
	if len(inTap) != 1 || !inTap[0] {
		t.Errorf("expected to be asked once, in a tap; found %v", inTap)
	}
	if b := text(t, ctx, "#begin"); b != "Begin by hand" {
		t.Errorf("expected the way by hand to be offered, found %q", b)
	}
}
