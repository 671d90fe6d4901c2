package site

import (
	"embed"
	"errors"
	"io"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"time"
)

//go:embed assets
var embedded embed.FS

// assets are the files of the page.
func assets() fs.FS {
	sub, err := fs.Sub(embedded, "assets")
	if err != nil {
		panic(err) // the folder is embedded above
	}
	return sub
}

// both is one file system beside another, which may be nil.
type both struct{ first, second fs.FS }

func (b both) Open(name string) (fs.File, error) {
	f, err := b.first.Open(name)
	if errors.Is(err, fs.ErrNotExist) && b.second != nil {
		return b.second.Open(name)
	}
	return f, err
}

func (b both) ReadFile(name string) ([]byte, error) {
	data, err := fs.ReadFile(b.first, name)
	if errors.Is(err, fs.ErrNotExist) && b.second != nil {
		return fs.ReadFile(b.second, name)
	}
	return data, err
}

// types are those of all files that a page is made of: the system's own table
// may say anything.
var types = map[string]string{
	".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8",
	".svg": "image/svg+xml", ".txt": "text/plain; charset=utf-8",
}

// files serves a file system without listing its folders.
type files struct{ fs fs.FS }

func (f files) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		refuseMethod(w, r, http.MethodGet, http.MethodHead)
		return
	}
	name := strings.TrimPrefix(r.URL.Path, "/")
	if name == "" {
		name = "index.html"
	}
	kind, known := types[path.Ext(name)]
	data, err := fs.ReadFile(f.fs, name)
	if !known || err != nil {
		writeError(w, &Error{Status: http.StatusNotFound, Text: "there is no such page"})
		return
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "no-cache")
	http.ServeContent(w, r, "", time.Time{}, readSeeker(data))
}

func readSeeker(data []byte) io.ReadSeeker { return strings.NewReader(string(data)) }
