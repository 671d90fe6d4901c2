package benchpage

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"runtime/debug"
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

// Handler answers a call: it writes the answer, or returns an error and has
// written nothing. An *Error is told as it is, any other with status 500.
type Handler func(w http.ResponseWriter, r *http.Request) error

// Handle answers calls of a method to a path below /api/. Bodies are bounded by
// 1 MiB.
func (s *Server) Handle(method, path string, h Handler) { s.handle(method, path, maxBody, h) }

func (s *Server) handle(method, path string, most int64, h Handler) {
	s.mux.HandleFunc(method+" "+path, func(w http.ResponseWriter, r *http.Request) {
		if r.ContentLength > most {
			writeError(w, tooLarge(most))
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, most)
		defer func() {
			if p := recover(); p != nil {
				if s.fault != nil {
					s.fault(fmt.Sprintf("%s %s: %v\n%s", method, path, p, debug.Stack()))
				}
				writeError(w, Errorf(http.StatusInternalServerError, "this failed inside the program, which goes on: %v", p))
			}
		}()
		if err := h(w, r); err != nil {
			writeError(w, asError(err))
		}
	})
}

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
	w.Header().Set("Content-Type", "application/json")
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
