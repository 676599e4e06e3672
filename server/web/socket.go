package web

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"sync"
	"time"

	"github.com/gorilla/websocket"

	"polewise/field/capture"
	"polewise/server/desk"
	"polewise/server/store"
)

// Limits of a socket.
const (
	maxMessage = 1 << 20
	writeWait  = 10 * time.Second
	pongWait   = 15 * time.Second // a phone that has lost its network is told of so soon
	pingEvery  = 5 * time.Second
)

var upgrader = websocket.Upgrader{
	HandshakeTimeout: 10 * time.Second,
	ReadBufferSize:   4096, WriteBufferSize: 4096,
	CheckOrigin: originIsOurs,
}

// socket is a websocket whose writes are serialised and which ends with its
// site.
type socket struct {
	conn *websocket.Conn
	mu   sync.Mutex
	once sync.Once
	done chan struct{} // closed when reading has ended
}

// finish ends what runs beside the reading.
func (k *socket) finish() {
	k.once.Do(func() { close(k.done) })
	k.conn.Close()
}

// upgrades tells whether a request asks for a websocket; if not it has answered.
func upgrades(w http.ResponseWriter, r *http.Request, hint string) bool {
	if websocket.IsWebSocketUpgrade(r) {
		return true
	}
	w.Header().Set("Upgrade", "websocket") // RFC 9110, 15.5.22
	refuse(w, r, http.StatusUpgradeRequired, "not-a-websocket", "This address is for a websocket.", hint)
	return false
}

// open upgrades a request. The returned function must be called at the end.
func (s *Site) open(w http.ResponseWriter, r *http.Request) (*socket, func()) {
	if !upgrades(w, r, "Connect to it with one, or open the page instead.") {
		return nil, nil
	}
	if !s.hold() {
		s.closing(w)
		return nil, nil
	}
	conn, err := upgrader.Upgrade(w, r, nil)
	if err != nil { // the answer has been sent
		s.sockets.Done()
		return nil, nil
	}
	k := &socket{conn: conn, done: make(chan struct{})}
	conn.SetReadLimit(maxMessage)
	_ = conn.SetReadDeadline(time.Now().Add(pongWait))
	conn.SetPongHandler(func(string) error { return conn.SetReadDeadline(time.Now().Add(pongWait)) })
	ended := make(chan struct{})
	go func() { // keeps the line alive; ends with the socket
		defer close(ended)
		tick := time.NewTicker(pingEvery)
		defer tick.Stop()
		for {
			select {
			case <-k.done:
				return
			case <-s.ctx.Done():
				k.close(websocket.CloseGoingAway, "shutting down")
				return
			case <-tick.C:
				if conn.WriteControl(websocket.PingMessage, nil, time.Now().Add(writeWait)) != nil {
					return
				}
			}
		}
	}()
	return k, func() {
		k.finish()
		<-ended
		s.sockets.Done()
	}
}

func (k *socket) close(code int, text string) {
	_ = k.conn.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(code, text), time.Now().Add(time.Second))
	_ = k.conn.SetReadDeadline(time.Now().Add(time.Second))
}

// drain reads on after close, until the client has gone or its time is up: a
// connection closed over unread bytes takes the words sent before down with it.
func (k *socket) drain() {
	k.conn.SetPongHandler(nil) // it would give more time
	for {
		if _, _, err := k.conn.NextReader(); err != nil {
			return
		}
	}
}

func (k *socket) write(raw []byte) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	_ = k.conn.SetWriteDeadline(time.Now().Add(writeWait))
	return k.conn.WriteMessage(websocket.TextMessage, raw)
}

func (k *socket) writeJSON(v any) error {
	raw, err := json.Marshal(v)
	if err != nil {
		return err
	}
	return k.write(raw)
}

// forward sends a client's queue until the socket or the client ends.
func (k *socket) forward(c *desk.Client) {
	for {
		select {
		case <-k.done:
			return
		case <-c.Dropped:
			k.close(websocket.CloseTryAgainLater, "too slow")
			return
		case raw := <-c.Queue:
			if k.write(raw) != nil {
				return
			}
		}
	}
}

var sourceID = regexp.MustCompile(`^[A-Za-z0-9_-]{1,32}$`)

// sourceOf returns the request's source, or another where it names none; on failure it
// has answered.
func sourceOf(w http.ResponseWriter, r *http.Request, otherwise string) (string, bool) {
	id := r.URL.Query().Get("source")
	if id == "" {
		return otherwise, true
	}
	if !sourceID.MatchString(id) {
		problem(w, http.StatusBadRequest, "bad-source", "The source in this address must be 1 to 32 letters, digits, - or _.", "Put such a name behind source= in the address.")
		return "", false
	}
	return id, true
}

// stream is a phone's websocket: numbered lines in, acknowledgements, verdicts
// and prompts out.
func (s *Site) stream(w http.ResponseWriter, r *http.Request) {
	source, ok := sourceOf(w, r, "main")
	if !ok {
		return
	}
	k, end := s.open(w, r)
	if k == nil {
		return
	}
	defer end()
	ctx, cancel := context.WithCancel(context.WithoutCancel(r.Context()))
	defer cancel()
	client := s.Desk.Phone()
	defer s.Desk.Unsubscribe(client)
	hello := s.Desk.Join(source)
	defer s.Desk.Leave(source)
	if k.writeJSON(hello) != nil {
		return
	}
	var out sync.WaitGroup
	out.Go(func() { k.forward(client) })
	defer out.Wait()
	defer k.finish()

	limit := s.Pace.limiter()
	slowed := 0
	for {
		_, raw, err := k.conn.ReadMessage()
		if err != nil {
			// Beyond the read limit the library has already answered 1009.
			return
		}
		if !limit.Allow() {
			if slowed++; slowed > s.Pace.Slowed {
				_ = k.writeJSON(map[string]any{"error": tooFast()})
				k.close(websocket.ClosePolicyViolation, "too many messages")
				k.drain()
				return
			}
			time.Sleep(s.Pace.gap())
		}
		ack, err := s.Desk.Ingest(ctx, source, raw)
		switch {
		case err == nil && ack >= 0:
			err = k.writeJSON(map[string]int64{"ack": ack})
		case err != nil:
			err = k.writeJSON(map[string]any{"error": s.clientError(err)})
		}
		if err != nil {
			return
		}
	}
}

// clientError puts an error of a message into words for who sent it.
func (s *Site) clientError(err error) *desk.ClientError {
	return s.inWords(err, desk.ClientError{Code: "not-stored", Say: "The readings could not be stored: %v.", Hint: cmp.Or(store.Remedy(err), "Is the disk full?") + " They are sent again by themselves."})
}

// inWords is an error for the client. What is not the client's fault is logged, and told
// as trouble says, which names the error.
func (s *Site) inWords(err error, trouble desk.ClientError) *desk.ClientError {
	var c *desk.ClientError
	if errors.As(err, &c) {
		return c
	}
	trouble.Say = fmt.Sprintf(trouble.Say, err)
	s.Log.Error(trouble.Say)
	return &trouble
}

// live is the bench page's websocket: the state, and what the phones do.
func (s *Site) live(w http.ResponseWriter, r *http.Request) {
	k, end := s.open(w, r)
	if k == nil {
		return
	}
	defer end()
	client := s.Desk.Bench()
	defer s.Desk.Unsubscribe(client)
	if k.writeJSON(map[string]any{"type": "state", "state": s.Desk.State()}) != nil {
		return
	}
	var out sync.WaitGroup
	out.Go(func() { k.forward(client) })
	defer out.Wait()
	defer k.finish()
	for brake := s.Pace.brake(); ; brake() {
		if _, _, err := k.conn.ReadMessage(); err != nil {
			return
		}
	}
}

// rehearsalBench takes where the made-up phone is dragged to and gives back what
// its sensor says.
func (s *Site) rehearsalBench(w http.ResponseWriter, r *http.Request) {
	s.rehearsal(w, r, func(re *desk.Rehearsal, raw []byte) {
		var p desk.Pose
		if json.Unmarshal(raw, &p) == nil {
			re.Moved(p)
		}
	})
}

// rehearsalSensor is the made-up phone's sensor for the phone page; the page
// says when the person switches the supply.
func (s *Site) rehearsalSensor(w http.ResponseWriter, r *http.Request) {
	s.rehearsal(w, r, func(re *desk.Rehearsal, raw []byte) {
		var m struct {
			Drive capture.DriveState `json:"drive"`
		}
		if json.Unmarshal(raw, &m) == nil {
			re.Drive(m.Drive)
		}
	})
}

func (s *Site) rehearsal(w http.ResponseWriter, r *http.Request, take func(*desk.Rehearsal, []byte)) {
	re, ok := s.rehearsalOf(w, r)
	if !ok {
		return
	}
	k, end := s.open(w, r)
	if k == nil {
		return
	}
	defer end()
	readings, quit := re.Listen()
	defer quit()
	var out sync.WaitGroup
	out.Go(func() {
		for {
			select {
			case <-k.done:
				return
			case <-re.Done():
				k.close(websocket.CloseNormalClosure, "the rehearsal has ended")
				return
			case v := <-readings:
				if k.writeJSON(v) != nil {
					return
				}
			}
		}
	})
	defer out.Wait()
	defer k.finish()
	for brake := s.Pace.brake(); ; brake() {
		_, raw, err := k.conn.ReadMessage()
		if err != nil {
			return
		}
		take(re, raw)
	}
}
