package whole

import (
	"os"
	"path/filepath"
	"testing"
)

func TestWrite(t *testing.T) {
	dir := t.TempDir()
	path, link := filepath.Join(dir, "file"), filepath.Join(dir, "link")
	if err := Write(path, []byte("one"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(path, link); err != nil {
		t.Fatal(err)
	}
	if err := Write(link, []byte("two"), 0o644); err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(path)
	if err != nil || string(raw) != "two" {
		t.Errorf("%q, %v", raw, err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link is one no more: %v, %v", info.Mode(), err)
	}
}

// TestForItsOwnerAlone: what only its owner may read takes no wider permissions from a file
// that was there.
func TestForItsOwnerAlone(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	for _, mode := range []os.FileMode{0o644, 0o600} {
		if err := Write(path, []byte("one"), mode); err != nil {
			t.Fatal(err)
		}
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
}

// TestNotWritten: what cannot take the file's place leaves nothing behind.
func TestNotWritten(t *testing.T) {
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "folder", "in it"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := Write(filepath.Join(dir, "folder"), []byte("one"), 0o600); err == nil {
		t.Error("a file took a folder's place")
	}
	if list, err := os.ReadDir(dir); err != nil || len(list) != 1 {
		t.Errorf("%v, %v", list, err)
	}
}
