package store

import (
	"net/url"
	"path/filepath"
	"strings"
)

// address is a file as SQLite takes it, with pragmas as in busy_timeout(5000). In such
// an address "?", "#" and "%" mean something (https://www.sqlite.org/uri.html): a folder
// may have them in its name.
func address(path string, pragmas ...string) (string, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	abs = filepath.ToSlash(abs)
	if !strings.HasPrefix(abs, "/") {
		abs = "/" + abs // a drive's letter comes first
	}
	u := url.URL{Path: abs}
	return "file://" + u.EscapedPath() + "?" + url.Values{"_pragma": pragmas}.Encode(), nil
}
