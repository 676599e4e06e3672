package browsertest

import (
	"bytes"
	"context"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"os"

	"github.com/chromedp/chromedp"
	"github.com/gorilla/websocket"

	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/layout"
	"polewise/server/testplan"
)

// feedPlan is four coils, one for each of four sensors.
var feedPlan = testplan.Few("Four coils and four sensors", 2, 2, 160)

// device is a made-up sensor that is no phone: it lies somewhere, reads the field
// there, and says so in a dialect of its own, several times a second.
type device struct {
	name string
	from [3]int     // the chip's number i is along the device's axis from[i],
	sign [3]float64 // in this direction
	say  func(began time.Duration, uT, ms2 [3]float64) string
	send func(text string) error
	// every is how often it sends, each how many readings at once.
	every time.Duration
	each  int

	mu    sync.Mutex
	phone *rehearsal.Phone
	move  func()
}

func (d *device) run(ctx context.Context, t *testing.T) {
	began := time.Now()
	tick := time.NewTicker(d.every)
	defer tick.Stop()
	failed := 0
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		var text strings.Builder
		for i := range d.each {
			d.mu.Lock()
			d.move()
			at := time.Since(began) - d.every*time.Duration(d.each-1-i)/time.Duration(d.each)
			u, g := d.phone.Read(at.Seconds())
			d.mu.Unlock()
			var chip, grav [3]float64
			for a := range chip {
				chip[a], grav[a] = d.sign[a]*u[d.from[a]], d.sign[a]*g[d.from[a]]
			}
			text.WriteString(d.say(at, chip, grav))
		}
		if err := d.send(text.String()); err != nil && ctx.Err() == nil {
			if failed++; failed > 3 {
				t.Errorf("%s: %v", d.name, err)
				return
			}
		}
	}
}

// lie puts the device somewhere, by its mark in mm and its top edge, pitch and
// roll in degrees, as a made-up phone is.
func (d *device) lie(x, y, top, pitch, roll float64, down bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.move = func() {}
	d.phone.Move(x, y, top, pitch, roll, down)
}

// waved turns the device about in the hand, away from the pad.
func (d *device) waved() {
	d.mu.Lock()
	defer d.mu.Unlock()
	began := time.Now()
	d.move = func() {
		s := time.Since(began).Seconds()
		d.phone.Move(-3000, -3000, 90*s, 60*s, 130*s, false)
	}
}

func comma(v float64) string { return strings.ReplaceAll(fmt.Sprintf("%.4f", v), ".", ",") }

// TestOtherSensorsOnOnePad teaches four sensors of four makes through the page:
// two tables and two kinds of nested JSON, by serial pipe, POST and websocket.
// None of their formats is known to the program. Each then reads one coil, and
// the one verdict names the coil that faces the wrong way.
func TestOtherSensorsOnOnePad(t *testing.T) {
	t.Parallel()
	planFile := filepath.Join(t.TempDir(), "four.toml")
	if err := os.WriteFile(planFile, []byte(feedPlan), 0o644); err != nil {
		t.Fatal(err)
	}
	plan, err := layout.Parse("four", []byte(feedPlan))
	if err != nil {
		t.Fatal(err)
	}
	program := startProgram(t, "--plan", planFile)

	hc := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}, Timeout: 10 * time.Second}
	post := func(url, kind string) func(string) error {
		return func(text string) error {
			r, err := hc.Post(url, kind, strings.NewReader(text))
			if err != nil {
				return err
			}
			defer r.Body.Close()
			if body, _ := io.ReadAll(r.Body); r.StatusCode != http.StatusOK {
				return fmt.Errorf("%d %s", r.StatusCode, body)
			}
			return nil
		}
	}
	// The first comes through polewise feed, as from a port.
	binary, err := build()
	if err != nil {
		t.Fatal(err)
	}
	port := exec.Command(binary, "feed", "--source", "port", "--url", program.Bench)
	pipe, err := port.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	var portSaid bytes.Buffer
	port.Stderr = &portSaid
	if err := port.Start(); err != nil {
		t.Fatal(err)
	}
	conn, _, err := (&websocket.Dialer{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}).Dial(strings.Replace(program.Stream, "/stream", "/feed?source=app", 1), nil)
	if err != nil {
		t.Fatal(err)
	}
	go func() { // answers, read so that the line stays alive; ends with it
		for {
			if _, _, err := conn.ReadMessage(); err != nil {
				return
			}
		}
	}()

	header := true
	devices := []*device{
		{name: "port", from: [3]int{1, 0, 2}, sign: [3]float64{1, 1, -1}, every: 40 * time.Millisecond, each: 1,
			say: func(at time.Duration, u, _ [3]float64) string {
				text := ""
				if header {
					header, text = false, "millis;temp;probe x;probe y;probe z\r\n"
				}
				return text + fmt.Sprintf("%d;21,5;%s;%s;%s\r\n", at.Milliseconds(), comma(u[0]/100), comma(u[1]/100), comma(u[2]/100)) // gauss
			},
			send: func(text string) error { _, err := io.WriteString(pipe, text); return err }},
		{name: "board", from: [3]int{2, 0, 1}, sign: [3]float64{1, 1, 1}, every: 50 * time.Millisecond, each: 1,
			say: func(_ time.Duration, u, _ [3]float64) string { // counts, 12 a microtesla, with a zero of its own
				return fmt.Sprintf("%.0f %.0f %.0f 3300\n", 12*u[0]+250, 12*u[1]-400, 12*u[2]+90)
			},
			send: post(program.Phone+"feed?source=board", "text/plain")},
		{name: "app", from: [3]int{0, 1, 2}, sign: [3]float64{-1, 1, -1}, every: 50 * time.Millisecond, each: 1,
			say: func(at time.Duration, u, g [3]float64) string {
				return fmt.Sprintf(`{"device":{"battery":71},"compass":{"x":%.3f,"y":%.3f,"z":%.3f},"tilt":[%.3f,%.3f,%.3f],"clock":%.4f}`,
					u[0], u[1], u[2], g[0], g[1], g[2], at.Seconds())
			},
			send: func(text string) error { return conn.WriteMessage(websocket.TextMessage, []byte(text)) }},
		{name: "logger", from: [3]int{2, 1, 0}, sign: [3]float64{-1, 1, 1}, every: 200 * time.Millisecond, each: 4,
			say: func(at time.Duration, u, _ [3]float64) string {
				return fmt.Sprintf(`{"session":7,"items":[{"of":"spin","v":{"a":0.01,"b":0.02,"c":0.0}},{"of":"flux","v":{"a":%.1f,"b":%.1f,"c":%.1f},"us":%d}]}`+"\n",
					u[0]*1000, u[1]*1000, u[2]*1000, at.Microseconds()) // nanotesla
			},
			send: post(program.Bench+"api/feed?source=logger", "application/json")},
	}
	north := true
	ctx, stop := context.WithCancel(context.Background())
	var running sync.WaitGroup
	for _, d := range devices {
		o := rehearsal.Defaults()
		o.Seed, o.EarthUT, o.SteelUT, o.JumpChance, o.OffsetMM = 4, 48, 3, 0, &[2]float64{0, 0}
		o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "B1"}}
		if d.phone, err = rehearsal.NewPhone(plan, o); err != nil {
			t.Fatal(err)
		}
		d.phone.Drive(capture.Off)
		d.phone.Move(-3000, -3000, 0, 0, 0, true)
		u, _ := d.phone.Read(0)
		north = u[2] < 0
		if u[2] > -12 && u[2] < 12 {
			t.Fatalf("the field dips too little here: %v; take another seed", u)
		}
		d.waved()
		running.Go(func() { d.run(ctx, t) })
	}
	t.Cleanup(func() {
		stop()
		running.Wait()
		pipe.Close()
		conn.Close()
		if err := port.Wait(); err != nil {
			t.Errorf("polewise feed ended with %v: %s", err, portSaid.String())
		}
	})

	bench := newBrowser(t, 1280, 900)
	do(t, bench, chromedp.Navigate(program.Bench))
	card := func(name, rest string) string {
		return fmt.Sprintf(`document.querySelector('[data-feed="%s"]')%s`, name, rest)
	}
	js := func(expression string) { t.Helper(); do(t, bench, chromedp.Evaluate(expression, nil)) }
	click := func(name, selector string) {
		t.Helper()
		button := card(name, `?.querySelector('`+selector+`')`)
		waitFor(t, bench, name+": "+selector, button+` && !`+button+`.disabled && !`+button+`.hidden`)
		do(t, bench, press(fmt.Sprintf(`[data-feed=%q] %s`, name, selector)))
	}
	for _, d := range devices {
		waitFor(t, bench, d.name+" on the page", card(d.name, ``))
	}

	// Who is x, y, z: proposed for three of them; the one in raw counts is picked.
	for _, d := range devices {
		if d.name == "board" {
			continue
		}
		waitFor(t, bench, d.name+": a proposal", card(d.name, `?.querySelector(".proposal").textContent.includes("move together")`))
		if d.name == "logger" {
			shot(t, bench, "picking")
		}
		click(d.name, ".feed-row:has(.proposal) button")
		// On a busy machine the clock in its messages may be seen for one only later.
		waitFor(t, bench, d.name+": its clock picked", card(d.name, `.querySelector(".feed-row:has(.proposal) button:not([hidden])")?.click(), [...`+card(d.name, `.querySelectorAll(".numbers select")`)+`].some((s) => s.value === "t")`))
	}
	js(`for (const [path, role] of [["column 1", "x"], ["column 2", "y"], ["column 3", "z"]]) {
		const s = ` + card("board", `.querySelector('[aria-label="What ' + path + ' is"]')`) + `;
		s.value = role;
		s.dispatchEvent(new Event("change"));
	}
	const unit = ` + card("board", `.querySelector(".feed-choice select")`) + `;
	unit.value = "counts";
	unit.dispatchEvent(new Event("change"));
	` + card("board", `.querySelector("input[inputmode=decimal]")`) + `.value = "12";`)
	for _, d := range devices {
		click(d.name, "button.main")
		waitFor(t, bench, d.name+": the steps", card(d.name, `.querySelector(".steps")`))
	}

	// How it lies: all four go through the steps at once.
	for i, pose := range []struct {
		step             string
		top, pitch, roll float64
	}{{"flat", 0, 0, 0}, {"quarter", 90, 0, 0}, {"on-top", 0, -90, 0}, {"on-left", 0, 0, -90}} {
		for _, d := range devices {
			d.lie(-3000, -3000, pose.top, pose.pitch, pose.roll, true)
		}
		time.Sleep(300 * time.Millisecond)
		for _, d := range devices {
			click(d.name, `[data-step="`+pose.step+`"]`)
		}
		for _, d := range devices {
			waitFor(t, bench, d.name+": step "+pose.step+" taken", fmt.Sprintf(`[...%s].filter((n) => n.textContent === "taken").length > %d`, card(d.name, `.querySelectorAll(".step-done")`), i))
		}
		if i == 1 {
			shot(t, bench, "steps")
		}
	}
	half := "south"
	if north {
		half = "north"
	}
	for _, d := range devices {
		js(card(d.name, `.querySelector("select[name=half]")`) + `.value = "` + half + `"`)
		click(d.name, "button.solve")
		waitFor(t, bench, d.name+": settled", card(d.name, `?.querySelector(".solved").textContent.includes("Settled")`))
		js(card(d.name, `.querySelector("input[name=at-sensor]")`) + `.checked = true`)
		if d.name == "logger" {
			shot(t, bench, "settled")
		}
		click(d.name, ".keep button")
		waitFor(t, bench, d.name+": in use", card(d.name, `?.querySelector(".hold-button")`))
	}

	// At work: rest with the supply off, then each on a coil of its own.
	places := map[string][3]any{"port": {"A1", 80.0, 80.0}, "board": {"A2", 240.0, 80.0}, "app": {"B1", 80.0, 240.0}, "logger": {"B2", 240.0, 240.0}}
	press := func(words string) {
		for _, d := range devices {
			js(fmt.Sprintf(`[...%s].find((b) => b.textContent === %q).click()`, card(d.name, `.querySelectorAll("button")`), words))
			waitFor(t, bench, words, fmt.Sprintf(`[...%s].find((b) => b.textContent === %q).getAttribute("aria-pressed") === "true"`, card(d.name, `.querySelectorAll("button")`), words))
		}
	}
	for _, d := range devices {
		at := places[d.name]
		d.lie(at[1].(float64), at[2].(float64), 0, 0, 0, true)
	}
	time.Sleep(300 * time.Millisecond)
	press("Supply is off")
	time.Sleep(2 * time.Second)
	for _, d := range devices {
		d.mu.Lock()
		d.phone.Drive(capture.On)
		d.mu.Unlock()
	}
	// Amps with the point forgotten are asked about first.
	amps := card("board", `.querySelector("input[name=amps]")`)
	js(amps + `.value = "200"; [...` + card("board", `.querySelectorAll("button")`) + `].find((b) => b.textContent === "Supply is on").click()`)
	waitFor(t, bench, "the question", card("board", `.querySelector(".trouble:not([hidden])")?.textContent.startsWith("200 A? The plan gives")`))
	js(amps + `.value = ""`)
	press("Supply is on")
	time.Sleep(400 * time.Millisecond)
	for _, d := range devices {
		// In one go: the page picks the coil asked for by itself in between.
		js(`{ const s = ` + card(d.name, `.querySelector("select[name=coil]")`) + `; s.value = "` + places[d.name][0].(string) + `"; s.dispatchEvent(new Event("change")); }`)
		click(d.name, ".hold-button")
	}
	for _, d := range devices {
		waitFor(t, bench, d.name+": enough readings", card(d.name, `.querySelector(".feed-say").textContent.includes("enough")`))
	}
	shot(t, bench, "holding")
	for _, d := range devices {
		click(d.name, ".hold-button")
	}
	var states string
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(300 * time.Millisecond) {
		do(t, bench, chromedp.Evaluate(`fetch("api/state").then((r) => r.json()).then((s) => JSON.stringify(s.verdict.coils.map((c) => [c.id, c.state, c.used])))`, &states,
			awaited))
		if states == `[["A1","as-planned",1],["A2","as-planned",1],["B1","reversed",1],["B2","as-planned",1]]` {
			break
		}
		if time.Now().After(deadline) {
			var captured string
			do(t, bench, chromedp.Evaluate(`fetch("api/state").then((r) => r.json()).then((s) => JSON.stringify(s.holds.map((h) => [h.source, h.at, h.mean_uT])))`, &captured,
				awaited))
			t.Fatalf("verdict %s on holds %s", states, captured)
		}
	}
	// What was shown is kept: the axes are those the devices were made with.
	var list struct {
		Dialects []struct {
			Name string `json:"name"`
			Axes struct {
				From [3]int `json:"from"`
				Sign [3]int `json:"sign"`
			} `json:"axes"`
			Gravity *[3]string `json:"gravity"`
			Time    string     `json:"time"`
		} `json:"dialects"`
	}
	r, err := http.Get(program.Bench + "api/feeds")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	if err := json.NewDecoder(r.Body).Decode(&list); err != nil || len(list.Dialects) != 4 {
		t.Fatalf("kept %+v, %v", list, err)
	}
	for _, d := range devices {
		for _, k := range list.Dialects {
			if k.Name != d.name {
				continue
			}
			for a := range 3 {
				if k.Axes.From[d.from[a]] != a || float64(k.Axes.Sign[d.from[a]]) != d.sign[a] {
					t.Errorf("%s: axes %+v, made with %v %v", d.name, k.Axes, d.from, d.sign)
				}
			}
			if (d.name == "app") != (k.Gravity != nil) {
				t.Errorf("%s: gravity %v", d.name, k.Gravity)
			}
			if want := map[string]string{"port": "millis", "app": "clock", "logger": "items.flux.us"}[d.name]; k.Time != want {
				t.Errorf("%s: time %q, expected %q", d.name, k.Time, want)
			}
		}
	}
	shot(t, bench, "verdict")
	for _, mode := range []string{"light", "dark"} {
		for _, width := range []int64{360, 768, 1280} {
			do(t, bench, theme(mode), chromedp.EmulateViewport(width, 900))
			waitFor(t, bench, "no sideways scrolling", `document.documentElement.scrollWidth <= innerWidth`)
			shot(t, bench, fmt.Sprintf("in-use-%s-%d", mode, width))
		}
	}
}

// TestOtherSensorKeptOverAReload: what was picked and typed of a sensor that is
// being shown stays when the page is loaded again.
func TestOtherSensorKeptOverAReload(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 1280, 900)
	send := func() {
		t.Helper()
		r, err := http.Post(program.Bench+"api/feed?source=board", "text/plain", strings.NewReader("300 410 -77\n301 409 -78\n"))
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != http.StatusOK {
			t.Fatal(r.Status)
		}
	}
	send()
	do(t, ctx, chromedp.Navigate(program.Bench))
	board := `document.querySelector('[data-feed="board"]')`
	role := func(n int) string { return fmt.Sprintf(board+`.querySelector('[aria-label="What column %d is"]')`, n) }
	waitFor(t, ctx, "its numbers", board+`?.querySelectorAll(".numbers li").length === 3`)
	for n, r := range map[int]string{1: "y", 2: "x", 3: "z"} {
		do(t, ctx, chromedp.Evaluate(fmt.Sprintf(`(() => { const s = %s; s.value = %q; s.dispatchEvent(new Event("change")); })()`, role(n), r), nil))
	}
	do(t, ctx, chromedp.Evaluate(`(() => { const s = `+board+`.querySelector(".feed-choice select"); s.value = "counts"; s.dispatchEvent(new Event("change")); })()`, nil),
		chromedp.SendKeys(`[data-feed="board"] input[inputmode=decimal]`, "10,9", chromedp.ByQuery), chromedp.Reload())
	send()
	waitFor(t, ctx, "its numbers again", board+`?.querySelectorAll(".numbers li").length === 3`)
	waitFor(t, ctx, "what was picked", fmt.Sprintf(`%s.value === "y" && %s.value === "x" && %s.value === "z"`, role(1), role(2), role(3)))
	waitFor(t, ctx, "what was typed", board+`.querySelector("input[inputmode=decimal]").value === "10,9" && `+board+`.querySelector("input[inputmode=decimal]").checkVisibility()`)
}
