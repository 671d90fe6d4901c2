// Package borrowed is what the bench page is made of besides its own files.
package borrowed

import (
	"io/fs"
	"path/filepath"
	"strings"

	"coilsweep/cmd/coilsweep/guide"
	"coilsweep/report/plot"
)

// Files are the files of the page that other parts of the program hold:
// the drawings of the guide, and the style and the script of the figures.
type Files struct{}

func (Files) Open(name string) (fs.File, error) {
	if strings.HasPrefix(name, "guide/") && filepath.Ext(name) == ".svg" {
		return guide.Files.Open(strings.TrimPrefix(name, "guide/"))
	}
	return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
}

func (Files) ReadFile(name string) ([]byte, error) {
	switch {
	case name == "plot.css":
		return []byte(plot.Palette + plot.CSS), nil
	case name == "plot.js":
		return []byte(plot.Script), nil
	case strings.HasPrefix(name, "guide/") && filepath.Ext(name) == ".svg":
		return guide.Files.ReadFile(strings.TrimPrefix(name, "guide/"))
	}
	return nil, &fs.PathError{Op: "read", Path: name, Err: fs.ErrNotExist}
}
