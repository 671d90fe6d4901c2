package harness

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/BurntSushi/toml"

	"coilsweep/capture/tomlkey"
)

// Schema names the format of a harness file.
const Schema = "coilsweep.harness/1"

// maxFileBytes bounds what Load reads: a harness is a page of text.
const maxFileBytes = 1 << 20

// Load reads a harness file (TOML). Errors name the file and, where there is
// one, the line.
func Load(path string) (Harness, error) {
	info, err := os.Stat(path)
	if err != nil {
		return Harness{}, fmt.Errorf("reading the harness: %w", err)
	}
	if !info.Mode().IsRegular() || info.Size() > maxFileBytes {
		return Harness{}, fmt.Errorf("%s is not a harness file (TOML of up to 1 MiB)", path)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return Harness{}, fmt.Errorf("reading the harness: %w", err)
	}
	h, err := Decode(data)
	if err != nil {
		return Harness{}, fmt.Errorf("%s: %w", path, err)
	}
	return h, nil
}

// Decode reads the text of a harness file. A key that does not exist is an
// error with its line.
func Decode(data []byte) (Harness, error) {
	var h Harness
	meta, err := toml.NewDecoder(bytes.NewReader(data)).Decode(&h)
	var parse toml.ParseError
	switch {
	case errors.As(err, &parse):
		text := parse.Message
		if cause := errors.Unwrap(parse); cause != nil {
			text = cause.Error()
		}
		return Harness{}, fmt.Errorf("line %d: %s", parse.Position.Line, text)
	case err != nil:
		return Harness{}, errors.New(strings.TrimPrefix(err.Error(), "toml: "))
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		return Harness{}, fmt.Errorf("line %d: there is no key %q: correct or remove it", tomlkey.Line(data, unknown[0]), unknown[0])
	}
	if h.Schema != Schema {
		return Harness{}, fmt.Errorf("schema is %q, this program reads %q", h.Schema, Schema)
	}
	_, err = h.Check()
	return h, err
}
