package site

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"path"
	"path/filepath"
	"strings"
)

// madePolicy is for pages that the program made, shown under a link: their
// scripts run, in an origin of their own that has no key and reaches nothing.
const madePolicy = "sandbox allow-scripts allow-downloads allow-modals; default-src 'none'; " +
	"style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; media-src data:; " +
	"base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// link is a file that was given out.
type link struct {
	name  string
	serve Handler
}

// Link gives a file an address of its own, which cannot be guessed and holds
// while the server runs; what names the file within the program. serve writes
// its content. HTML is shown, anything else downloaded under name.
func (s *Server) Link(what, name string, serve Handler) string {
	mac := hmac.New(sha256.New, []byte(s.key))
	fmt.Fprintf(mac, "%d %s%s", len(what), what, name)
	token := base64.RawURLEncoding.EncodeToString(mac.Sum(nil))
	s.lock.Lock()
	s.links[token] = link{name, serve}
	s.lock.Unlock()
	return "/file/" + token + "/" + url.PathEscape(name)
}

// Unlink makes a link that was given out one of nothing.
func (s *Server) Unlink(link string) {
	token, _, _ := strings.Cut(strings.TrimPrefix(link, "/file/"), "/")
	s.lock.Lock()
	delete(s.links, token)
	s.lock.Unlock()
}

func (s *Server) serveLink(w http.ResponseWriter, r *http.Request) {
	s.lock.Lock()
	l, ok := s.links[r.PathValue("token")]
	s.lock.Unlock()
	if !ok || r.PathValue("name") != l.name {
		writeError(w, Errorf(http.StatusNotFound,
			"this link is not one of this start of the program: take it from the page again"))
		return
	}
	if path.Ext(l.name) == ".html" {
		w.Header().Set("Content-Security-Policy", madePolicy)
		w.Header().Set("Content-Type", types[".html"])
	} else {
		w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": l.name}))
		w.Header().Set("Content-Type", "application/octet-stream")
	}
	s.answer(w, r, l.serve)
}

// ServeFile is a Handler's work for a file on disk below the root. One that is
// reached through a symbolic link is not served.
func (s *Server) ServeFile(w http.ResponseWriter, r *http.Request, path string) error {
	rel, err := filepath.Rel(s.root, path)
	if err != nil {
		return Errorf(http.StatusForbidden, "%s is outside the folder that is served", path)
	}
	if _, err := s.Confine(filepath.ToSlash(rel)); err != nil {
		return err
	}
	f, err := s.dir.Open(rel)
	if err != nil {
		return Errorf(http.StatusNotFound, "cannot read the file: %v", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() {
		return Errorf(http.StatusNotFound, "%s is no file", path)
	}
	http.ServeContent(w, r, "", info.ModTime(), f)
	return nil
}
