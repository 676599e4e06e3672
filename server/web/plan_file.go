package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"time"

	"polewise/layout"
	"polewise/server/desk"
	"polewise/server/whole"
)

// planWatch is the file named with --plan: watched, so that the page notices when
// it is edited beside it, and written when the person saves.
type planWatch struct {
	path   string
	saving sync.Mutex // one save at a time

	mu   sync.Mutex
	seen fileState
}

// fileState is a file as it was last read. Hash is "" where it cannot be read.
type fileState struct {
	text string
	hash string
	say  string // why not, in words
	size int64
	when time.Time // of its last change
	read time.Time
}

const (
	watchEvery = time.Second
	// freshFile is how long after its last change a file is read again though
	// its time stays: clocks of file systems are coarse.
	freshFile = 3 * time.Second
)

// WatchPlan watches a plan file until the site closes.
func (s *Site) WatchPlan(path string) {
	s.plan = &planWatch{path: path}
	s.plan.look()
	if !s.hold() {
		return
	}
	go func() {
		defer s.sockets.Done()
		s.plan.watch(s.ctx, s.tellPlanFile)
	}()
}

// watch tells of every change of the file.
func (p *planWatch) watch(ctx context.Context, tell func(hash string)) {
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if now, changed := p.look(); changed {
			tell(now.hash)
		}
	}
}

// look reads the file where it may have changed since.
func (p *planWatch) look() (fileState, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if info, err := os.Stat(p.path); err == nil && p.seen.hash != "" && info.Size() == p.seen.size && info.ModTime().Equal(p.seen.when) &&
		p.seen.read.Sub(p.seen.when) > freshFile {
		return p.seen, false
	}
	was := p.seen.hash
	p.seen = readPlanFile(p.path)
	return p.seen, p.seen.hash != was
}

func readPlanFile(path string) fileState {
	st := fileState{read: time.Now()}
	f, err := os.Open(path)
	if err != nil {
		st.say = "The plan's file cannot be read: " + err.Error() + "."
		if errors.Is(err, fs.ErrNotExist) {
			st.say = "The plan's file has gone from " + path + "."
		}
		return st
	}
	defer f.Close()
	if info, err := f.Stat(); err == nil {
		st.size, st.when = info.Size(), info.ModTime()
	}
	raw, err := io.ReadAll(io.LimitReader(f, layout.MaxPlanBytes+1))
	switch {
	case err != nil:
		st.say = "The plan's file cannot be read: " + err.Error() + "."
		return st
	case len(raw) > layout.MaxPlanBytes:
		st.say = fmt.Sprintf("The file %s has more than %d KiB. Is it a plan?", path, layout.MaxPlanBytes>>10)
		return st
	}
	st.text, st.hash = string(raw), hashOf(raw)
	return st
}

func hashOf(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:8])
}

// fileAnswer is the plan file as the page knows it; without --plan the path is
// empty.
type fileAnswer struct {
	Path     string `json:"path"`
	Name     string `json:"name"`
	Hash     string `json:"hash"`
	PlanTOML string `json:"plan_toml"`
	Say      string `json:"say"`
}

func (p *planWatch) answer(st fileState) fileAnswer {
	return fileAnswer{Path: p.path, Name: filepath.Base(p.path), Hash: st.hash, PlanTOML: st.text, Say: st.say}
}

func (s *Site) planFile(w http.ResponseWriter, r *http.Request) {
	if s.plan == nil {
		writeJSON(w, http.StatusOK, fileAnswer{})
		return
	}
	st, _ := s.plan.look()
	writeJSON(w, http.StatusOK, s.plan.answer(st))
}

// planSave writes the plan file, unless it is no longer the one the page began
// from.
func (s *Site) planSave(w http.ResponseWriter, r *http.Request) {
	var q struct {
		PlanTOML string `json:"plan_toml"`
		Over     string `json:"over"` // hash of the file to be replaced
	}
	if !s.read(w, r, &q) {
		return
	}
	switch {
	case s.plan == nil:
		problem(w, http.StatusConflict, "no-file", "The program was started without a plan file.", "Start it with --plan FILE to save there; without it the page downloads the plan.")
		return
	case len(q.PlanTOML) > layout.MaxPlanBytes:
		problem(w, http.StatusRequestEntityTooLarge, "too-long", fmt.Sprintf("A plan may have %d KiB at most.", layout.MaxPlanBytes>>10), "Make it shorter: leave comments out, or split the pad.")
		return
	}
	p := s.plan
	p.saving.Lock()
	defer p.saving.Unlock()
	if now := readPlanFile(p.path); now.hash != q.Over {
		writeJSON(w, http.StatusConflict, map[string]any{
			"error": desk.ClientError{Code: "changed-on-disk", Say: "The file was changed beside this page.", Hint: "Choose which to keep."},
			"file":  p.answer(now),
		})
		return
	}
	if err := whole.Write(p.path, []byte(q.PlanTOML), 0o644); err != nil {
		problem(w, http.StatusInternalServerError, "not-saved", "The plan could not be saved: "+err.Error()+".", "The file is as it was. Make room, or allow the program to write there, and save again.")
		return
	}
	st, _ := p.look()
	s.tellPlanFile(st.hash)
	writeJSON(w, http.StatusOK, p.answer(st))
}

// tellPlanFile tells the bench pages that the plan's file is another now.
func (s *Site) tellPlanFile(hash string) {
	s.Desk.TellBenches(func() any { return map[string]any{"type": "plan-file", "hash": hash} })
}
