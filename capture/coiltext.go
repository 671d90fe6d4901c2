package capture

import (
	"bytes"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/tomlkey"
)

// CoilText is coil.toml as it stands, with its checksum for ReplaceCoilText.
func (f *Folder) CoilText() (text []byte, sha256Hex string, err error) {
	text, err = atomicfile.Read(filepath.Join(f.Dir, coilFile), atomicfile.MaxText)
	if err != nil {
		return nil, "", fmt.Errorf("cannot read the coil: %w", err)
	}
	return text, atomicfile.Sum(text), nil
}

// ReplaceCoilText writes coil.toml, whole or not at all, unless it is no longer
// the one with that checksum (atomicfile.ErrChanged) or text does not describe
// a coil.
func (f *Folder) ReplaceCoilText(sha256Hex string, text []byte) error {
	path := filepath.Join(f.Dir, coilFile)
	coil, err := decodeCoil(text)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	if err := atomicfile.Replace(path, sha256Hex, text); err != nil {
		return err
	}
	f.Coil = coil
	return nil
}

// coilKeys are the keys of coil.toml that hold one value, and how a text
// becomes that.
var coilKeys = map[string]func(string) (any, error){
	"name": asText, "serial": asText, "lot": asText, "customer": asText, "notes": asText, "wire": asText, "dcr": asText,
	"dcr_meter.instrument": asText, "dcr_meter.serial": asText, "dcr_meter.certificate": asText,
	"dcr_meter.calibration_due": asText,
	"celsius_at_takes":          asNumber, "parts_scale_percent": asNumber,
	"winding.wire": asText, "winding.turns": asWhole,
	"winding.core_length": asText, "winding.core_width": asText, "winding.height": asText,
	"winding.grade": asWhole, "winding.room": asText,
}

func asText(s string) (any, error) { return s, nil }

func asNumber(s string) (any, error) {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		if strings.Contains(s, ",") {
			return nil, fmt.Errorf("%q: want a number with a decimal point, such as 22.5", s)
		}
		return nil, fmt.Errorf("%q: want a number, such as 22.5", s)
	}
	return x, nil
}

func asWhole(s string) (any, error) {
	n, err := strconv.Atoi(s)
	if err != nil {
		return nil, fmt.Errorf("%q: want a whole number", s)
	}
	return n, nil
}

// KeyError is what is wrong with the value for a key of coil.toml.
type KeyError struct {
	Key string // "winding.turns"
	Err error
}

func (e *KeyError) Error() string { return e.Key + ": " + e.Err.Error() }
func (e *KeyError) Unwrap() error { return e.Err }

// ChangeCoil is the text of a coil.toml with values set by the names of their
// keys ("dcr", "winding.turns"), an empty one removed; all else, comments
// included, stays as it is. An error is a *KeyError where it belongs to one
// value.
func ChangeCoil(text []byte, values map[string]string) ([]byte, error) {
	for _, name := range slices.Sorted(maps.Keys(values)) {
		parse, ok := coilKeys[name]
		if !ok {
			return nil, &KeyError{name, fmt.Errorf("is not a key of %s", coilFile)}
		}
		path := strings.Split(name, ".")
		table, key := path[:len(path)-1], path[len(path)-1]
		given := strings.TrimSpace(values[name])
		var err error
		if given == "" {
			text, err = tomlkey.Unset(text, table, key)
		} else {
			var value any
			if value, err = parse(given); err == nil {
				text, err = tomlkey.Set(text, table, key, value)
			}
		}
		if err == nil && name != "name" {
			_, err = decodeCoil(text)
		}
		if err != nil {
			return nil, &KeyError{name, err}
		}
	}
	_, err := decodeCoil(text)
	return text, err
}

// AddReading is the text of a coil.toml with one more meter reading at its end.
func AddReading(text []byte, m MeterReading) ([]byte, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	text = tomlkey.Append(text, encodeMeter(m))
	_, err := decodeCoil(text)
	return text, err
}

// RemoveReading is the text of a coil.toml without its i-th meter reading, from 0. All
// else stays as it is.
func RemoveReading(text []byte, i int) ([]byte, error) {
	want, err := decodeCoil(text)
	if err != nil {
		return nil, err
	}
	if i < 0 || i >= len(want.Meter) {
		return nil, fmt.Errorf("%s has no reading %d", coilFile, i+1)
	}
	want.Meter = slices.Delete(slices.Clone(want.Meter), i, i+1)
	lines := strings.SplitAfter(string(text), "\n")
	begins := func(k int, with string) bool { return strings.HasPrefix(strings.TrimSpace(lines[k]), with) }
	from, to, seen := -1, len(lines), 0
	for k := range lines {
		if from >= 0 && begins(k, "[") {
			to = k
			break
		}
		if begins(k, "[[meter]]") {
			if seen == i {
				from = k
			}
			seen++
		}
	}
	// What stands above the next table belongs to it.
	for to < len(lines) && to > from+1 && (begins(to-1, "#") || strings.TrimSpace(lines[to-1]) == "") {
		to--
	}
	if from >= 0 {
		text = []byte(strings.Join(slices.Delete(lines, from, to), ""))
	}
	if got, err := decodeCoil(text); err != nil || len(got.Meter) != len(want.Meter) ||
		!bytes.Equal(encodeCoil(got), encodeCoil(want)) {
		return nil, fmt.Errorf("the reading is written in a way of its own: remove it in the text of %s", coilFile)
	}
	return text, nil
}
