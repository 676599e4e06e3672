package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"runtime/debug"

	"github.com/go-chi/chi/v5"
	"github.com/go-chi/chi/v5/middleware"

	"polewise/server/desk"
)

// brokeOff is what a person is told when a request took the program by surprise. What was
// stored before stands; whether this was done nobody knows.
var brokeOff = desk.ClientError{Code: "broke-off", Say: "A mistake in the program itself stopped this.",
	Hint: "What was stored is not lost. Load the page again, look whether it was done, and try again if not. If it stays, the terminal in which the program runs says where it happened."}

// survives answers a request whose handler panics. The stack goes into the log, and none of
// it to the client.
func (s *Site) survives(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		out := middleware.NewWrapResponseWriter(w, r.ProtoMajor)
		defer func() {
			p := recover()
			if p == nil {
				return
			}
			if err, ok := p.(error); ok && errors.Is(err, http.ErrAbortHandler) {
				panic(p)
			}
			// By its route: a phone's address has the pairing key in it.
			s.Log.Error(fmt.Sprintf("a request broke off: %v\n%s", p, debug.Stack()), "method", r.Method, "route", chi.RouteContext(r.Context()).RoutePattern())
			h := out.Header()
			switch {
			case out.Status() == 0 && r.Header.Get("Upgrade") == "":
				for _, of := range []string{"Content-Disposition", "Content-Length", "Content-Encoding", "Retry-After"} {
					h.Del(of)
				}
				refuse(out, r, http.StatusInternalServerError, brokeOff.Code, brokeOff.Say, brokeOff.Hint)
			case h.Get("Content-Type") == linesType:
				_ = json.NewEncoder(out).Encode(map[string]any{"error": brokeOff}) // as lines.line
			default:
				panic(http.ErrAbortHandler) // half an answer must not look whole
			}
		}()
		next.ServeHTTP(out, r)
	})
}
