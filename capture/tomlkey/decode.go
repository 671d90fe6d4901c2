package tomlkey

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"

	"coilsweep/capture/atomicfile"
)

// Error is what is wrong with the text of a file, and where.
type Error struct {
	Line    int    // from 1; 0: not known
	Key     string // about which; may be empty
	Unknown bool   // there is no such key
	Text    string
}

func (e *Error) Error() string {
	if e.Line == 0 {
		return e.Text
	}
	return fmt.Sprintf("line %d: %s", e.Line, e.Text)
}

// Decode reads TOML into v. A key that v does not have is an error, as all are an
// *Error.
func Decode(data []byte, v any) error {
	meta, err := toml.Decode(string(data), v)
	if err != nil {
		return Wrap(err)
	}
	unknown := meta.Undecoded()
	if len(unknown) == 0 {
		return nil
	}
	first := slices.MinFunc(unknown, func(a, b toml.Key) int { return cmp.Compare(Line(data, a), Line(data, b)) })
	return &Error{Line(data, first), first.String(), true,
		fmt.Sprintf("there is no key %q: correct or remove it", first)}
}

// DecodeChecked reads TOML into a T, and gives it back with what check finds wrong
// with it. Text that is no T is an *Error.
func DecodeChecked[T any](data []byte, check func(T) error) (T, error) {
	var v T
	if err := Decode(data, &v); err != nil {
		return *new(T), err
	}
	return v, check(v)
}

// ReadFile reads a file of TOML of up to most bytes. doing and kind say in errors what
// failed and what was wanted: "reading the harness", "a harness file".
func ReadFile(path string, most int64, doing, kind string) ([]byte, error) {
	data, err := atomicfile.Read(path, most)
	switch {
	case errors.Is(err, atomicfile.ErrNotPlain), errors.Is(err, atomicfile.ErrTooLarge):
		return nil, fmt.Errorf("%s is not %s", path, kind)
	case err != nil:
		return nil, fmt.Errorf("%s: %w", doing, err)
	}
	return data, nil
}

// Encode writes v as TOML without indentation.
func Encode(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := toml.NewEncoder(&b)
	enc.Indent = ""
	err := enc.Encode(v)
	return b.Bytes(), err
}

// Setting is one key with a plain value, ended by a new line.
func Setting(key string, value any) string {
	b, err := Encode(map[string]any{key: value})
	if err != nil {
		panic(err) // strings, numbers and truth values always have a form
	}
	return string(b)
}

// Wrap makes an *Error of what the library's decoder returned.
func Wrap(err error) error {
	if parse, ok := errors.AsType[toml.ParseError](err); ok {
		return &Error{Line: parse.Position.Line, Key: parse.LastKey, Text: parse.Message}
	}
	return &Error{Text: strings.TrimPrefix(err.Error(), "toml: ")}
}
