// Package whole writes files whole or not at all.
package whole

import (
	"io/fs"
	"os"
	"path/filepath"
)

// Write replaces a file by another in one step, so that no reader, no full disk and
// no power cut leaves half of it. A link stays a link. A file that is there keeps
// its permissions; mode is for one that is not, and for what only its owner may read.
func Write(path string, data []byte, mode fs.FileMode) (err error) {
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	if info, err := os.Stat(path); err == nil && mode&0o077 != 0 {
		mode = info.Mode().Perm()
	}
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, ".polewise-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			_ = f.Close()           // the first error counts
			_ = os.Remove(f.Name()) // nor is there more to do about this
		}
	}()
	if err := f.Chmod(mode); err != nil {
		return err
	}
	if _, err := f.Write(data); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return err
	}
	// The name is on disk only once its folder is; some systems cannot do that.
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync()
		_ = d.Close()
	}
	return nil
}
