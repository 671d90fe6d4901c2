package excite

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"github.com/BurntSushi/toml"
)

// FileError is what is wrong with a description and where. Line and Column
// count from 1; 0 where it is not one place. The caller knows the file's name.
type FileError struct {
	Line, Column int
	Err          error
}

func (e *FileError) Error() string {
	if e.Line == 0 {
		return e.Err.Error()
	}
	return fmt.Sprintf("line %d, column %d: %v", e.Line, e.Column, e.Err)
}

func (e *FileError) Unwrap() error { return e.Err }

// maxFile is more than any description needs.
const maxFile = 1 << 16

// Encode writes the description as TOML, FILE.toml beside a stimulus.
func (s Stimulus) Encode() ([]byte, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	shaped := ""
	if len(s.Shape) > 0 {
		shaped = " shaped"
	}
	fmt.Fprintf(&b, "# Stimulus: %d x%s %g Hz to %g Hz, %.4g s in all. The samples are made from these numbers.\n",
		s.Repeats, shaped, s.FromHz, s.ToHz, s.DurationS())
	if err := toml.NewEncoder(&b).Encode(s); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// Decode reads what Encode writes and validates it. Unknown keys are errors.
// Every error is a *FileError; errors.Is tells ErrChecksum.
func Decode(text []byte) (Stimulus, error) {
	if len(text) > maxFile {
		return Stimulus{}, &FileError{Err: fmt.Errorf("%d bytes are too many for a stimulus description", len(text))}
	}
	var s Stimulus
	meta, err := toml.Decode(string(text), &s)
	if err != nil {
		if pe, ok := errors.AsType[toml.ParseError](err); ok {
			return Stimulus{}, &FileError{pe.Position.Line, pe.Position.Col, errors.New(pe.Message)}
		}
		return Stimulus{}, &FileError{Err: err}
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		line, column := place(string(text), unknown[0])
		return Stimulus{}, &FileError{line, column, fmt.Errorf("the key %q is not known", unknown[0])}
	}
	if err := s.Validate(); err != nil {
		return Stimulus{}, &FileError{Err: err}
	}
	return s, nil
}

// place finds the line on which a key stands, which the decoder does not tell.
func place(text string, key toml.Key) (line, column int) {
	for n, l := range strings.Split(text, "\n") {
		name := strings.TrimLeft(l, " \t[\"'")
		if strings.HasPrefix(name, key[0]) || strings.HasPrefix(name, key[len(key)-1]) {
			return n + 1, len(l) - len(name) + 1
		}
	}
	return 0, 0
}
