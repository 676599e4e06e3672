// Package web serves the two pages and their streams: the bench page on
// loopback, the phone page over TLS under the pairing key.
package web

import (
	"context"
	"encoding/json"
	"errors"
	"html/template"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/go-chi/chi/v5"
	"github.com/go-chi/chi/v5/middleware"

	"polewise/assets"
	"polewise/layout"
	"polewise/phoneapp"
	"polewise/server/desk"
	"polewise/server/feed"
	"polewise/server/pairing"
	"polewise/server/store"
)

// Site serves one desk. Its sockets end when Close is called.
type Site struct {
	Desk *desk.Desk
	Key  pairing.Key
	Log  *slog.Logger
	// Store is where checks are listed from; what changes them goes through Desk.
	Store *store.Store
	// CA is the local authority's certificate; nil with a certificate of the
	// maker's own.
	CA []byte
	// Pace is how fast a phone may send.
	Pace Pace

	feeds   *feed.Hub
	plan    *planWatch      // nil without --plan
	ctx     context.Context // ends when the site closes
	end     context.CancelFunc
	mu      sync.Mutex
	sockets sync.WaitGroup

	posting limiters // of phones that send by POST

	planningTurn turn          // of what a plan comes to
	mapTurn      turn          // of the field over a plan
	locatingTurn turn          // of where a phone's sensor sits
	weighingTurn turn          // of a check that is over, judged again
	weighing     time.Duration // bounds that
	telling      time.Duration // from one line of progress to the next
	patience     time.Duration // with a body that does not come
}

// NewSite returns a site without sockets.
func NewSite(d *desk.Desk, st *store.Store, key pairing.Key, log *slog.Logger) *Site {
	ctx, end := context.WithCancel(context.Background())
	s := &Site{Desk: d, Store: st, Key: key, Log: log, feeds: feed.NewHub(d, st, log), ctx: ctx, end: end, Pace: usualPace, planningTurn: newTurn(), mapTurn: newTurn(), locatingTurn: newTurn(), weighingTurn: newTurn(), weighing: usualWeighing, telling: tellEvery, patience: usualPatience}
	s.sockets.Go(func() { s.feeds.Run(ctx) })
	return s
}

// Close asks every socket to end and waits until they have.
func (s *Site) Close() {
	s.mu.Lock()
	s.end()
	s.mu.Unlock()
	s.sockets.Wait()
}

// hold counts a socket; false when the site is closing.
func (s *Site) hold() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.ctx.Err() != nil {
		return false
	}
	s.sockets.Add(1)
	return true
}

// Content-Security-Policies. Nothing is loaded from elsewhere and no script or
// style stands in a page.
const (
	cspBase  = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'"
	cspBench = cspBase + "; frame-src 'self'; frame-ancestors 'none'"
	cspPhone = cspBase + "; frame-ancestors 'none'"
	// The rehearsal shows the phone page in a frame of the bench page.
	cspFramed = cspBase + "; frame-ancestors 'self'"
)

func headers(csp string) func(http.Handler) http.Handler {
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			h := w.Header()
			h.Set("Content-Security-Policy", csp)
			h.Set("X-Content-Type-Options", "nosniff")
			h.Set("Referrer-Policy", "no-referrer")
			h.Set("Cross-Origin-Opener-Policy", "same-origin")
			h.Set("Cross-Origin-Resource-Policy", "same-origin")
			h.Set("Permissions-Policy", "magnetometer=(self), accelerometer=(self), gyroscope=(self), screen-wake-lock=(self), camera=(), microphone=(), geolocation=()")
			h.Set("Cache-Control", "no-store")
			next.ServeHTTP(w, r)
		})
	}
}

// squeeze compresses text, also what comes line by line; events and what is packed
// already go as they are.
var squeeze = middleware.Compress(5, "text/html", "text/css", "text/plain", "text/csv", "text/javascript", "application/json", linesType, "image/svg+xml")

// head answers HEAD as GET, the body of which the server leaves out. Events have no end
// to ask after.
func head(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodHead && !strings.HasSuffix(r.URL.Path, "/events") {
			r = r.WithContext(r.Context())
			r.Method = http.MethodGet
		}
		next.ServeHTTP(w, r)
	})
}

// Phone is the handler of the phone listener: all under the pairing key, 403
// for everything else.
func (s *Site) Phone() http.Handler { return head(s.phoneListener()) }

func (s *Site) phoneListener() http.Handler {
	r := chi.NewRouter()
	r.Use(headers(cspPhone), s.timely, s.sameOrigin, squeeze, s.survives)
	r.Route("/{key}", s.phoneRoutes)
	forbid := func(w http.ResponseWriter, r *http.Request) {
		unread(w, r)
		refuse(w, r, http.StatusForbidden, "no-key", "This address lacks the pairing key.", "Scan the QR code on the bench page again.")
	}
	r.NotFound(forbid)
	r.MethodNotAllowed(forbid)
	return r
}

// phoneRoutes are the phone page and its streams, below the key.
func (s *Site) phoneRoutes(r chi.Router) {
	r.Use(s.requireKey)
	r.Get("/", page(phoneapp.Page))
	r.Handle("/app/*", static("/app/", phoneapp.Page))
	r.Handle("/common/*", static("/common/", assets.Common))
	r.Get("/ca.crt", s.authority)
	r.Get("/plan.json", s.planJSON)
	r.Get("/stream", s.stream)
	r.Post("/post", s.post)
	r.Post("/sensor", s.locate)
	r.Post("/convention", s.setConvention)
	r.Get("/events", s.events)
	r.Get("/feed", s.feedSocket)
	r.Post("/feed", s.feedPost)
	r.Get("/rehearsals/{id}/sensor", s.rehearsalSensor)
	r.Get("/rehearsals/{id}/ohms", s.rehearsalOhms)
	r.NotFound(func(w http.ResponseWriter, r *http.Request) {
		refuse(w, r, http.StatusNotFound, "no-page", "There is nothing at this address.", "Scan the code on the bench page again.")
	})
	r.MethodNotAllowed(func(w http.ResponseWriter, r *http.Request) {
		refuse(w, r, http.StatusMethodNotAllowed, "wrong-method", "This address does not take "+r.Method+".", "Scan the code on the bench page again.")
	})
}

func (s *Site) requireKey(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !s.Key.Matches(chi.URLParam(r, "key")) {
			unread(w, r)
			refuse(w, r, http.StatusForbidden, "wrong-key", "The pairing key in this address is not the right one.", "Scan the QR code on the bench page again.")
			return
		}
		next.ServeHTTP(w, r)
	})
}

// sameOrigin refuses requests that another site's page makes: sockets, anything that
// changes something, and what a browser says it fetches for such a page. A link to a
// page may be followed from anywhere, one to data or to a download not.
func (s *Site) sameOrigin(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		changes := r.Method != http.MethodGet && r.Method != http.MethodHead
		if (changes || r.Header.Get("Upgrade") != "") && !originIsOurs(r) || fetchedElsewhere(r) {
			refuse(w, r, http.StatusForbidden, "foreign-origin", "This request comes from another site's page.", "Open the page from its own address.")
			return
		}
		next.ServeHTTP(w, r)
	})
}

func fetchedElsewhere(r *http.Request) bool {
	h := r.Header
	if site := h.Get("Sec-Fetch-Site"); site != "cross-site" && site != "same-site" {
		return false // its own page, an address typed, or not a browser
	}
	link := r.Method == http.MethodGet && h.Get("Sec-Fetch-Mode") == "navigate" && h.Get("Sec-Fetch-Dest") == "document"
	return !link || strings.HasPrefix(r.URL.Path, "/api/")
}

func originIsOurs(r *http.Request) bool {
	origin := r.Header.Get("Origin")
	if origin == "" {
		return true // not a browser
	}
	u, err := url.Parse(origin)
	return err == nil && strings.EqualFold(u.Host, r.Host)
}

// loopbackHost refuses other names for this machine, so that no foreign page
// can reach the bench by having its own name point here.
func loopbackHost(listen string) func(http.Handler) http.Handler {
	own, _, _ := net.SplitHostPort(listen)
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			host := r.Host
			if h, _, err := net.SplitHostPort(r.Host); err == nil {
				host = h
			}
			ip := net.ParseIP(strings.Trim(host, "[]"))
			if host != "localhost" && host != own && (ip == nil || !ip.IsLoopback()) {
				refuse(w, r, http.StatusForbidden, "wrong-host", "The bench page answers to 127.0.0.1 and localhost only.", "Open it by the address that the program printed.")
				return
			}
			next.ServeHTTP(w, r)
		})
	}
}

// Bench is the handler of the bench listener.
func (s *Site) Bench(listen string) http.Handler { return head(s.benchListener(listen)) }

func (s *Site) benchListener(listen string) http.Handler {
	r := chi.NewRouter()
	r.Use(headers(cspBench), s.timely, loopbackHost(listen), s.sameOrigin, squeeze, s.survives)
	nothing := func(w http.ResponseWriter, r *http.Request) {
		refuse(w, r, http.StatusNotFound, "no-page", "There is nothing at this address.", "Open the bench page by the address that the program printed.")
	}
	r.NotFound(nothing)
	r.MethodNotAllowed(func(w http.ResponseWriter, r *http.Request) {
		refuse(w, r, http.StatusMethodNotAllowed, "wrong-method", "This address does not take "+r.Method+".", "Open the bench page by the address that the program printed.")
	})
	r.Group(func(r chi.Router) {
		r.Get("/", page(assets.Bench))
		r.Handle("/app/*", static("/app/", assets.Bench))
		r.Handle("/common/*", static("/common/", assets.Common))
		r.Get("/live", s.live)
		r.Route("/api", s.api)
	})
	r.Group(func(r chi.Router) {
		r.Use(headers(cspFramed))
		r.Route("/phone/{key}", s.phoneRoutes)
	})
	return r
}

// page serves a folder's index.html.
func page(f fs.FS) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		http.ServeFileFS(w, r, f, "index.html")
	}
}

func static(prefix string, f fs.FS) http.Handler {
	files := http.FileServerFS(f)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		i := strings.Index(r.URL.Path, prefix)
		if i < 0 || strings.HasSuffix(r.URL.Path, "/") {
			refuse(w, r, http.StatusNotFound, "no-file", "There is no such file.", "Load the page again.")
			return
		}
		q := r.Clone(r.Context())
		q.URL.Path = r.URL.Path[i+len(prefix)-1:]
		files.ServeHTTP(w, q)
	})
}

// authority serves the local authority's certificate for phones to install.
func (s *Site) authority(w http.ResponseWriter, r *http.Request) {
	if s.CA == nil {
		refuse(w, r, http.StatusNotFound, "own-certificate", "This program runs with a certificate of your own.", "Install the authority that signed it.")
		return
	}
	w.Header().Set("Content-Type", "application/x-x509-ca-cert")
	attach(w, "polewise-authority.crt")
	s.send(w, s.CA)
}

func (s *Site) planJSON(w http.ResponseWriter, r *http.Request) {
	writeJSON(w, http.StatusOK, struct {
		*desk.State
		Beside map[string][]desk.Beside `json:"beside"`
		convention
	}{s.Desk.State(), s.Desk.Besides(), convention{s.outFace(r)}})
}

func writeJSON(w http.ResponseWriter, status int, v any) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(v) // the client has gone; nobody is left to tell
}

// refuse answers with an error in words, as a page where a person opened the address.
func refuse(w http.ResponseWriter, r *http.Request, status int, code, say, hint string) {
	if !strings.Contains(r.Header.Get("Accept"), "text/html") {
		problem(w, status, code, say, hint)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_ = refusal.Execute(w, map[string]string{"Say": say, "Hint": hint}) // the client has gone
}

// refusal needs no style of its own: a browser's own is readable, by day and by night.
var refusal = template.Must(template.New("refusal").Parse(`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>polewise</title>
</head>
<body>
<h1>{{.Say}}</h1>
<p>{{.Hint}}</p>
</body>
</html>
`))

// problem answers with an error in words, as the streams do.
func problem(w http.ResponseWriter, status int, code, say, hint string) {
	writeJSON(w, status, map[string]any{"error": desk.ClientError{Code: code, Say: say, Hint: hint}})
}

// fail answers an error of the desk: the client's own with 400, others with 500.
func (s *Site) fail(w http.ResponseWriter, err error) {
	var c *desk.ClientError
	var p *layout.Problems
	switch {
	case errors.As(err, &c):
		status := http.StatusBadRequest
		switch c.Code {
		case "seq-taken", "source-taken", "new-check", "signed-off", "changed", "other-check", "still-judging", "too-many-lines":
			status = http.StatusConflict
		case "too-fast", "too-many-sources":
			w.Header().Set("Retry-After", "1")
			status = http.StatusTooManyRequests
		case "no-check", "no-hold":
			status = http.StatusNotFound
		}
		writeJSON(w, status, map[string]any{"error": c})
	case errors.As(err, &p):
		writeJSON(w, http.StatusUnprocessableEntity, map[string]any{"error": desk.ClientError{Code: "bad-plan", Say: p.Error(), Hint: "Put the plan right, then try again."}, "problems": p.List})
	default:
		writeJSON(w, http.StatusInternalServerError, s.asClient(err))
	}
}

func mustJSON(v any) []byte {
	raw, err := json.Marshal(v)
	if err != nil {
		panic("web: " + err.Error())
	}
	return raw
}
