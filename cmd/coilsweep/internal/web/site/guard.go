package site

import (
	"crypto/subtle"
	"net/http"
	"net/url"
	"strings"
	"time"
)

// KeyHeader carries the key of every call.
const KeyHeader = "X-Coilsweep-Key"

// pagePolicy lets a page use what comes from this server and nothing else.
const pagePolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; " +
	"connect-src 'self'; font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// guard lets through what comes from the server's own page, or is a link that
// was given out.
func (s *Server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", pagePolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if err := s.admit(r); err != nil {
			// Whoever is refused is not waited for, whatever more there was to come.
			h.Set("Connection", "close")
			http.NewResponseController(w).SetReadDeadline(time.Now())
			writeError(w, err)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// admit refuses what a page of another site, or another name for this machine,
// may have sent.
func (s *Server) admit(r *http.Request) *Error {
	refuse := func(status int, text string) *Error { return &Error{Status: status, Text: text} }
	if !s.hosts[strings.ToLower(r.Host)] {
		return refuse(http.StatusMisdirectedRequest,
			"this server is not called that: open the address that the program printed")
	}
	if r.Header.Get("Upgrade") != "" {
		return refuse(http.StatusBadRequest, "connections cannot be upgraded")
	}
	switch r.Method {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut:
	default:
		return refuse(http.StatusMethodNotAllowed, "that method is not for this server")
	}
	if !strings.HasPrefix(r.URL.Path, "/api/") {
		return nil // a file: they can only be read
	}
	if origin := r.Header.Get("Origin"); origin != "" && !s.own(origin) {
		return refuse(http.StatusForbidden, "pages of other sites may not call this server")
	}
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" && site != "none" {
		return refuse(http.StatusForbidden, "pages of other sites may not call this server")
	}
	key := r.Header.Get(KeyHeader)
	if key == "" {
		return refuse(http.StatusUnauthorized, "the key is missing: open the address that the program printed")
	}
	if subtle.ConstantTimeCompare([]byte(key), []byte(s.key)) != 1 {
		return refuse(http.StatusUnauthorized,
			"the key is that of another start: open the address that the program printed")
	}
	return nil
}

// own tells whether an origin is this server.
func (s *Server) own(origin string) bool {
	u, err := url.Parse(origin)
	return err == nil && u.Scheme == "http" && u.Path == "" && u.User == nil && s.hosts[strings.ToLower(u.Host)]
}
