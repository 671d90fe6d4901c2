package harness

import (
	"fmt"

	"coilsweep/capture/tomlkey"
)

// Schema names the format of a harness file.
const Schema = "coilsweep.harness/1"

// maxFileBytes bounds what Load reads: a harness is a page of text.
const maxFileBytes = 1 << 20

// Load reads a harness file (TOML). Errors name the file and, where there is
// one, the line.
func Load(path string) (Harness, error) {
	data, err := tomlkey.ReadFile(path, maxFileBytes, "reading the harness", "a harness file (TOML of up to 1 MiB)")
	if err != nil {
		return Harness{}, err
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
	if err := tomlkey.Decode(data, &h); err != nil {
		return Harness{}, err
	}
	if h.Schema != Schema {
		return Harness{}, fmt.Errorf("schema is %q, this program reads %q", h.Schema, Schema)
	}
	_, err := h.Check()
	return h, err
}
