package workbench

import (
	"errors"
	"io/fs"
	"path/filepath"
	"slices"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/benchfile"
	"coilsweep/capture/virtual"
)

// BenchText are the options that a bench.toml can state.
type BenchText struct {
	Options
	Name, Notes string
	take        Take
	stimulus    Stimulus
	bench       Bench
}

// NewBenchText has nothing given.
func NewBenchText() *BenchText {
	o := &BenchText{}
	o.Options = Options{
		{Name: "name", Page: true, Value: Text(&o.Name), Bench: at("", "name"), Help: "what the bench is called"},
		{Name: "notes", Page: true, Value: Text(&o.Notes), Bench: at("", "notes"), Help: "anything worth remembering"},
	}
	o.Options = slices.Concat(o.Options, o.stimulus.options(), o.bench.options(), o.take.options(anyReference...),
		Options{o.take.audioOption()}).only(
		"name", "operator", "notes", "rate", "level", "input", "output", "output-channel", "buffer", "coil-channel",
		"reference-channel",
		"ripple", "ripple-take", "clock", "drive", "exciter-r", "exciter-l", "reference", "sense-r", "fixture-c",
		"fixture-r", "fixture-series-r", "audio")
	return o
}

// Texts are the options that b states, as texts, but for what the bench itself is called.
func (o *BenchText) Texts(b benchfile.Bench) map[string]string {
	texts := map[string]string{}
	for _, p := range o.Options {
		if (p.Bench.Table != "" || p.Name == "operator") && p.takeFrom(b) {
			texts[p.Name] = p.Value.String()
		}
	}
	return texts
}

// stated is a bench that states what was given.
func (o *BenchText) stated() benchfile.Bench {
	var b benchfile.Bench
	for _, p := range o.Options {
		if p.Given {
			p.stateIn(&b)
		}
	}
	return b
}

// Create starts the bench.toml of the folder dir, and says where.
func (o *BenchText) Create(dir string) (path string, err error) {
	b := o.stated()
	if _, err := benchfile.Encode(b); err != nil {
		return "", o.about(err)
	}
	path = filepath.Join(dir, benchfile.FileName)
	return path, benchfile.Create(path, b)
}

// Change is the text of the bench.toml at path with the options called names as
// they are given; those that are not are taken out. Where there is no file it is
// a new one's.
func (o *BenchText) Change(path string, names []string) ([]byte, error) {
	given := map[BenchKey]any{}
	for _, e := range o.stated().Given() {
		given[BenchKey{e.Table, e.Key}] = e.Value
	}
	var entries []benchfile.Entry
	for _, p := range o.Options {
		if slices.Contains(names, p.Name) {
			entries = append(entries, benchfile.Entry{Table: p.Bench.Table, Key: p.Bench.Key, Value: given[*p.Bench]})
		}
	}
	text, err := atomicfile.Read(path, atomicfile.MaxText)
	if errors.Is(err, fs.ErrNotExist) {
		text, err = benchfile.Encode(benchfile.Bench{})
	}
	if err != nil {
		return nil, err
	}
	text, err = benchfile.Change(text, entries)
	return text, o.about(err)
}

// about is an error of a bench as one of the option that it is about.
func (o *BenchText) about(err error) error {
	key, ok := errors.AsType[*benchfile.KeyError](err)
	if !ok {
		return err
	}
	for _, p := range o.Options {
		if *p.Bench == (BenchKey{key.Table, key.Key}) {
			return &OptionError{Option: p.Name, Err: key.Err}
		}
	}
	return err
}

// SimulatedBenchText is the bench.toml of a simulated bench that has none yet: what its
// owner knows of it. file describes the bench; empty: the invented one.
func SimulatedBenchText(file string) ([]byte, error) {
	simulated, err := LoadVirtual(file)
	if err != nil {
		return nil, err
	}
	o := NewBenchText()
	if err := o.Fill(simulatedSettings(simulated)); err != nil {
		return nil, err
	}
	return benchfile.Encode(o.stated())
}

// simulatedSettings are what the owner of a simulated bench knows of it, with
// typical tolerances of such parts.
func simulatedSettings(b virtual.Bench) map[string]string {
	settings := map[string]string{"drive": "current"}
	if b.Fixture.Capacitance.SI > 0 {
		settings["fixture-c"] = b.Fixture.Capacitance.Text + " 5%"
	}
	if b.Fixture.Resistance.SI > 0 {
		settings["fixture-r"] = b.Fixture.Resistance.Text + " 1%"
	}
	if kind := b.Reference.Kind; kind != "" && kind != "none" {
		settings["reference"] = kind
		if kind == "current" && b.Reference.SenseR.SI > 0 {
			settings["sense-r"] = b.Reference.SenseR.Text + " 0.1%"
		}
	}
	return settings
}
