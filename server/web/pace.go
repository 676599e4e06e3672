package web

import (
	"sync"
	"time"

	"golang.org/x/time/rate"

	"polewise/server/desk"
)

// Pace is how fast a phone may send. It sends a few messages a second, after a
// reconnect a burst. What comes faster than it can be meant is slowed down; what
// goes on all the same is cut off.
type Pace struct {
	PerSecond rate.Limit
	Burst     int
	Slowed    int // messages slowed down before the socket is closed
}

var usualPace = Pace{PerSecond: 60, Burst: 600, Slowed: 2000}

// postWait is how long a message by POST is held back at most; then it is refused.
const postWait = 2 * time.Second

func (p Pace) limiter() *rate.Limiter { return rate.NewLimiter(p.PerSecond, p.Burst) }

// gap is the time between messages at that pace.
func (p Pace) gap() time.Duration { return time.Duration(float64(time.Second) / float64(p.PerSecond)) }

// brake is called before each message of a socket that is not cut off, and slows it down
// to that pace.
func (p Pace) brake() func() {
	limit := p.limiter()
	return func() {
		if !limit.Allow() {
			time.Sleep(p.gap())
		}
	}
}

func tooFast() *desk.ClientError {
	return &desk.ClientError{Code: "too-fast", Say: "Messages come faster than a phone can mean them.",
		Hint: "What was acknowledged is stored. Wait a second and send the rest again under the same numbers."}
}

// limiters holds one limiter for each source that sends by POST. The zero value
// is ready.
type limiters struct {
	mu sync.Mutex
	m  map[string]*rate.Limiter
}

const maxLimiters = 256 // beyond these all begin anew: names cost a sender nothing

func (l *limiters) of(source string, p Pace) *rate.Limiter {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.m[source] == nil {
		if l.m == nil || len(l.m) >= maxLimiters {
			l.m = map[string]*rate.Limiter{}
		}
		l.m[source] = p.limiter()
	}
	return l.m[source]
}
