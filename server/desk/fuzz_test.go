package desk

import (
	"context"
	"io"
	"log/slog"
	"testing"

	"polewise/assets"
	"polewise/server/store"
)

// FuzzStream feeds a source's messages. Nothing may crash the desk, and what is
// acknowledged must be in the store, once.
func FuzzStream(f *testing.F) {
	for _, s := range []string{
		`{"seq":1,"lines":[{"type":"start","v":1,"route":"vector"},{"type":"b","t":0,"uT":[1,2,3]}]}`,
		`{"seq":2,"lines":[{"type":"hold","t":1,"at":"A1"},{"type":"lift","t":3}]}`,
		`{"seq":1,"lines":[{"type":"start","route":"hand"},{"type":"reading","t":1,"at":"B2","face":"none"},{"type":"ohms","t":2,"across":"pad","ohms":null}]}`,
		`{"seq":3,"lines":[{"type":"drive","t":0,"state":"pulse","hz":2,"duty":0.5},{"type":"pass","t":1,"along":["A1","A2"]},{"type":"pass-end","t":4}]}`,
		`{"undo":{"at":"A1","t":1}}`,
		`{"seq":-1,"lines":[null]}`,
		`[]`,
		`{"seq":1e30,"lines":"x"}`,
	} {
		f.Add([]byte(s))
	}
	st, err := store.Open(f.TempDir())
	if err != nil {
		f.Fatal(err)
	}
	ctx := context.Background()
	d := &Desk{store: st, log: slog.New(slog.NewTextHandler(io.Discard, nil)), clients: map[*Client]bool{}, dirty: make(chan struct{}, 1), done: make(chan struct{})}
	f.Fuzz(func(t *testing.T, raw []byte) {
		if err := d.Begin(ctx, PlanText{Name: "kennel.toml", TOML: assets.Demo()}, nil); err != nil {
			t.Fatal(err)
		}
		for range 2 {
			ack, err := d.Ingest(ctx, "fuzz", raw)
			if err != nil {
				if err.Error() == "" {
					t.Fatal("an error without words")
				}
				continue
			}
			if ack < 0 {
				continue
			}
			messages, err := st.Messages(ctx, d.check.ID)
			if err != nil || len(messages) != 1 || messages[0].Seq != ack || len(messages[0].Lines) == 0 {
				t.Fatalf("acknowledged %d, stored %+v, %v", ack, messages, err)
			}
		}
		for _, id := range d.check.order {
			d.check.sources[id].captures(d.check.thrown)
		}
		d.State()
	})
}
