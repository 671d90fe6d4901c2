package benchfile

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/instrument"
	"coilsweep/capture/rooted"
	"coilsweep/capture/tomlkey"
)

// Decode reads bench.toml and checks it. Errors of form begin with the line.
func Decode(text []byte) (Bench, error) {
	return tomlkey.DecodeChecked(text, Bench.check)
}

// entry is one key of a table with what is said about it.
type entry struct {
	key     string
	value   any // nil: not given
	example any
	about   string
}

// table is one table of bench.toml; the name of the top is empty.
type table struct {
	name    string
	about   string
	entries []entry
}

func (b Bench) tables() []table {
	return []table{
		{"", "A bench: what stays the same from take to take. Edit it by hand. Options of\n" +
			"# 'coilsweep measure' go before what is said here. Values take SI prefixes, marking\n" +
			"# codes (4k7, 2n2) and a tolerance: \"470p 1%\" is a limit, \"470p 0.3% U95\" an\n" +
			"# expanded uncertainty. Dates are those of the measurement.", []entry{
			{"schema", schema, nil, ""},
			{"name", orNil(b.Name), "the bench in the cellar", ""},
			{"operator", orNil(b.Operator), "A. Winder", "who makes the takes"},
			{"notes", orNil(b.Notes), "exciter 12 mm above the coil", ""},
		}},
		{"card", "The sound card: devices by part of the name, alone or after the sound system,\n" +
			"# as in \"wasapi: line in\" (see 'coilsweep devices'). Of it, as of the sense resistor and\n" +
			"# the meter below, calibration_due is the last day on which its calibration is valid:\n" +
			"# a later take is told of.", append([]entry{
			{"input", orNil(b.Card.Input), "line in", ""},
			{"output", orNil(b.Card.Output), "line out", ""},
			{"coil_channel", orNil(b.Card.CoilChannel), 1, "from 1"},
			{"reference_channel", orNil(b.Card.ReferenceChannel), 2, "from 1"},
			{"output_channel", orNil(b.Card.OutputChannel), 1, "with the exciter"},
			{"rate_hz", orNil(b.Card.RateHz), 48000, ""},
			{"level_dbfs", fromPointer(b.Card.LevelDBFS), -12.0, "see 'coilsweep check'"},
			{"buffer_s", orNil(b.Card.BufferS), 0.2, ""},
			{"ripple_db", fromPointer(b.Card.RippleDB), 0.01,
				"how uneven its response may be within an octave; 0.003 with a reference"},
			{"ripple_take_db", fromPointer(b.Card.RippleTakeDB), 0.001, "how much of that may change between takes"},
			{"clock_ppm", fromPointer(b.Card.ClockPPM), 50.0,
				"how wrong its clock may be: every frequency is as uncertain"},
		}, of(b.Card.Instrument, "sound card, 24 bit")...)},
		b.Drive.table(),
		b.Reference.table(),
		b.Fixture.table(),
		b.Calibration.table(),
		{"records", "How takes are kept: \"flac\" has each sample of \"wav\" in a third of the room.", []entry{
			{"audio", orNil(b.Records.Audio), "flac", ""},
		}},
		{"meter", "The meter by which fixture, exciter circuit and sense resistor were valued.",
			of(b.Meter, "multimeter, 6 digits")},
	}
}

// of are the keys of an instrument, for instance one called example.
func of(i instrument.Instrument, example string) (entries []entry) {
	for _, e := range i.Entries() {
		if e.Key == "instrument" {
			e.Example = example
		}
		entries = append(entries, entry{e.Key, orNil(e.Value), e.Example, ""})
	}
	return entries
}

func (d Drive) table() table {
	return table{"drive", "How the exciter is driven: by a \"current\" (its series resistor is high), or by a\n" +
		"# \"voltage\": then give all the resistance of its loop, and its inductance. With\n" +
		"# \"current\" these only tell how far from a current it is.", []entry{
		{"kind", orNil(d.Kind), "voltage", ""},
		{"exciter_r", textOf(d.ExciterR), "230 1%", "source, series and sense resistor, exciter"},
		{"exciter_l", textOf(d.ExciterL), "68u 10%", ""},
		{"date", orNil(d.Date), "2026-11-25", ""},
	}}
}

func (r Reference) table() table {
	return table{"reference", "The second channel: \"none\", \"current\" (the voltage over a sense resistor in\n" +
		"# series with the exciter) or \"loopback\" (the output's voltage).", append([]entry{
		{"kind", orNil(r.Kind), "current", ""},
		{"sense_r", textOf(r.SenseR), "10 0.1%", ""},
		{"date", orNil(r.Date), "2026-11-25", ""},
	}, of(r.Instrument, "resistor, 10 ohm, 0.1 %")...)}
}

func (f Fixture) table() table {
	return table{"fixture", "Cable, input and clips: what is across the coil before anything is added. Measure\n" +
		"# it with 'coilsweep fixture'.", []entry{
		{"capacitance", textOf(f.Capacitance), "65p 2% U95", ""},
		{"resistance", textOf(f.Resistance), "1M 1% U95", ""},
		{"series_resistance", textOf(f.SeriesResistance), "470 10%",
			"of the input, before its capacitance; \"0\": none"},
		{"date", orNil(f.Date), "2026-11-25", ""},
		{"how", orNil(f.How), "470k in series", ""},
	}}
}

func (c Calibration) table() table {
	return table{"calibration", "The response of the sound card; 'coilsweep calibrate' writes this.", []entry{
		{"file", orNil(c.File), "card-48000.toml", ""},
		{"sha256", orNil(c.SHA256), "...", ""},
		{"date", orNil(c.Date), "2026-11-25", ""},
	}}
}

// orNil is x, or nil where it is zero.
func orNil[T comparable](x T) any {
	var zero T
	if x == zero {
		return nil
	}
	return x
}

func fromPointer(x *float64) any {
	if x == nil {
		return nil
	}
	return *x
}

func textOf[T fmt.Stringer](x *T) any {
	if x == nil {
		return nil
	}
	return (*x).String()
}

// Encode writes b with a word on each key; what is not given stands there as a
// commented example.
func Encode(b Bench) ([]byte, error) {
	b.Schema = schema
	if err := b.check(); err != nil {
		return nil, err
	}
	var out bytes.Buffer
	for i, t := range b.tables() {
		if i > 0 {
			out.WriteByte('\n')
		}
		if t.about != "" {
			fmt.Fprintf(&out, "# %s\n", t.about)
		}
		out.WriteString(t.text())
	}
	return out.Bytes(), nil
}

// text is the table without what is said about it.
func (t table) text() string {
	var s strings.Builder
	if t.name != "" {
		fmt.Fprintf(&s, "[%s]\n", t.name)
	}
	for _, e := range t.entries {
		value, mark := e.value, ""
		if value == nil {
			value, mark = e.example, "# "
		}
		line := strings.TrimSuffix(tomlkey.Setting(e.key, value), "\n")
		if e.about != "" {
			line += "  # " + e.about
		}
		s.WriteString(mark + line + "\n")
	}
	return s.String()
}

// Create writes b as a new file; it replaces none.
func Create(path string, b Bench) error {
	if _, err := rooted.Lstat(path); err == nil {
		return fmt.Errorf("%s is there already: edit it, or remove it first", path)
	}
	text, err := Encode(b)
	if err != nil {
		return err
	}
	return atomicfile.Write(path, text)
}

// SetFixture writes the fixture into the bench at path and leaves all else in
// the file as it is, also a series resistance of which f says nothing.
func SetFixture(path string, f Fixture) error {
	t := f.table()
	t.entries = slices.DeleteFunc(t.entries, func(e entry) bool {
		return e.key == "series_resistance" && e.value == nil
	})
	return set(path, t)
}

// SetCalibration is SetFixture for the calibration.
func SetCalibration(path string, c Calibration) error { return set(path, c.table()) }

func set(path string, t table) error {
	text, err := atomicfile.Read(path, atomicfile.MaxText)
	if err != nil {
		return fmt.Errorf("cannot read the bench: %w", err)
	}
	var entries []Entry
	for _, e := range t.entries {
		entries = append(entries, Entry{t.name, e.key, e.value})
	}
	changed, err := Change(text, entries)
	if err != nil {
		return fmt.Errorf("%s: %w: write by hand\n%s", path, err, t.text())
	}
	return atomicfile.Write(path, changed)
}

// Change is the text of a bench with entries set, or removed where their value
// is nil; all else, comments included, stays as it is.
func Change(text []byte, entries []Entry) ([]byte, error) {
	var err error
	for _, e := range entries {
		var table toml.Key
		if e.Table != "" {
			table = toml.Key{e.Table}
		}
		if e.Value == nil {
			text, err = tomlkey.Unset(text, table, e.Key)
		} else {
			text, err = tomlkey.Set(text, table, e.Key, e.Value)
		}
		if err != nil {
			return nil, err
		}
	}
	_, err = Decode(text)
	return text, err
}
