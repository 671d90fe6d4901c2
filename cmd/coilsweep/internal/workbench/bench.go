package workbench

import (
	"errors"
	"fmt"
	"path/filepath"

	"coilsweep/capture"
	"coilsweep/capture/benchfile"
	"coilsweep/capture/device"
	"coilsweep/capture/instrument"
	"coilsweep/capture/partsfile"
	"coilsweep/capture/record"
	"coilsweep/capture/soundcard"
	"coilsweep/capture/virtual"
	"coilsweep/excite/quantity"
)

// The kinds of bench.
const (
	SoundCard = "soundcard"
	Virtual   = "virtual"
)

// Bench is what plays and records, and the bench.toml whose values stand for
// options that are not given.
type Bench struct {
	Kind          string // SoundCard or Virtual
	Input, Output string
	OutputChannel int
	BufferS       float64
	Verbose       bool
	VirtualFile   string
	Connected     string // of the simulated bench's two coils
	Seed          uint64
	// For a program that stays: InTime has a simulated bench take the time
	// that a real one does, KeepRunning leaves a sound card running.
	InTime, KeepRunning bool
	// Pair: two channels of the input are recorded where it has them.
	Pair bool
	// File is the bench.toml to use; empty: the one that belongs to the folder,
	// NoBenchFile: none.
	File         string
	Uncalibrated bool

	found       *benchfile.Found // nil: none
	instruments []instrument.Used
	parts       partsfile.Parts
}

// NoBenchFile stands for no bench.toml.
const NoBenchFile = "none"

func defaultBench() Bench { return Bench{Kind: SoundCard, OutputChannel: 1, Seed: 1} }

var (
	soundcardOptions = []string{"input", "output", "output-channel", "buffer"}
	virtualOptions   = []string{"virtual-file", "virtual-connected", "seed"}
)

func (b *Bench) options() Options {
	return Options{
		{Name: "bench", Group: groupBench, Value: Choice(&b.Kind, SoundCard, Virtual),
			Help: "what plays and records: soundcard, or virtual for the simulated bench"},
		{Name: "bench-file", Group: groupBench, Value: Text(&b.File),
			Help: "the bench.toml to use (default: the next in DIR or above it; none for no file)"},
		{Name: "input", Group: groupCard, Page: true, Value: Text(&b.Input),
			Bench: at("card", "input"),
			Help: "input device: part of the name, alone or as in \"wasapi: line in\" (default: the likeliest, see " +
				"'devices')"},
		{Name: "output", Group: groupCard, Page: true, Value: Text(&b.Output),
			Bench: at("card", "output"),
			Help: "output device: part of the name, alone or as in \"wasapi: line in\" (default: the likeliest, see " +
				"'devices')"},
		{Name: "output-channel", Group: groupCard, Page: true, Value: Whole(&b.OutputChannel),
			Bench: at("card", "output_channel"), Help: "output channel with the exciter, from 1"},
		{Name: "buffer", Group: groupCard, Page: true, Value: Seconds(&b.BufferS),
			Bench: at("card", "buffer_s"), Help: "latency to ask the sound card for (default: a robust one)"},
		{Name: "verbose", Group: groupCard, Value: Switch(&b.Verbose), Bare: "true",
			Help: "show the sound system's own messages"},
		{Name: "virtual-file", Group: groupBench, Value: Text(&b.VirtualFile),
			Help: "description of a simulated bench (default: an invented one)"},
		{Name: "virtual-connected", Group: groupBench, Value: Choice(&b.Connected, virtual.Connections...),
			Help: "of the two coils of a simulated pickup: first, second, series, parallel, or the last two with -reversed"},
		{Name: "seed", Group: groupBench, Value: Counting(&b.Seed),
			Help: "noise sequence of the simulated bench: the same number gives the same noise"},
	}
}

// check refuses options that do not go with the kind of bench.
func (b *Bench) check(o Options) error {
	alien, kind := virtualOptions, "a sound card"
	if b.Kind == Virtual {
		alien, kind = soundcardOptions, "the simulated bench"
	}
	if name := o.firstGiven(alien); name != "" {
		return Wrong(name, "{%s} does not go with %s[[ ({bench} %s)]]", name, kind, b.Kind)
	}
	return nil
}

// find reads the bench.toml for dir; where there is none and none was asked
// for, found stays nil.
func (b *Bench) find(dir string) error {
	var found benchfile.Found
	var err error
	switch b.File {
	case NoBenchFile:
		return nil
	case "":
		if found, err = benchfile.Find(dir); errors.Is(err, benchfile.ErrNone) {
			return nil
		}
	default:
		found, err = benchfile.Read(b.File)
	}
	if err == nil {
		b.found = &found
	}
	return err
}

// Used says which bench.toml a job uses, in a sentence; after its plan was made.
func (b *Bench) Used() string {
	switch {
	case b.found != nil:
		return "the bench is that of " + b.found.Path
	case b.File == NoBenchFile:
		return "no bench.toml is used"
	}
	return "no bench.toml is used: there is none in the folder or above it"
}

// apply finds the bench.toml for dir and takes from it what was not given. A
// given drive or reference replaces everything that the bench states of it.
// imported: the audio comes from elsewhere, and has channels of its own.
func (b *Bench) apply(o Options, dir string, imported bool) error {
	b.parts, _ = partsfile.Find(dir) // a broken list is told of where parts are proposed
	if err := b.find(dir); err != nil || b.found == nil {
		return err
	}
	given := map[string]bool{"drive": o.Given("drive"), "reference": o.Given("reference")}
	for _, p := range o {
		if p.Bench == nil || p.Given || given[p.Bench.Table] {
			continue
		}
		if p.Bench.Table == "card" {
			switch p.Name {
			case "ripple", "ripple-take", "clock":
				if imported {
					continue // which card recorded is not known
				}
			case "rate", "level":
				if imported || o.Given("stimulus") {
					continue
				}
			case "reference-channel":
				if r := o.Find("reference"); r != nil && r.Value.String() == "none" {
					continue
				}
				fallthrough
			default:
				if imported || b.Kind != SoundCard {
					continue
				}
			}
		}
		p.FromBench = p.takeFrom(b.found.Bench)
	}
	b.instruments = b.stated(o, imported)
	return nil
}

// complete puts into the take which bench.toml it comes from and, where it has
// no reference of its own, the calibration of the sound card; then the limits of
// the sound card that hold for it.
func (b *Bench) complete(take capture.Take) (capture.Take, error) {
	take, err := b.calibrated(take)
	take.Card, take.Instruments = take.CardLimits(), b.behind(take)
	return take, err
}

func (b *Bench) calibrated(take capture.Take) (capture.Take, error) {
	if b.found == nil {
		return take, nil
	}
	take.BenchFile = &capture.BenchFile{Path: filepath.ToSlash(b.found.Path), SHA256: b.found.SHA256}
	if b.Uncalibrated || take.Reference.Kind != "none" {
		return take, nil
	}
	calibration, err := b.calibration()
	if err != nil || calibration == nil {
		return take, err
	}
	if err := calibration.Covers(take); err != nil {
		return take, &CalibrationError{err}
	}
	take.Calibration = calibration
	return take, nil
}

// CalibrationError says that the sound card's calibration does not go with a
// take: make it again, or leave it out.
type CalibrationError struct{ Err error }

func (e *CalibrationError) Error() string { return e.Err.Error() }
func (e *CalibrationError) Unwrap() error { return e.Err }

// calibration reads the calibration that the bench names; nil where it names
// none.
func (b *Bench) calibration() (*capture.Calibration, error) {
	if b.found == nil || b.found.Calibration.File == "" {
		return nil, nil
	}
	c, err := capture.ReadCalibration(filepath.Join(filepath.Dir(b.found.Path), b.found.Calibration.File),
		b.found.Calibration.SHA256)
	if err != nil {
		return nil, err
	}
	return &c, nil
}

// wiring is what is between output and input in place of exciter and coil.
type wiring struct {
	cable  bool
	series *quantity.Resistance
}

func (w wiring) String() string {
	switch {
	case w.cable:
		return "a cable"
	case w.series != nil:
		return w.series.String() + " in series"
	}
	return "a coil"
}

// source is what plays and records a take on the channels of t. A real bench is
// wired by its owner, a simulated one as wired says.
func (b *Bench) source(take capture.Take, t *Take, wired wiring) device.Source {
	coil, reference := t.channels()
	rate := take.Stimulus.RateHz
	if b.Kind == SoundCard {
		options := soundcard.Options{
			Input: b.Input, Output: b.Output, OutputChannel: b.OutputChannel,
			CoilChannel: coil, ReferenceChannel: reference,
			Pair: b.Pair, RateHz: rate, BufferS: b.BufferS, KeepRunning: b.KeepRunning, Verbose: b.Verbose,
		}
		return device.Source{
			Key: fmt.Sprintf("soundcard %+v", options),
			Open: func() (record.Recorder, func() error, error) {
				card, err := soundcard.Open(options)
				if err != nil {
					return nil, nil, err
				}
				return card, card.Close, nil
			},
		}
	}
	simulated := *b
	return device.Source{
		Key: fmt.Sprintf("virtual %q %s seed %d pace %v: channels %d %d, %d Hz, reference %s, %s, %s", b.VirtualFile,
			b.Connected, b.Seed, b.InTime,
			coil, reference, rate, take.Reference.Kind, loadKey(take.Load), wired),
		Open: func() (record.Recorder, func() error, error) {
			recorder, err := simulated.simulated(take, coil, reference, wired)
			return recorder, nil, err
		},
	}
}

// loadKey tells loads apart.
func loadKey(l capture.Load) string {
	return fmt.Sprintf("%q", []string{textOf(l.AddedC), textOf(l.AddedR), textOf(l.FixtureC), textOf(l.FixtureR)})
}

// LoadVirtual is the simulated bench that file describes; empty: the invented
// one.
func LoadVirtual(file string) (virtual.Bench, error) {
	if file == "" {
		return virtual.Default(), nil
	}
	return virtual.Load(file)
}

// simulated makes a recorder of the simulated bench.
func (b *Bench) simulated(take capture.Take, coil, reference int, wired wiring) (record.Recorder, error) {
	bench, err := LoadVirtual(b.VirtualFile)
	if err != nil {
		return nil, err
	}
	if b.Connected != "" {
		if b.VirtualFile == "" {
			bench = virtual.Pair()
		}
		if bench.Second == nil {
			return nil, Wrong("virtual-connected", "the simulated bench %q has one coil only", bench.Name)
		}
		second := *bench.Second
		second.Connected = b.Connected
		bench.Second = &second
	}
	bench.Pace.RealTime = bench.Pace.RealTime || b.InTime
	if kind := bench.Reference.Kind; take.Reference.Kind != "none" && take.Reference.Kind != kind {
		return nil, fmt.Errorf("the simulated bench %q has reference %q, not %q", bench.Name, kind, take.Reference.Kind)
	}
	if coil != 1 || reference > 2 {
		return nil, errors.New("the simulated bench has the coil on channel 1 and the reference on channel 2")
	}
	rate := take.Stimulus.RateHz
	switch {
	case wired.cable:
		return bench.CableRecorder(rate, b.Seed)
	case wired.series != nil:
		return bench.SeriesRecorder(*wired.series, rate, b.Seed)
	}
	return bench.Recorder(take.Load, rate, b.Seed)
}
