package browsertest

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/fetch"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/layout"
	"polewise/server/record"
)

// readPad sends a made-up capture of the demo pad and waits for the sign-off to
// be offered, or for a reason why not.
func readPad(t *testing.T, ctx context.Context, program *Running, source string, lines []string) {
	t.Helper()
	program.postingPhone(t, source).send(lines...)
	waitFor(t, ctx, "the sign-off", `document.querySelector("#sign") && !document.querySelector("#sign-off").hidden`)
}

// fetchBench gets something of the bench's API.
func fetchBench(t *testing.T, address string) (string, http.Header) {
	t.Helper()
	r, err := http.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	raw, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s, %v\n%s", address, r.Status, err, raw)
	}
	return string(raw), r.Header
}

// href is where a link leads.
func href(t *testing.T, ctx context.Context, selector string) (to string) {
	t.Helper()
	do(t, ctx, chromedp.Evaluate(fmt.Sprintf(`document.querySelector(%q).href`, selector), &to))
	return to
}

// typeIn types into a field of the sign-off, and leaves it.
func typeIn(name, value string) chromedp.Action {
	return chromedp.Evaluate(fmt.Sprintf(`(() => { const i = document.querySelector("#sign-off [name=%s]"); i.focus(); i.value = %q; i.dispatchEvent(new Event("input", { bubbles: true })); i.dispatchEvent(new Event("change", { bubbles: true })); })()`, name, value), nil)
}

// withoutOhms leaves the ohmmeter readings out.
func withoutOhms(lines []string) (kept []string) {
	for _, l := range lines {
		if !strings.Contains(l, `"type":"ohms"`) {
			kept = append(kept, l)
		}
	}
	return kept
}

// TestSignOff signs a pad that is as planned: refused while a coil is unread and
// while no ohms are, then signed; the record on one sheet; read again and
// compared.
func TestSignOff(t *testing.T) {
	t.Parallel()
	_, plan := demoNamed(t, "kennel")
	program := startProgram(t)
	ctx := newBrowser(t, 1280, 900)
	do(t, ctx, chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the pad", `document.querySelector(".coil-button")`)
	lines := withoutOhms(madeCapture(t, plan, 1))
	// All but the last coil.
	last := len(lines) - 1
	for !strings.Contains(lines[last], `"type":"hold"`) {
		last--
	}
	phone := program.postingPhone(t, "tester")
	phone.send(lines[:last]...)
	refused := func(why string) {
		t.Helper()
		waitFor(t, ctx, "the reason "+why, fmt.Sprintf(`document.querySelector("#not-yet")?.textContent === %q`, why))
	}
	refused("C3 was not read; the ohms of the whole wiring were not read.")
	phone.send(lines[last:]...)
	refused("the ohms of the whole wiring were not read.")
	shot(t, ctx, "refused")
	if r, err := http.Post(program.Bench+"api/sign-off", "application/json", strings.NewReader(fmt.Sprintf(`{"check":%q,"maker":"AB"}`, state(t, program).Check.ID))); err != nil {
		t.Fatal(err)
	} else {
		raw, _ := io.ReadAll(r.Body)
		r.Body.Close()
		if r.StatusCode != http.StatusBadRequest || !strings.Contains(string(raw), "needs-exception") || !strings.Contains(string(raw), "write down why") {
			t.Errorf("%s: %s", r.Status, raw)
		}
	}
	phone.send(`{"type":"ohms","t":900,"across":"pad","ohms":0.98,"celsius":20}`)
	waitFor(t, ctx, "the sign-off", `document.querySelector("#sign").textContent === "Sign off" && !document.querySelector("#not-yet") && document.querySelector("#verdict").textContent.includes("the ohms agree. Sign off, then tape.")`)

	do(t, ctx, press("#to-sign-off"))
	waitFor(t, ctx, "the form", `document.activeElement === document.querySelector("#sign-off [name=serial]")`)

	// Each field says whether it has to be filled in.
	waitFor(t, ctx, "what may stay empty", `[...document.querySelectorAll("#sign-off form label")].filter((l) => l.getClientRects().length > 0).every((l) => l.textContent.includes("may stay empty") !== l.control.required)`)

	// What is typed outlives a reload.
	do(t, ctx, typeIn("serial", "K-17"), typeIn("note", "Test pad.\nLeads of 30 cm."),
		chromedp.Evaluate(`(() => { const i = document.querySelector("#sign-off [name=maker]"); i.value = "AB"; i.dispatchEvent(new Event("input")); })()`, nil), chromedp.Reload())
	waitFor(t, ctx, "what was typed", `document.querySelector("#sign-off [name=serial]")?.value === "K-17" && document.querySelector("#sign-off [name=note]").value.includes("30 cm") && document.querySelector("#sign-off [name=maker]").value === "AB"`)
	shot(t, ctx, "form")
	do(t, ctx, press("#sign"))
	waitFor(t, ctx, "it to be signed", `document.querySelector("#sign-off .outcome")?.textContent.includes("Signed off")`)
	shot(t, ctx, "signed")

	// The record: its JSON matches the sum on the page, its sheet is one page.
	sum := text(t, ctx, "#sign-off .rec-sum code")
	raw, _ := fetchBench(t, href(t, ctx, `#sign-off a[href$=".json"]`))
	if got := sha256Of(raw); got != sum {
		t.Errorf("SHA-256 of the JSON is %s, the page says %s", got, sum)
	}
	var record struct{ Serial, Maker, Note string }
	if err := json.Unmarshal([]byte(raw), &record); err != nil || record.Serial != "K-17" || record.Maker != "AB" || record.Note != "Test pad.\nLeads of 30 cm." {
		t.Errorf("%+v, %v", record, err)
	}
	sheet := href(t, ctx, `#sign-off a[href$=".html"]`)
	printed(t, ctx, sheet, true)
	axe(t, ctx, "the record")

	// Saved to disk it opens without the program, and asks for nothing else.
	html, _ := fetchBench(t, sheet)
	saved := filepath.Join(t.TempDir(), "K-17.html")
	if err := os.WriteFile(saved, []byte(html), 0o600); err != nil {
		t.Fatal(err)
	}
	asked := make(chan string, 100)
	listening, stop := context.WithCancel(ctx)
	chromedp.ListenTarget(listening, func(e any) {
		if r, ok := e.(*network.EventRequestWillBeSent); ok && !strings.HasPrefix(r.Request.URL, "data:") {
			asked <- r.Request.URL
		}
	})
	do(t, ctx, network.Enable(), chromedp.Navigate("file://"+saved))
	waitFor(t, ctx, "the record from disk", `document.body.innerText.includes("K-17") && document.querySelectorAll("svg").length > 0 && [...document.images].every((i) => i.complete && i.naturalWidth > 0)`)
	shot(t, ctx, "from-disk")
	stop()
	for close(asked); ; {
		u, more := <-asked
		if !more {
			break
		}
		if u != "file://"+saved {
			t.Errorf("the record asks for %s", u)
		}
	}

	// A later check of the same pad, with a coil turned over meanwhile.
	do(t, ctx, chromedp.Navigate(program.Bench), chromedp.WaitVisible("#check-signed-again", chromedp.ByQuery), press("#check-signed-again"))
	waitFor(t, ctx, "the new check", `document.querySelector("#sign-off").hidden`)
	readPad(t, ctx, program, "later", madeCapture(t, plan, 7, layout.Fault{Kind: layout.CoilReversed, ID: "B2"}))
	waitFor(t, ctx, "the comparison", `/B2 was claimed as planned; now it is claimed reversed/.test(document.querySelector(".rec-changes")?.textContent) && [...document.querySelectorAll(".rec-changes li")].every((l) => l.textContent.startsWith("B2 "))`)
	if v := text(t, ctx, ".rec-changes"); !strings.Contains(v, "the same serial number, K-17") {
		t.Error(v)
	}
	shot(t, ctx, "compared")

	// Another pad of the plan may be one signed before: it is known again by its number alone.
	do(t, ctx, press("#new-check"), chromedp.WaitVisible("#begin-check", chromedp.ByQuery))
	picked := func(plan, said string) {
		t.Helper()
		do(t, ctx, chromedp.Evaluate(fmt.Sprintf(`(() => { const s = document.querySelector("#dialog [name=plan]"); s.value = %q; s.dispatchEvent(new Event("change")); })()`, plan), nil))
		waitFor(t, ctx, "what was signed of "+plan, fmt.Sprintf(`document.querySelector("#signed-before").textContent.startsWith(%q) && (%[1]q !== "" || document.querySelector("#signed-before").textContent === "")`, said))
	}
	picked("another", "Signed off before: K-17 (20")
	shot(t, ctx, "signed-before")
	picked("same", "")
	picked("ring", "")
}

// TestSignOffWithException signs a pad that is not as planned, in writing.
func TestSignOffWithException(t *testing.T) {
	t.Parallel()
	_, plan := demoNamed(t, "kennel")
	program := startProgram(t)
	ctx := newBrowser(t, 768, 1000)
	do(t, ctx, chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the pad", `document.querySelector(".coil-button")`)
	readPad(t, ctx, program, "tester", madeCapture(t, plan, 2, layout.Fault{Kind: layout.CoilReversed, ID: "B2"}))
	waitFor(t, ctx, "the reason", `document.querySelector("#not-yet")?.textContent === "B2 is not claimed as planned."`)
	const reason = "B2 goes to the test bed \u2013 turned on purpose."
	do(t, ctx, press("#sign-off summary"), typeIn("reason", reason), chromedp.Reload())
	waitFor(t, ctx, "the reason typed", fmt.Sprintf(`document.querySelector("#sign-off [name=reason]")?.value === %q && document.querySelector("#sign-off details").open`, reason))
	if s := text(t, ctx, "#sign-off"); strings.Contains(s, "null") || strings.Contains(s, "undefined") || !strings.Contains(s, "13 ohmmeter readings, all within") {
		t.Error(s)
	}
	// Without a name it is not sent at all.
	do(t, ctx, press("#sign"))
	if s := state(t, program); s.SignOff.Signed != nil {
		t.Fatal("signed by nobody")
	}
	do(t, ctx, typeIn("maker", "CD"), press("#sign"))
	waitFor(t, ctx, "it to be signed", `document.querySelector("#sign-off .outcome")?.textContent.includes("with an exception") && document.querySelector("#sign-off .rec-typed").textContent.startsWith("B2 goes")`)
	shot(t, ctx, "signed")
	html, _ := fetchBench(t, href(t, ctx, `#sign-off a[href$=".html"]`))
	for _, s := range []string{"Signed off with a written exception", "B2 goes to the test bed", "B2 (reversed)", "serial", "none given"} {
		if !strings.Contains(html, s) {
			t.Errorf("the record lacks %q", s)
		}
	}
	printed(t, ctx, href(t, ctx, `#sign-off a[href$=".html"]`), true)
}

// TestRecordsList searches, exports, and takes in into an empty store.
func TestRecordsList(t *testing.T) {
	t.Parallel()
	_, plan := demoNamed(t, "kennel")
	program := startProgram(t)
	ctx := newBrowser(t, 1280, 900)
	do(t, ctx, chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the pad", `document.querySelector(".coil-button")`)
	// Two checks: a signed one, and one of a pad with a fault.
	readPad(t, ctx, program, "one", madeCapture(t, plan, 1))
	waitFor(t, ctx, "the claim", `document.querySelector("#sign").textContent === "Sign off"`)
	do(t, ctx, typeIn("serial", "K-17"), typeIn("maker", "AB"), press("#sign"), chromedp.WaitVisible("#check-signed-again", chromedp.ByQuery), press("#check-signed-again"))
	waitFor(t, ctx, "the new check", `document.querySelector("#sign-off").hidden`)
	readPad(t, ctx, program, "two", madeCapture(t, plan, 2, layout.Fault{Kind: layout.StringReversed, ID: "C"}))
	waitFor(t, ctx, "the fault", `document.querySelector("#not-yet")`)
	do(t, ctx, typeIn("serial", "zebra"), typeIn("note", "=1+1"), chromedp.Evaluate(`location.hash = "records"`, nil))
	rows := func(n int) {
		t.Helper()
		waitFor(t, ctx, fmt.Sprintf("%d rows", n), fmt.Sprintf(`document.querySelectorAll(".rec-list tbody tr").length === %d`, n))
	}
	find := func(words string) {
		do(t, ctx, chromedp.Evaluate(fmt.Sprintf(`(() => { const i = document.querySelector("#rec-find"); i.value = %q; i.dispatchEvent(new Event("input")); })()`, words), nil))
	}
	rows(2)
	find("zeb")
	rows(1)
	do(t, ctx, chromedp.Reload())
	waitFor(t, ctx, "the search kept", `document.querySelector("#rec-find")?.value === "zeb"`)
	rows(1)
	find("nothing has these words")
	waitFor(t, ctx, "the advice", `document.querySelector("#rec-count").textContent.includes("Try fewer words")`)
	find("signed off as planned")
	rows(1)
	if s := text(t, ctx, ".rec-list tbody"); !strings.Contains(s, "K-17") || !strings.Contains(s, "by AB") {
		t.Error(s)
	}
	find("")
	rows(2)
	looked(t, ctx, "the list")
	// On paper every column stands under its head, also on a sheet narrower than a
	// screen.
	var aside []string
	do(t, ctx, emulation.SetEmulatedMedia().WithMedia("print"), chromedp.EmulateViewport(680, 900), chromedp.Evaluate(`(() => {
		const seen = (row) => [...row.cells].filter((c) => c.checkVisibility());
		const heads = seen(document.querySelector(".rec-list thead tr"));
		return [...document.querySelectorAll(".rec-list tbody tr")].flatMap((row) => {
			const cells = seen(row);
			return heads.map((h, i) => [h.textContent, h.getBoundingClientRect(), cells[i]?.getBoundingClientRect()]).filter(([, h, c]) => !c || Math.abs(h.left - c.left) > 1 || Math.abs(h.right - c.right) > 1).map(([name]) => row.textContent + ": " + name);
		});
	})()`, &aside), emulation.SetEmulatedMedia(), chromedp.EmulateViewport(1280, 900))
	if len(aside) > 0 {
		t.Errorf("on paper not under their heads: %q", aside)
	}
	do(t, ctx, press(`[data-sort="serial"]`))
	waitFor(t, ctx, "the order", `document.querySelector('th[aria-sort="ascending"]') && document.querySelector(".rec-list .rec-serial").textContent === "K-17"`)
	if file := text(t, ctx, "#rec-file"); file != filepath.Join(program.Data, "polewise.db") {
		t.Errorf("the page says everything is kept in %s", file)
	}

	// The one chosen alone is exported.
	do(t, ctx, press(`.rec-list tbody tr:last-child .rec-choose input`))
	waitFor(t, ctx, "one chosen", `document.querySelector("#rec-export").textContent === "Export the 1 chosen"`)
	if one, _ := fetchBench(t, href(t, ctx, "#rec-export")); strings.Count(one, `"plan_toml"`) != 1 || !strings.Contains(one, "zebra") {
		t.Errorf("the export of the one called zebra has %d checks", strings.Count(one, `"plan_toml"`))
	}
	do(t, ctx, press(`.rec-list tbody tr:last-child .rec-choose input`))

	// Exported: as CSV, as JSON, and the whole file.
	choose := func(form string) {
		do(t, ctx, chromedp.Evaluate(fmt.Sprintf(`(() => { const s = document.querySelector("#rec-form"); s.value = %q; s.dispatchEvent(new Event("change")); })()`, form), nil))
	}
	choose("csv")
	table, _ := fetchBench(t, href(t, ctx, "#rec-export"))
	cells, err := csv.NewReader(strings.NewReader(table)).ReadAll()
	if err != nil || len(cells) != 1+2*9 || strings.Count(table, "reversed") != 3 {
		t.Errorf("%d lines, %v:\n%s", len(cells), err, table)
	}
	choose("json")
	archive, header := fetchBench(t, href(t, ctx, "#rec-export"))
	if !strings.Contains(header.Get("Content-Disposition"), "attachment") {
		t.Error("the export is not saved as a file")
	}
	if db, _ := fetchBench(t, href(t, ctx, "#rec-backup")); !strings.HasPrefix(db, "SQLite format 3\x00") {
		t.Error("the backup is no database")
	}

	// Into an empty store: the same list, the same record, to the byte.
	file := filepath.Join(t.TempDir(), "checks.json")
	if err := os.WriteFile(file, []byte(archive), 0o600); err != nil {
		t.Fatal(err)
	}
	empty := startProgram(t)
	do(t, ctx, chromedp.Navigate(empty.Bench+"#records"))
	waitFor(t, ctx, "the empty list", `document.querySelector("#rec-count")?.textContent.includes("take checks in from a file")`)
	takeIn := func(path, says string) {
		t.Helper()
		do(t, ctx, chromedp.SetUploadFiles("#rec-import", []string{path}, chromedp.ByQuery))
		waitFor(t, ctx, says, fmt.Sprintf(`document.querySelector("#rec-taken").textContent.includes(%q)`, says))
	}
	spoilt := filepath.Join(t.TempDir(), "spoilt.json")
	if err := os.WriteFile(spoilt, []byte(strings.Replace(archive, `"maker":"AB"`, `"maker":"XY"`, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	takeIn(spoilt, "what was signed has been changed")
	shot(t, ctx, "refused")
	rows(0)
	takeIn(file, "2 taken in, 0 skipped")
	rows(2)
	takeIn(file, "0 taken in, 2 skipped")
	shot(t, ctx, "taken")
	again, _ := fetchBench(t, empty.Bench+"api/checks/export?as=json")
	if !bytes.Equal(sorted(again), sorted(archive)) {
		t.Error("exported again it differs")
	}
	// And a check opened by the keyboard; the focus goes along, and back.
	do(t, ctx, chromedp.Evaluate(`[...document.querySelectorAll(".rec-list tbody tr")].find((r) => r.textContent.includes("K-17")).querySelector("a").focus()`, nil), chromedp.KeyEvent(kb.Enter))
	waitFor(t, ctx, "the old check", `document.querySelector("#past-name") === document.activeElement && document.querySelector(".rec-past").textContent.includes("By AB")`)
	do(t, ctx, press(".rec-past .rec-ohms summary"))
	waitFor(t, ctx, "its ohms", `/^Ohms read: 13, all within the plan's bounds/.test(document.querySelector(".rec-ohms").innerText) && /the pad: 1\.01 ohm, within 0\.90 to 1\.06/.test(document.querySelector(".rec-ohms").innerText)`)
	do(t, ctx, chromedp.NavigateBack())
	waitFor(t, ctx, "the line again", `document.activeElement?.closest("tr")?.textContent.includes("K-17")`)
	do(t, ctx, chromedp.KeyEvent(kb.Enter))
	waitFor(t, ctx, "the old check again", `document.querySelector("#past-name") === document.activeElement`)
	// What was expected of its readings was not stored: it is worked out again, as the
	// live check had it.
	expected := `["best", "rival", "rest"].every((name) => document.querySelectorAll(".rec-past .plot .plot-" + name).length === 3) && document.querySelector(".rec-past details.why .carried")`
	waitFor(t, ctx, "what was expected", expected+` && document.querySelector(".rec-past .plot-key").textContent.includes("Everything is as planned")`)
	looked(t, ctx, "an old check")

	// Of a large one that takes a while: it can be stopped and had again, and what
	// fails says what to do.
	asked := make(chan fetch.RequestID, 10)
	holding, letGo := context.WithCancel(ctx)
	chromedp.ListenTarget(holding, func(e any) {
		if p, ok := e.(*fetch.EventRequestPaused); ok {
			asked <- p.RequestID
		}
	})
	do(t, ctx, fetch.Enable().WithPatterns([]*fetch.RequestPattern{{URLPattern: "*/weighed"}}), chromedp.Reload())
	<-asked
	waitFor(t, ctx, "word of it", `/Working out again what was expected of 9 readings: all of them are held against one explanation after another, \d+ s so far/.test(document.querySelector(".rec-past .rec-working:not([hidden])")?.textContent)`)
	shot(t, ctx, "weighing")
	do(t, ctx, press("#rec-weigh-stop"))
	waitFor(t, ctx, "it to be stopped", `document.querySelector("#rec-weigh-outcome").textContent.includes("Stopped") && document.querySelectorAll(".rec-past .plot-read").length === 3`)
	do(t, ctx, press("#rec-weigh-again"))
	do(t, ctx, fetch.FailRequest(<-asked, network.ErrorReasonConnectionRefused))
	waitFor(t, ctx, "what to do", `document.querySelector("#rec-weigh-outcome .trouble")?.textContent.includes("Start it again in its terminal")`)
	shot(t, ctx, "not-weighed")
	do(t, ctx, press("#rec-weigh-again"))
	do(t, ctx, fetch.ContinueRequest(<-asked))
	waitFor(t, ctx, "what was expected after all", expected+` && document.querySelector("#rec-weigh-again").hidden`)
	do(t, ctx, fetch.Disable())
	letGo()
	// Of very many it is asked for first. The nine stand seven times here.
	do(t, ctx, chromedp.Evaluate(`(() => {
		const fetched = window.fetch;
		window.fetch = async (path, o) => {
			const r = await fetched(path, o);
			if (!/^api\/checks\/[0-9a-f]+$/.test(path)) return r;
			const state = await r.json();
			state.holds = Array.from({ length: 7 }, () => state.holds).flat();
			window.fetch = fetched;
			return new Response(JSON.stringify(state));
		};
		const here = location.hash;
		location.hash = "records";
		setTimeout(() => (location.hash = here), 100);
	})()`, nil))
	waitFor(t, ctx, "it to be offered", `document.querySelector("#rec-weigh-outcome")?.textContent.includes("these 63 readings") && !document.querySelector(".rec-past .plot-best")`)
	do(t, ctx, press("#rec-weigh-again"))
	waitFor(t, ctx, "what was expected, asked for", expected)

	// A long import is stopped.
	var unsigned string
	for l := range strings.SplitSeq(archive, "\n") {
		if l = strings.TrimSuffix(l, ","); strings.HasPrefix(l, `{"id":`) && !strings.Contains(l, `"record":`) {
			unsigned = l
		}
	}
	many := []string{}
	for i := range 600 {
		many = append(many, fmt.Sprintf(`{"id":"many-%d"`, i)+unsigned[strings.Index(unsigned, `,"began"`):])
	}
	if err := os.WriteFile(file, []byte(`{"type":"polewise-checks","v":1,"checks":[`+strings.Join(many, ",")+`]}`), 0o600); err != nil {
		t.Fatal(err)
	}
	do(t, ctx, chromedp.Evaluate(`location.hash = "records"`, nil), chromedp.WaitVisible("#rec-import", chromedp.ByQuery), chromedp.SetUploadFiles("#rec-import", []string{file}, chromedp.ByQuery), chromedp.WaitVisible("#rec-stop", chromedp.ByQuery))
	waitFor(t, ctx, "how far it is", `document.querySelector(".rec-importing progress")?.value > 0`)
	shot(t, ctx, "importing")
	do(t, ctx, chromedp.Click("#rec-stop", chromedp.ByQuery))
	waitFor(t, ctx, "it to be stopped", `document.querySelector("#rec-taken").textContent.startsWith("Stopped.") && !document.querySelector("#rec-stop")`)
}

// looked looks at a view by day and by night, at three widths, and saves how it
// looks.
func looked(t *testing.T, ctx context.Context, what string) {
	t.Helper()
	for _, mode := range []string{"light", "dark"} {
		for _, width := range []int64{360, 768, 1280} {
			do(t, ctx, theme(mode), chromedp.EmulateViewport(width, 800))
			var wide int64
			do(t, ctx, chromedp.Evaluate(`document.documentElement.scrollWidth`, &wide))
			if wide > width {
				t.Errorf("%s: %d pixels wide in a window of %d", what, wide, width)
			}
			if (mode == "light") == (width == 1280) && width != 768 { // either theme, either layout
				axe(t, ctx, fmt.Sprintf("%s %s %d px", what, mode, width))
			}
			shot(t, ctx, fmt.Sprintf("%s-%s-%d", strings.ReplaceAll(what, " ", "-"), mode, width))
		}
	}
	do(t, ctx, theme("light"), chromedp.EmulateViewport(1280, 900))
}

// TestRecordOfMuch prints records with little, more and as much typed as may be:
// the first part stays one page.
func TestRecordOfMuch(t *testing.T) {
	t.Parallel()
	ctx := newBrowser(t, 1280, 900)
	long := strings.Repeat("Wide words, WWW mmm. ", 30)
	usual := strings.Repeat("What a person writes who has much to say. ", 20)
	for _, demo := range []string{"mat", "bolster"} {
		toml, plan := demoNamed(t, demo)
		c, err := capture.Read(strings.NewReader(madeCapture(t, plan, 1)[0]))
		if err != nil {
			t.Fatal(err)
		}
		v, err := verdict.Judge(plan, c)
		if err != nil {
			t.Fatal(err)
		}
		r, err := record.Collect(plan, string(toml), v, []record.Source{{ID: "main", Captures: []*capture.Capture{c}}})
		if err != nil {
			t.Fatal(err)
		}
		if err := r.AddMap(t.Context(), plan); err != nil {
			t.Fatal(err)
		}
		r.Signed, r.Check = "2024-05-01T12:00:00Z", record.Check{ID: "c0ffee", Began: "2024-05-01T11:40:00Z"}
		r.Phones = []record.Phone{{Source: "a", Device: "a phone with a long name of its own", Route: "vector"}, {Source: "b", Device: "another phone with a long name", Route: "heading"}}
		for i, typed := range []struct {
			reason, note, serial, maker string
			except                      bool
		}{
			{"", "", "", "AB", false},
			{"", usual[:200], "17", "AB", false},
			{"", usual[:600], "17", "AB", false},
			{"", "1\n2\n3\n4\n5\n6\n7\n" + long[:586], strings.Repeat("W", 64), strings.Repeat("M", 64), false},
			{usual[:80], usual[:80], "17", "AB", true},
			{usual[:300], usual[:300], "17", "AB", true},
			{usual[:600], "", "17", "AB", true},
			{usual[:600], usual[:600], "a serial number with words", "Somebody with a longer name", true},
			{"1\n2\n3\n4\n5\n6\n7\n" + long[:586], "1\n2\n3\n4\n5\n6\n7\n" + long[:586], strings.Repeat("W", 64), strings.Repeat("M", 64), true},
		} {
			if demo != "mat" && i < 7 {
				continue // the drawing of another shape, with much text only
			}
			r.Note, r.Serial, r.Maker, r.Exception = typed.note, typed.serial, typed.maker, nil
			if typed.except {
				r.Exception = &record.Exception{Reason: typed.reason, Open: record.OpenOf(plan, v, nil, nil)}
			}
			_, sum, err := r.Encode()
			if err != nil {
				t.Fatal(err)
			}
			html, err := r.HTML(sum)
			if err != nil {
				t.Fatal(err)
			}
			file := filepath.Join(t.TempDir(), "record.html")
			if err := os.WriteFile(file, html, 0o600); err != nil {
				t.Fatal(err)
			}
			printed(t, ctx, "file://"+file, i == 8)
			if t.Failed() {
				t.Fatalf("%s with %+v", demo, typed)
			}
		}
	}
}

// papers are sheets in inches, across and down.
var papers = map[string][2]float64{"A4": {8.27, 11.69}, "Letter": {8.5, 11}}

const paperMargin = 12 / 25.4 // inches

// onPaper prints the page as it stands.
func onPaper(t *testing.T, ctx context.Context, inches [2]float64) (pdf []byte) {
	t.Helper()
	do(t, ctx, chromedp.ActionFunc(func(ctx context.Context) (err error) {
		pdf, _, err = page.PrintToPDF().WithPaperWidth(inches[0]).WithPaperHeight(inches[1]).WithMarginTop(paperMargin).WithMarginBottom(paperMargin).WithMarginLeft(paperMargin).WithMarginRight(paperMargin).Do(ctx)
		return err
	}))
	return pdf
}

// printed checks a record's sheet: of A4 and of Letter its first part is one
// page, nothing is cut, and the details follow.
func printed(t *testing.T, ctx context.Context, sheet string, details bool) {
	t.Helper()
	do(t, ctx, chromedp.Navigate(sheet))
	for name, inches := range papers {
		print := func() []byte { t.Helper(); return onPaper(t, ctx, inches) }
		// As wide as on paper, nothing stands out at the side but a space at a line end.
		var out []string
		do(t, ctx, emulation.SetEmulatedMedia().WithMedia("print"), chromedp.EmulateViewport(int64((inches[0]-2*paperMargin)*96), 1000),
			chromedp.Evaluate(`[...document.querySelectorAll("body *:not(svg *)")].filter((e) => e.getBoundingClientRect().right > innerWidth + 6).map((e) => e.outerHTML.slice(0, 80))`, &out),
			emulation.SetEmulatedMedia().WithMedia(""))
		if len(out) > 0 {
			t.Errorf("cut at the side of %s: %q", name, out)
		}
		if details {
			whole := print()
			if n := pages(whole); n < 2 {
				t.Errorf("the record with its details takes %d pages of %s", n, name)
			}
			if dir := os.Getenv("POLEWISE_ARTEFACTS"); dir != "" {
				if err := os.WriteFile(filepath.Join(dir, filepath.Base(t.Name())+"-"+name+".pdf"), whole, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
		do(t, ctx, chromedp.Evaluate(`document.querySelector(".details").hidden = true`, nil))
		if n := pages(print()); n != 1 {
			t.Errorf("the record's first part takes %d pages of %s", n, name)
		}
		do(t, ctx, chromedp.Evaluate(`document.querySelector(".details").hidden = false`, nil))
	}
}

var pageObject = regexp.MustCompile(`/Type\s*/Page\b[^s]`)

// pages counts the pages of a PDF file.
func pages(pdf []byte) int { return len(pageObject.FindAll(pdf, -1)) }

// sorted is an export with its lines in order, whatever order it was made in.
func sorted(text string) []byte {
	lines := strings.Split(strings.ReplaceAll(text, "},\n", "}\n"), "\n")
	slices.Sort(lines)
	return []byte(strings.Join(lines, "\n"))
}

func sha256Of(text string) string { return fmt.Sprintf("%x", sha256.Sum256([]byte(text))) }

// state is what the program tells its bench page.
func state(t *testing.T, program *Running) (s struct {
	Check struct {
		ID string `json:"id"`
	} `json:"check"`
	SignOff struct {
		Signed *struct{} `json:"signed"`
	} `json:"sign_off"`
}) {
	t.Helper()
	raw, _ := fetchBench(t, program.Bench+"api/state")
	if err := json.Unmarshal([]byte(raw), &s); err != nil {
		t.Fatal(err)
	}
	return s
}
