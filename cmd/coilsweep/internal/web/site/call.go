package site

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"runtime/debug"
	"strings"
)

// Error is an answer that is not good.
type Error struct {
	Status  int    `json:"-"`
	Text    string `json:"error"`
	Field   string `json:"field,omitempty"`   // the field that is wrong
	Running string `json:"running,omitempty"` // what the bench is busy with
	Exists  bool   `json:"exists,omitempty"`  // there is already one of that name
}

func (e *Error) Error() string { return e.Text }

// Errorf makes an Error without particulars.
func Errorf(status int, format string, args ...any) *Error {
	return &Error{Status: status, Text: fmt.Sprintf(format, args...)}
}

// Handler answers a call. An *Error that it returns is told as it is, any other
// with status 500. Where it has begun to write, the answer breaks off, so that
// half of it is not taken for the whole.
type Handler func(w http.ResponseWriter, r *http.Request) error

// maxBody bounds the body of a call that is no upload.
const maxBody = 1 << 20

// Handle answers calls of a method to a path below /api/, where alone the key is
// asked for. What changes something is POST or PUT; its body is JSON of at most
// 1 MiB.
func (s *Server) Handle(method, path string, h Handler) {
	s.handle(method, path, "application/json", maxBody, h)
}

func (s *Server) handle(method, path, kind string, most int64, h Handler) {
	if !strings.HasPrefix(path, "/api/") {
		panic("benchpage: " + path + " is not below /api/")
	}
	s.mux.HandleFunc(method+" "+path, func(w http.ResponseWriter, r *http.Request) {
		// Another site's form cannot send JSON unless its browser asks us first.
		sent, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
		switch {
		case method != http.MethodGet && sent != kind:
			writeError(w, Errorf(http.StatusUnsupportedMediaType, "want %s", kind))
			return
		case r.ContentLength > most:
			writeError(w, tooLarge(most))
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, most)
		s.answer(w, r, h)
	})
}

// answer lets h answer, whatever happens in it.
func (s *Server) answer(w http.ResponseWriter, r *http.Request, h Handler) {
	out := &begun{ResponseWriter: w}
	err := s.try(out, r, h)
	switch {
	case err == nil:
	case out.yes:
		panic(http.ErrAbortHandler) // net/http cuts the connection, and says nothing
	default:
		writeError(w, asError(err))
	}
}

func (s *Server) try(w http.ResponseWriter, r *http.Request, h Handler) (err error) {
	defer func() {
		if p := recover(); p != nil {
			s.fault(fmt.Sprintf("%s %s: %v\n%s", r.Method, r.Pattern, p, debug.Stack()))
			err = Errorf(http.StatusInternalServerError, "this failed inside the program, which goes on: %v", p)
		}
	}()
	return h(w, r)
}

// begun knows whether an answer has begun: then its status is on its way.
type begun struct {
	http.ResponseWriter
	yes bool
}

func (b *begun) WriteHeader(status int) {
	b.yes = true
	b.ResponseWriter.WriteHeader(status)
}

func (b *begun) Write(data []byte) (int, error) {
	b.yes = true
	return b.ResponseWriter.Write(data)
}

// Unwrap is for http.ResponseController.
func (b *begun) Unwrap() http.ResponseWriter { return b.ResponseWriter }

func tooLarge(most int64) *Error {
	return Errorf(http.StatusRequestEntityTooLarge, "that is larger than %d MiB, the most that is taken here", most>>20)
}

func asError(err error) *Error {
	var told *Error
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &told):
		return told
	case errors.As(err, &large):
		return tooLarge(large.Limit)
	}
	return Errorf(http.StatusInternalServerError, "%v", err)
}

func writeError(w http.ResponseWriter, e *Error) {
	h := w.Header()
	for _, ofFile := range []string{"Content-Disposition", "Content-Length", "Last-Modified"} {
		h.Del(ofFile)
	}
	h.Set("Content-Security-Policy", pagePolicy)
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Type", "application/json")
	w.WriteHeader(e.Status)
	json.NewEncoder(w).Encode(e)
}

// Answer writes v as JSON.
func Answer(w http.ResponseWriter, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	_, err = w.Write(data)
	return err
}

// Decode reads the one JSON value that is the body of a call into v. Fields
// that v does not have are refused.
func Decode(r *http.Request, v any) error {
	d := json.NewDecoder(r.Body)
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			return tooLarge(large.Limit)
		}
		return Errorf(http.StatusBadRequest, "the call cannot be read: %v", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return Errorf(http.StatusBadRequest, "the call holds more than one value")
	}
	return nil
}
