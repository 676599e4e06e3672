package browsertest

import (
	"io"
	"net"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"polewise/layout"
)

// line is a network in which bytes may vanish with nobody told, as they do when a
// phone leaves its range.
type line struct {
	to   string
	mu   sync.Mutex
	dead bool
	open map[net.Conn]bool
}

// newLine leads a program's phone page over a line, and returns its address there.
func newLine(t *testing.T, r *Running) (*line, string) {
	t.Helper()
	u, err := url.Parse(r.Phone)
	if err != nil {
		t.Fatal(err)
	}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l := &line{to: u.Host, open: map[net.Conn]bool{}}
	var all sync.WaitGroup
	all.Go(func() {
		for {
			c, err := ln.Accept()
			if err != nil {
				return
			}
			all.Go(func() { l.carry(c) })
		}
	})
	t.Cleanup(func() {
		ln.Close()
		l.live()
		all.Wait()
	})
	return l, strings.Replace(r.Phone, u.Host, ln.Addr().String(), 1)
}

func (l *line) carry(a net.Conn) {
	defer a.Close()
	b, err := net.Dial("tcp", l.to)
	if err != nil {
		return
	}
	defer b.Close()
	l.mu.Lock()
	l.open[a], l.open[b] = true, true
	l.mu.Unlock()
	pass := func(to, from net.Conn) {
		defer to.Close()
		_, _ = io.Copy(&vanishing{l, to}, from) // ends when either end is closed
	}
	var both sync.WaitGroup
	both.Go(func() { pass(a, b) })
	both.Go(func() { pass(b, a) })
	both.Wait()
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.open, a)
	delete(l.open, b)
}

// vanishing is an end of a line: on a dead one what is written seems sent.
type vanishing struct {
	*line
	to net.Conn
}

func (v *vanishing) Write(p []byte) (int, error) {
	v.mu.Lock()
	dead := v.dead
	v.mu.Unlock()
	if dead {
		return len(p), nil
	}
	return v.to.Write(p)
}

func (l *line) die() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.dead = true
}

// live lets new connections through; what hung in the old ones is gone.
func (l *line) live() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.dead = false
	for c := range l.open {
		c.Close()
	}
}

// TestPhoneLineDies: in the middle of a hold the phone leaves the range of the
// network. Nobody tells the page so; it has to notice by the answers missing.
func TestPhoneLineDies(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	l, address := newLine(t, program)
	phone := newPhone(t)
	sent := keepBook(t, phone)
	do(t, phone, before(knowsSensor))
	v := newVirtualPhone(t, phone, layout.Fault{Kind: layout.CoilReversed, ID: "A1"})
	do(t, phone, chromedp.Navigate(address))
	says(t, phone, "#link", "connected")
	v.beginVector()
	v.lieUntil("in the middle of the hold", `document.querySelector("#title").textContent === "Counting A1" && document.querySelector("#count").value > 0.2`)
	l.die()
	v.count("A1")
	v.lieUntil("the loss to be told", `/no connection: \d+ messages kept, sent when it is back/.test(document.querySelector("#link").textContent)`)
	shot(t, phone, "dead")
	l.live()
	v.lieUntil("connected again", `document.querySelector("#link").textContent === "connected"`)
	v.lieUntil("A1 claimed", `document.querySelector("#claim").textContent.includes("A1 reversed")`)
	program.waitState(t, "A1 reversed", is("A1", "reversed"))
	time.Sleep(500 * time.Millisecond) // no reading comes, so that nothing new is made
	if lines := sent.check(t, program); count(lines, "hold") != 1 || count(lines, "lift") != 1 {
		t.Errorf("stored %d hold, %d lift; expected one of each", count(lines, "hold"), count(lines, "lift"))
	}
}

// knowsSensor is a phone whose sensor's place was found before.
const knowsSensor = `try { localStorage.setItem("polewise sensor", JSON.stringify({mm: [4, 21], sd_mm: [1, 1], marked: false})); } catch {}`

// TestPhoneSocketHangs: something between phone and program swallows websockets:
// they neither open nor fail. The page does not wait for ever.
func TestPhoneSocketHangs(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	phone := newBrowser(t, 360, 740, chromedp.Flag("enable-features", ""))
	sent := keepBook(t, phone)
	do(t, phone, before(`
		window.WebSocket = class {
			static OPEN = 1;
			constructor() { this.readyState = 0; }
			send() { throw new Error("not open"); }
			close() { setTimeout(() => this.onclose?.({}), 5); }
		};
		try { localStorage.setItem("polewise out-face", '"north"'); } catch {}`), chromedp.Navigate(program.Phone))
	says(t, phone, "#title", "Kennel")
	do(t, phone, press("#begin"), chromedp.WaitVisible("#is-on", chromedp.ByQuery), press("#is-on"), chromedp.WaitVisible("#south", chromedp.ByQuery), press("#south"))
	says(t, phone, "#link", "connected, by single messages")
	says(t, phone, "#claim", "A1")
	program.waitState(t, "A1 read", used("A1"))
	waitFor(t, phone, "the claim", `/undecided so far|likely|reversed/.test(document.querySelector("#claim").textContent)`)
	if lines := sent.check(t, program); count(lines, "reading") != 1 {
		t.Errorf("stored %q, expected one reading", lines)
	}
}
