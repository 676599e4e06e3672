package desk_test

import (
	"context"
	"io"
	"log/slog"
	"testing"

	"polewise/assets"
	"polewise/server/desk"
	"polewise/server/store"
)

// shop is a desk over a store of its own.
type shop struct {
	store *store.Store
	desk  *desk.Desk
}

// openShop opens a desk on a folder; shut ends it, and another may follow on it.
func openShop(t *testing.T, dir string) (s shop, shut func()) {
	t.Helper()
	st, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	d, err := desk.Open(ctx, st, desk.PlanText{Name: "kennel.toml", TOML: assets.Demo()}, slog.New(slog.NewTextHandler(io.Discard, nil)))
	if err != nil {
		t.Fatal(err)
	}
	return shop{st, d}, func() {
		cancel()
		d.Wait()
		if err := st.Close(); err != nil {
			t.Error(err)
		}
	}
}

func newShop(t *testing.T) shop {
	t.Helper()
	s, shut := openShop(t, t.TempDir())
	t.Cleanup(shut)
	return s
}
