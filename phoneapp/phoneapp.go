// Package phoneapp holds the phone page.
package phoneapp

import (
	"embed"
	"io/fs"
)

//go:embed page
var files embed.FS

// Page holds the phone page and its modules.
var Page = func() fs.FS {
	f, err := fs.Sub(files, "page")
	if err != nil {
		panic("phoneapp: " + err.Error())
	}
	return f
}()
