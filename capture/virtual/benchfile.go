package virtual

import (
	"cmp"
	_ "embed"
	"errors"
	"fmt"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/tomlkey"
)

//go:embed default.toml
var defaultText []byte

// Default is the bench of the demo; its coil is invented.
func Default() Bench {
	b, err := Decode("default.toml", defaultText)
	if err != nil {
		panic(err) // the text is part of the program, and a test reads it
	}
	b.source.path = ""
	return b
}

// DefaultText is the TOML text of Default, to start a bench of one's own from.
func DefaultText() string { return string(defaultText) }

//go:embed pair.toml
var pairText []byte

// Pair is an invented bench with a hum-cancelling pickup.
func Pair() Bench {
	b, err := Decode("pair.toml", pairText)
	if err != nil {
		panic(err) // as in Default
	}
	b.source.path = ""
	return b
}

// maxFileBytes bounds what Load reads: a bench is a page of text.
const maxFileBytes = 1 << 20

// Load reads a bench from a TOML file. Keys that are not known and values that
// cannot be are errors with file and line; see FieldError.
func Load(path string) (Bench, error) {
	data, err := tomlkey.ReadFile(path, maxFileBytes, "reading the simulated bench",
		"the description of a simulated bench (a TOML file of up to 1 MiB)")
	if err != nil {
		return Bench{}, err
	}
	return Decode(path, data)
}

// Decode is Load for text that was read already; name stands for the file in
// errors and in what Describe says.
func Decode(name string, data []byte) (Bench, error) {
	var b Bench
	if wrong, ok := errors.AsType[*tomlkey.Error](tomlkey.Decode(data, &b)); ok {
		if wrong.Unknown {
			wrong.Text = "is not a key of a simulated bench; check its spelling and its table"
		}
		return Bench{}, &FieldError{File: name, Line: wrong.Line, Key: cmp.Or(wrong.Key, "bench"), Text: wrong.Text}
	}
	if b.Schema == "" {
		return Bench{}, &FieldError{File: name, Line: 1, Key: "schema",
			Text: fmt.Sprintf("is missing; the file must begin with schema = %q", Schema)}
	}
	if err := b.check(); err != nil {
		if field, ok := errors.AsType[*FieldError](err); ok {
			field.File, field.Line = name, tomlkey.LineOf(data, field.Key)
		}
		return Bench{}, err
	}
	if _, err := b.network(parts{}).system(); err != nil {
		return Bench{}, &FieldError{File: name, Key: "circuit", Text: err.Error()}
	}
	b.source = fileMark{path: name, sha256: atomicfile.Sum(data)}
	return b, nil
}
