// Package partsfile reads and writes parts.toml: the capacitors and resistors that are
// at hand at a bench, each valued once.
package partsfile

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"syscall"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/instrument"
	"coilsweep/capture/tomlkey"
	"coilsweep/excite/quantity"
)

// FileName is what the file is called. It lies beside bench.toml.
const FileName = "parts.toml"

// Schema is the version of the file.
const Schema = "coilsweep.parts/1"

const (
	maxBytes = 64 << 10
	most     = 100 // parts of a kind
)

// Parts are those at hand, in the order of the file.
type Parts struct {
	Schema     string                 `toml:"schema"`
	Capacitors []quantity.Capacitance `toml:"capacitors"`
	Resistors  []quantity.Resistance  `toml:"resistors"`
	// Meter is the one by which the parts were valued.
	Meter instrument.Instrument `toml:"meter"`
}

// Valued tells whether v, or one of the parts in parallel that it is made of, is one of these
// with the same uncertainty.
func (p Parts) Valued(v quantity.Value) bool {
	for _, one := range v.Components() {
		same := func(part quantity.Value) bool {
			return part.Unit == one.Unit && part.SI == one.SI && part.U() == one.U()
		}
		if slices.ContainsFunc(p.Capacitors, func(c quantity.Capacitance) bool { return same(c.Value) }) ||
			slices.ContainsFunc(p.Resistors, func(r quantity.Resistance) bool { return same(r.Value) }) {
			return true
		}
	}
	return false
}

// header is how a new file begins.
const header = "# The capacitors and resistors at hand, each valued once: as printed on it (\"470p 1%\"),\n" +
	"# or as measured (\"998p 0.3% U95\"). Advice and the bench page propose them.\n" +
	"# A table [meter] may state the meter that valued them: instrument, serial, certificate,\n" +
	"# calibration_due.\n" +
	"schema = \"" + Schema + "\"\n"

// Decode reads parts.toml and checks it. Errors of form begin with the line.
func Decode(text []byte) (Parts, error) { return tomlkey.DecodeChecked(text, Parts.check) }

func (p Parts) check() error {
	if p.Schema != Schema {
		return fmt.Errorf("schema is %q, this program reads %q", p.Schema, Schema)
	}
	if len(p.Capacitors) > most || len(p.Resistors) > most {
		return fmt.Errorf("more than %d parts of a kind", most)
	}
	if err := p.Meter.Check(); err != nil {
		return fmt.Errorf("meter: %w", err)
	}
	for _, c := range p.Capacitors {
		if err := quantity.Plausible("added-c", c.Value); err != nil {
			return fmt.Errorf("capacitors: %w", err)
		}
	}
	for _, r := range p.Resistors {
		if err := quantity.Plausible("added-r", r.Value); err != nil {
			return fmt.Errorf("resistors: %w", err)
		}
	}
	return nil
}

// Read reads the file at path, with its text; no file is no parts, and no error.
func Read(path string) (p Parts, text []byte, err error) {
	text, err = tomlkey.ReadFile(path, maxBytes, "cannot read the parts", "a list of parts (a TOML file of up to 64 KiB)")
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) {
		return p, nil, nil
	}
	if err == nil {
		if p, err = Decode(text); err != nil {
			err = fmt.Errorf("%s: %w", path, err)
		}
	}
	return p, text, err
}

// Find reads the parts.toml that belongs to a folder: its own, or else the next in the
// folders above it. None is no parts, and no error.
func Find(dir string) (Parts, error) {
	whole, err := filepath.Abs(dir)
	for err == nil {
		var text []byte
		var p Parts
		if p, text, err = Read(filepath.Join(whole, FileName)); err != nil || len(text) > 0 {
			return p, err
		}
		if whole == filepath.Dir(whole) {
			break
		}
		whole = filepath.Dir(whole)
	}
	return Parts{}, err
}

// Change is the text of a parts.toml with other parts, as they were written; all else
// stays. Of no text it makes a new file.
func Change(text []byte, capacitors, resistors []string) ([]byte, error) {
	if len(text) == 0 {
		text = []byte(header)
	}
	text, err := tomlkey.Set(text, nil, "capacitors", append([]string{}, capacitors...))
	if err == nil {
		text, err = tomlkey.Set(text, nil, "resistors", append([]string{}, resistors...))
	}
	if err == nil {
		_, err = Decode(text)
	}
	return text, err
}

// Replace writes the file at path, whole or not at all, unless it is no longer the one
// with that checksum (atomicfile.ErrChanged); the checksum of no file is empty.
func Replace(path, sha256Hex string, text []byte) error {
	return atomicfile.Replace(path, sha256Hex, text)
}

// Texts are parts of one kind as they were written.
func Texts[T fmt.Stringer](parts []T) []string {
	texts := []string{}
	for _, p := range parts {
		texts = append(texts, p.String())
	}
	return texts
}
