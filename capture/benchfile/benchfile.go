// Package benchfile reads, checks and writes bench.toml: what stays the same
// on a bench from take to take and from coil to coil. It is edited by hand;
// values are written as people write them (excite/quantity).
//
// A key that does not exist is an error: a misspelt one must not get lost.
// What is used of a bench for a take is copied into the take.
package benchfile

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"syscall"
	"time"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/instrument"
	"coilsweep/capture/tomlkey"
	"coilsweep/excite/quantity"
)

const (
	// FileName is what a bench is called in a folder.
	FileName = "bench.toml"
	schema   = "coilsweep.bench/1"
	// maxBytes is more than any bench needs.
	maxBytes = 1 << 16
)

// Bench is bench.toml. What is not given is nil, zero or empty.
type Bench struct {
	Schema      string      `toml:"schema"` // "coilsweep.bench/1"
	Name        string      `toml:"name,omitempty"`
	Operator    string      `toml:"operator,omitempty"` // who makes the takes
	Notes       string      `toml:"notes,omitempty"`
	Card        Card        `toml:"card"`
	Drive       Drive       `toml:"drive"`
	Reference   Reference   `toml:"reference"`
	Fixture     Fixture     `toml:"fixture"`
	Calibration Calibration `toml:"calibration"`
	// Meter is the one by which the fixture, the exciter circuit and the sense resistor
	// were valued.
	Meter   instrument.Instrument `toml:"meter"`
	Records Records               `toml:"records"`
}

// Card is the sound card and how it is used.
type Card struct {
	// Input and Output are part of a device's name, as soundcard.Options has them.
	Input  string `toml:"input,omitempty"`
	Output string `toml:"output,omitempty"`
	// Channels count from 1; 0: not given.
	CoilChannel      int      `toml:"coil_channel,omitempty"`
	ReferenceChannel int      `toml:"reference_channel,omitempty"`
	OutputChannel    int      `toml:"output_channel,omitempty"`
	RateHz           int      `toml:"rate_hz,omitempty"`
	LevelDBFS        *float64 `toml:"level_dbfs,omitempty"`
	BufferS          float64  `toml:"buffer_s,omitempty"`
	// RippleDB, RippleTakeDB and ClockPPM are limits, as in capture.Card.
	RippleDB     *float64 `toml:"ripple_db,omitempty"`
	RippleTakeDB *float64 `toml:"ripple_take_db,omitempty"`
	ClockPPM     *float64 `toml:"clock_ppm,omitempty"`
	instrument.Instrument
}

// Drive says how the exciter is driven.
type Drive struct {
	Kind     string               `toml:"kind,omitempty"` // "current" or "voltage"
	ExciterR *quantity.Resistance `toml:"exciter_r,omitempty"`
	ExciterL *quantity.Inductance `toml:"exciter_l,omitempty"`
	Date     Date                 `toml:"date,omitempty"`
}

// Reference says what the second channel holds.
type Reference struct {
	Kind   string               `toml:"kind,omitempty"` // "none", "current" or "loopback"
	SenseR *quantity.Resistance `toml:"sense_r,omitempty"`
	Date   Date                 `toml:"date,omitempty"`
	// The sense resistor itself, where it was calibrated.
	instrument.Instrument
}

// Fixture is cable, input and clips: all that is across the coil before
// anything is added.
type Fixture struct {
	Capacitance *quantity.Capacitance `toml:"capacitance,omitempty"`
	Resistance  *quantity.Resistance  `toml:"resistance,omitempty"`
	// SeriesResistance is the resistor of the input before its capacitance, as in capture.Load.
	SeriesResistance *quantity.SeriesResistance `toml:"series_resistance,omitempty"`
	Date             Date                       `toml:"date,omitempty"`
	How              string                     `toml:"how,omitempty"`
}

// Calibration names the file beside bench.toml that holds the response of the
// sound card, with its checksum.
type Calibration struct {
	File   string `toml:"file,omitempty"`
	SHA256 string `toml:"sha256,omitempty"`
	Date   Date   `toml:"date,omitempty"`
}

// Date is the day of a measurement.
type Date = instrument.Day

// Records says how takes are kept.
type Records struct {
	Audio string `toml:"audio,omitempty"` // "wav" or "flac"
}

// DateOf is the day of t.
func DateOf(t time.Time) Date { return instrument.DayOf(t) }

// Found is a bench and where it was read from.
type Found struct {
	Bench
	Path   string
	SHA256 string // of the file
}

// ErrNone: there is no bench.toml where one was looked for.
var ErrNone = errors.New("there is no " + FileName)

// Find reads the bench.toml that belongs to a folder: its own, or else the next in the
// folders above it, up to the root of the tree. The error wraps ErrNone where there is
// none.
func Find(dir string) (Found, error) {
	whole, err := filepath.Abs(dir)
	if err != nil {
		return Found{}, err
	}
	for above := dir; ; above, whole = filepath.Join(above, ".."), filepath.Dir(whole) {
		found, err := Read(filepath.Join(above, FileName))
		// What is not a folder holds none either.
		if !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, syscall.ENOTDIR) {
			return found, err
		}
		if whole == filepath.Dir(whole) {
			return Found{}, fmt.Errorf("%w in %s or above it", ErrNone, dir)
		}
	}
}

// Read reads the bench at path.
func Read(path string) (Found, error) {
	text, err := tomlkey.ReadFile(path, maxBytes, "cannot read the bench",
		"the description of a bench (a TOML file of up to 64 KiB)")
	if err != nil {
		return Found{}, err
	}
	b, err := Decode(text)
	if err != nil {
		return Found{}, fmt.Errorf("%s: %w", path, err)
	}
	return Found{Bench: b, Path: path, SHA256: atomicfile.Sum(text)}, nil
}

// NoDielectric is what is wrong with a fixture's capacitance that has one.
const NoDielectric = "a dielectric is understood of an added capacitor, not of cable and input"

// KeyError is something wrong with one key of a bench.
type KeyError struct {
	Table, Key string // Key is empty where it is the whole table
	Err        error
}

func (e *KeyError) Error() string { return e.Table + ": " + e.Err.Error() }
func (e *KeyError) Unwrap() error { return e.Err }

func wrongKey(table, key, format string, args ...any) error {
	return &KeyError{table, key, fmt.Errorf(format, args...)}
}

// check reports the first thing wrong with b: a *KeyError, but for the schema.
func (b Bench) check() error {
	if b.Schema != schema {
		return fmt.Errorf("schema is %q, this program reads %q", b.Schema, schema)
	}
	if err := b.Card.check(); err != nil {
		return err
	}
	switch d := b.Drive; {
	case d.Kind == "voltage" && d.ExciterR == nil:
		return wrongKey("drive", "exciter_r", `kind "voltage" needs exciter_r, the resistance of the exciter circuit`)
	case d.Kind == "" && (d.ExciterR != nil || d.ExciterL != nil):
		return wrongKey("drive", "kind", `exciter_r and exciter_l go with a kind, "voltage" or "current"`)
	case d.ExciterL != nil && d.ExciterR == nil:
		return wrongKey("drive", "exciter_l",
			"exciter_l needs exciter_r, the resistance of the exciter circuit, beside it")
	case d.Kind != "" && d.Kind != "voltage" && d.Kind != "current":
		return wrongKey("drive", "kind", `kind is %q: want "current" or "voltage"`, d.Kind)
	}
	switch r := b.Reference; r.Kind {
	case "current":
	case "", "none", "loopback":
		if r.SenseR != nil {
			return wrongKey("reference", "sense_r", `sense_r belongs to kind "current"`)
		}
	default:
		return wrongKey("reference", "kind", `kind is %q: want "none", "current" or "loopback"`, r.Kind)
	}
	if c := b.Fixture.Capacitance; c != nil && c.Dielectric != quantity.UnstatedDielectric {
		return wrongKey("fixture", "capacitance", "%s", NoDielectric)
	}
	if err := b.plausible(); err != nil {
		return err
	}
	if c := b.Calibration; c.File == "" && c.SHA256 != "" || c.File != "" && c.SHA256 == "" {
		return wrongKey("calibration", "file", "file and sha256 go together: calibrate the sound card again")
	}
	if f := b.Calibration.File; f != filepath.Base(f) && f != "" {
		return wrongKey("calibration", "file", "file is %q: want the name of a file beside %s", f, FileName)
	}
	if a := b.Records.Audio; a != "" && a != "wav" && a != "flac" {
		return wrongKey("records", "audio", `audio is %q: want "wav" or "flac"`, a)
	}
	for table, date := range map[string]Date{
		"drive": b.Drive.Date, "reference": b.Reference.Date, "fixture": b.Fixture.Date,
		"calibration": b.Calibration.Date,
	} {
		if err := date.Check("date"); err != nil {
			return &KeyError{table, "date", err}
		}
	}
	for table, i := range map[string]instrument.Instrument{
		"card": b.Card.Instrument, "reference": b.Reference.Instrument, "meter": b.Meter,
	} {
		if err := i.Check(); err != nil {
			return &KeyError{table, "calibration_due", err}
		}
	}
	return nil
}

// plausible tests what the bench states by the table of what is plausible.
func (b Bench) plausible() error {
	test := func(table, key, kind string, v *quantity.Value) error {
		if v == nil {
			return nil
		}
		if err := quantity.Plausible(kind, *v); err != nil {
			return &KeyError{table, key, err}
		}
		return nil
	}
	var exciterR, exciterL, senseR, fixtureC, fixtureR, seriesR *quantity.Value
	if r := b.Drive.ExciterR; r != nil {
		exciterR = &r.Value
	}
	if l := b.Drive.ExciterL; l != nil {
		exciterL = &l.Value
	}
	if r := b.Reference.SenseR; r != nil {
		senseR = &r.Value
	}
	if c := b.Fixture.Capacitance; c != nil {
		fixtureC = &c.Value
	}
	if r := b.Fixture.Resistance; r != nil {
		fixtureR = &r.Value
	}
	if r := b.Fixture.SeriesResistance; r != nil {
		seriesR = &r.Value
	}
	return cmp.Or(test("drive", "exciter_r", "exciter-r", exciterR), test("drive", "exciter_l", "exciter-l", exciterL),
		test("reference", "sense_r", "sense-r", senseR), test("fixture", "capacitance", "fixture-c", fixtureC),
		test("fixture", "resistance", "fixture-r", fixtureR),
		test("fixture", "series_resistance", "fixture-series-r", seriesR))
}

func (c Card) check() error {
	switch {
	case c.CoilChannel < 0:
		return wrongKey("card", "coil_channel", "channels count from 1")
	case c.ReferenceChannel < 0:
		return wrongKey("card", "reference_channel", "channels count from 1")
	case c.OutputChannel < 0:
		return wrongKey("card", "output_channel", "channels count from 1")
	case c.CoilChannel != 0 && c.CoilChannel == c.ReferenceChannel:
		return wrongKey("card", "reference_channel", "coil and reference are both said to be on channel %d",
			c.CoilChannel)
	case c.RateHz != 0 && (c.RateHz < 8000 || c.RateHz > 384000):
		return wrongKey("card", "rate_hz", "rate_hz is %d: want 8000 to 384000", c.RateHz)
	case c.LevelDBFS != nil && !(*c.LevelDBFS <= 0 && *c.LevelDBFS >= -120):
		return wrongKey("card", "level_dbfs", "level_dbfs is %g: want -120 to 0", *c.LevelDBFS)
	case c.BufferS != 0 && !(c.BufferS > 0 && c.BufferS <= 1):
		return wrongKey("card", "buffer_s", "buffer_s is %g: want up to 1 s", c.BufferS)
	}
	for _, l := range []struct {
		key   string
		value *float64
	}{{"ripple_db", c.RippleDB}, {"ripple_take_db", c.RippleTakeDB}, {"clock_ppm", c.ClockPPM}} {
		if l.value == nil {
			continue
		}
		if err := CheckLimit(l.key, *l.value); err != nil {
			return &KeyError{"card", l.key, err}
		}
	}
	return nil
}
