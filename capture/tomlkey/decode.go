package tomlkey

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"
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
	return &Error{Line(data, first), first.String(), true, fmt.Sprintf("there is no key %q: correct or remove it", first)}
}

// Wrap makes an *Error of what the library's decoder returned.
func Wrap(err error) error {
	var parse toml.ParseError
	if errors.As(err, &parse) {
		return &Error{Line: parse.Position.Line, Key: parse.LastKey, Text: parse.Message}
	}
	return &Error{Text: strings.TrimPrefix(err.Error(), "toml: ")}
}
