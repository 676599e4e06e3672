package desk

import (
	"context"
	"io"
	"log/slog"
	"strings"
	"testing"

	"polewise/assets"
	"polewise/field/verdict"
	"polewise/server/store"
)

// TestVerdictThatBreaksOff: it comes back as an error, and the program goes on.
func TestVerdictThatBreaksOff(t *testing.T) {
	d := &Desk{}
	v, account, err := d.judged(t.Context(), nil, nil, nil) // no model at all
	if v != nil || account != nil || err == nil || !strings.Contains(err.Error(), "the verdict broke off") {
		t.Errorf("%v, %v, %v", v, account, err)
	}
}

// unattended is a desk with a check, whose worker is not running.
func unattended(t *testing.T) *Desk {
	t.Helper()
	st, err := store.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	d := &Desk{store: st, log: slog.New(slog.NewTextHandler(io.Discard, nil)), clients: map[*Client]bool{}, dirty: make(chan struct{}, 1)}
	if err := d.Begin(t.Context(), PlanText{Name: "kennel.toml", TOML: assets.Demo()}, nil); err != nil {
		t.Fatal(err)
	}
	return d
}

// TestModelThatBroke: a model in which a verdict broke off is not used again.
func TestModelThatBroke(t *testing.T) {
	d := unattended(t)
	w := &warmed{&verdict.Model{}, d.check.plan} // anything asked of it breaks
	d.judge(t.Context(), w)
	if d.check.verdict != nil || !d.check.judging.Stopped {
		t.Fatalf("a verdict of no model: %+v, judging %+v", d.check.verdict, d.check.judging)
	}
	d.judge(t.Context(), w)
	if d.check.verdict == nil || d.check.judging != nil {
		t.Error("no verdict after the one that broke off")
	}
	kept := w.model
	halted, cancel := context.WithCancel(t.Context())
	cancel()
	d.judge(halted, w)
	if w.model != kept {
		t.Error("one that was stopped costs its model")
	}
}

// TestVerdictOfACheckThatEnded: it is told to nobody, and is none of the check after it.
func TestVerdictOfACheckThatEnded(t *testing.T) {
	d := unattended(t)
	g := d.gather()
	if err := d.BeginSame(t.Context()); err != nil {
		t.Fatal(err)
	}
	phone := d.Phone()
	d.conclude(t.Context(), g, &verdict.Verdict{Outcome: verdict.Fault}, &accounted{})
	if d.check.verdict != nil || len(phone.Queue) > 0 {
		t.Errorf("the new check's verdict %+v, %d messages", d.check.verdict, len(phone.Queue))
	}
	d.conclude(t.Context(), d.gather(), &verdict.Verdict{Outcome: verdict.Undecided}, &accounted{})
	if d.check.verdict == nil || len(phone.Queue) != 2 {
		t.Errorf("its own: %+v, %d messages", d.check.verdict, len(phone.Queue))
	}
}
