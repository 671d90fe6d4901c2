package site

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"reflect"
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
	s.otherwise(path, method)
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

// otherwise refuses what comes to path by other methods than those it was told of.
func (s *Server) otherwise(path, method string) {
	if s.methods[path] == nil {
		s.mux.HandleFunc(path, func(w http.ResponseWriter, r *http.Request) { refuseMethod(w, r, s.methods[path]...) })
	}
	s.methods[path] = append(s.methods[path], method)
}

func refuseMethod(w http.ResponseWriter, r *http.Request, allowed ...string) {
	w.Header().Set("Allow", strings.Join(allowed, ", "))
	writeError(w, Errorf(http.StatusMethodNotAllowed, "%s is not for %.80q", r.Method, r.URL.Path))
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

// WrongJSON is what is wrong with JSON that was sent, of an error of its decoder, for
// whoever sent it.
func WrongJSON(err error) string {
	if kind, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
		where := kind.Field
		if where == "" {
			where = "the whole"
		}
		return fmt.Sprintf("%.80s is %s; want %s", where, jsonKinds(kind.Value), kindOf(kind.Type))
	}
	if syntax, ok := errors.AsType[*json.SyntaxError](err); ok {
		return fmt.Sprintf("it is not JSON from byte %d on", syntax.Offset)
	}
	if field, ok := strings.CutPrefix(err.Error(), "json: unknown field "); ok {
		return "it has no field " + field
	}
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return "it ends too early"
	}
	return "it did not arrive whole"
}

// jsonKinds names what JSON holds, as its decoder calls it: "number 3".
func jsonKinds(value string) string {
	kind, _, _ := strings.Cut(value, " ")
	return map[string]string{"string": "a text", "number": "a number", "bool": "true or false", "array": "a list",
		"object": "a group of fields"}[kind]
}

// kindOf names what a field holds.
func kindOf(t reflect.Type) string {
	switch t.Kind() {
	case reflect.String:
		return "a text"
	case reflect.Bool:
		return "true or false"
	case reflect.Slice, reflect.Array:
		return "a list"
	case reflect.Map, reflect.Struct:
		return "a group of fields"
	}
	return "a number"
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
		return Errorf(http.StatusBadRequest, "the call cannot be read: %s", WrongJSON(err))
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return Errorf(http.StatusBadRequest, "the call holds more than one value")
	}
	return nil
}
