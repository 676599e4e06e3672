package feed

import (
	"math"
	"testing"
	"time"
)

// FuzzReadings parses what strangers' devices may send, in chunks cut anywhere, and looks
// for the field in it. Nothing may crash, and what counts as a number is one.
func FuzzReadings(f *testing.F) {
	for _, s := range []string{
		"x,y,z\n1,2,3\n", "1;2,5;3\n", `{"mag":{"x":1,"y":2}}`, `[{"name":"a","v":[1,2,3]}]`, "x: 1 y=2 z:3", "t\tx\n1\t2\r\n",
		"12,5 -3,1 4", "\"a,b\",c\n1,2", "[1,2,3]", "a b c\n1 2\n", "=1", ":::", "1e400,2,3", "x=1,,=2", "µ=3",
	} {
		f.Add([]byte(s), []byte(s))
	}
	f.Fuzz(func(t *testing.T, a, b []byte) {
		var p Parser
		now := time.Unix(10, 0)
		w := newWatch(now)
		for _, chunk := range [][]byte{a, b, a} {
			messages, _ := p.Parse(chunk)
			for i := range messages {
				m := &messages[i]
				if len(m.Numbers) == 0 {
					t.Fatal("a message without numbers")
				}
				for _, n := range m.Numbers {
					if math.IsNaN(n.Value) || math.IsInf(n.Value, 0) {
						t.Fatalf("%q is the number %g", chunk, n.Value)
					}
				}
				now = now.Add(70 * time.Millisecond)
				w.see(m, now)
			}
		}
		w.propose()
		w.seen(now)
		p.Columns()
	})
}
