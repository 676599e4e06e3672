package verdict

import (
	"fmt"
	"testing"
)

// TestRestsFarApart: two rests that lie far apart tell no more of the background than that it
// is about there; two that agree tell it well.
func TestRestsFarApart(t *testing.T) {
	for _, apart := range []float64{3, 160} {
		lines := []string{`{"type":"start","v":1,"route":"vector"}`, `{"type":"drive","t":0,"state":"off"}`}
		at := 0.1
		read := func(count int, z float64) {
			for k := range count {
				lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.2f,"uT":[20.%d,5.%d,%.2f]}`, at, k%7, k%5, z+0.1*float64(k%3)))
				at += 0.1
			}
		}
		read(30, -40)
		lines = append(lines, fmt.Sprintf(`{"type":"drive","t":%.2f,"state":"on"}`, at), fmt.Sprintf(`{"type":"hold","t":%.2f,"at":"A1"}`, at+0.5))
		at++
		read(20, 260)
		lines = append(lines, fmt.Sprintf(`{"type":"lift","t":%.2f}`, at), fmt.Sprintf(`{"type":"drive","t":%.2f,"state":"off"}`, at+0.5))
		at++
		read(30, -40+apart)
		m, err := Warm(plain(t))
		if err != nil {
			t.Fatal(err)
		}
		e := m.engineOn(gathered(t, lines))
		if len(e.groups) != 1 {
			t.Fatalf("%d groups of backgrounds, expected one", len(e.groups))
		}
		if sd := e.groups[0].sd[2]; (apart > 100) != (sd > 60) {
			t.Errorf("rests %.0f uT apart: their background is told to %.0f uT", apart, sd)
		}
	}
}
