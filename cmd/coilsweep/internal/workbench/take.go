package workbench

import (
	"errors"
	"fmt"

	"coilsweep/capture"
	"coilsweep/capture/benchfile"
	"coilsweep/excite/quantity"
)

// Groups of options in the help.
const (
	// GroupTake is what belongs to one take.
	GroupTake     = "The take"
	groupLoad     = "What is connected across the coil"
	groupExciter  = "The exciter and the reference"
	groupStimulus = "The stimulus"
	groupCard     = "The sound card"
	groupBench    = "The bench"
)

// Take says what a take is: its name, the load on the coil, and how the exciter
// was driven. Measuring and importing share it.
type Take struct {
	Name     string
	State    string // of the coil; empty: that of the folder
	Operator string
	capture.Load
	Drive            capture.Drive
	Reference        capture.Reference
	CoilChannel      int
	ReferenceChannel int
	Card             capture.Card // limits that were stated
	Audio            string       // how the audio is kept: "wav" or "flac"
}

func defaultTake() Take {
	return Take{Drive: capture.Drive{Kind: "current"}, Reference: capture.Reference{Kind: "none"},
		CoilChannel: 1, ReferenceChannel: 2, Audio: "wav"}
}

// audioOption says how the audio of the take is kept.
func (t *Take) audioOption() *Option {
	return &Option{Name: "audio", Group: GroupTake, Value: Choice(&t.Audio, "wav", "flac"),
		Bench: at("records", "audio"),
		Help:  "how the audio is kept: wav, or flac in a third of the room and without loss"}
}

// options are all of a take, in the order of the help; references are the kinds
// of reference that it may have.
func (t *Take) options(references ...string) Options {
	return Options{
		{Name: "take", Group: GroupTake, Page: true, Value: Text(&t.Name),
			Help: "name of the take: letters, digits, - and _"},
		{Name: "operator", Group: GroupTake, Page: true, Value: Text(&t.Operator), Bench: at("", "operator"),
			Help: "who makes it"},
		{Name: "added-c", Group: groupLoad, Page: true, Value: Parallel(Capacitance(&t.AddedC)),
			Help: `capacitor connected across the coil, "470p 1%"; with its dielectric, C0G, PP or polyester, ` +
				`as in "470p 1% C0G", its loss is known better; given twice: two in parallel`},
		{Name: "added-r", Group: groupLoad, Page: true, Value: Parallel(Resistance(&t.AddedR)),
			Help: `resistor connected across the coil, "100k 1%"; given twice: two in parallel`},
		{Name: "fixture-c", Group: groupLoad, Page: true, Value: Capacitance(&t.FixtureC),
			Bench: at("fixture", "capacitance"), Help: "capacitance of cable, input and clips"},
		{Name: "fixture-r", Group: groupLoad, Page: true, Value: Resistance(&t.FixtureR),
			Bench: at("fixture", "resistance"), Help: "resistance of the input"},
		{Name: "fixture-series-r", Group: groupLoad, Value: SeriesResistance(&t.FixtureSeriesR),
			Bench: at("fixture", "series_resistance"), Help: `resistor in series with the input, before its ` +
				`capacitance; "0": none (without it up to 1k)`},
		{Name: "drive", Group: groupExciter, Page: true, Value: Choice(&t.Drive.Kind, "current", "voltage"),
			Bench: at("drive", "kind"), Help: "how the exciter is driven: current or voltage"},
		{Name: "exciter-r", Group: groupExciter, Page: true, Value: Resistance(&t.Drive.ExciterR),
			Bench: at("drive", "exciter_r"),
			Help:  "resistance of the exciter circuit: output, series resistor, exciter winding"},
		{Name: "exciter-l", Group: groupExciter, Page: true, Value: Inductance(&t.Drive.ExciterL),
			Bench: at("drive", "exciter_l"), Help: "inductance of the exciter"},
		{Name: "reference", Group: groupExciter, Page: true, Value: Choice(&t.Reference.Kind, references...),
			Bench: at("reference", "kind"), Help: "second channel: " + oneOf(references)},
		{Name: "sense-r", Group: groupExciter, Page: true, Value: Resistance(&t.Reference.SenseR),
			Bench: at("reference", "sense_r"), Help: "sense resistor of a current reference"},
		{Name: "coil-channel", Group: groupCard, Page: true, Value: Whole(&t.CoilChannel),
			Bench: at("card", "coil_channel"), Help: "input channel with the coil, from 1"},
		{Name: "reference-channel", Group: groupCard, Page: true, Value: Whole(&t.ReferenceChannel),
			Bench: at("card", "reference_channel"), Help: "input channel with the reference, from 1"},
		// The limits of the sound card that no recording tells.
		{Name: "ripple", Group: groupCard, Page: true, Value: limit(&t.Card.RippleDB, "ripple_db"), Default: "-",
			Bench: at("card", "ripple_db"), Help: "how uneven the card's response may be within an octave, in dB " +
				"(without it 0.01, or 0.003 with a reference or a calibration)"},
		{Name: "ripple-take", Group: groupCard, Page: true, Value: limit(&t.Card.RippleTakeDB, "ripple_take_db"),
			Default: "-",
			Bench:   at("card", "ripple_take_db"),
			Help:    "how much of that may change between takes, in dB (without it 0.001)"},
		{Name: "clock", Group: groupCard, Page: true, Value: limit(&t.Card.ClockPPM, "clock_ppm"), Default: "-",
			Bench: at("card", "clock_ppm"), Help: "how wrong the card's sample clock may be, in ppm (without it 50)"},
	}
}

// kept are the options of a take that is kept with its coil: all but those of options.
func (t *Take) kept(redo *bool) Options {
	return Options{
		t.audioOption(),
		{Name: "state", Group: GroupTake, Value: Text(&t.State),
			Help: "what was done to the coil since it was first measured, such as potted"},
		{Name: "redo", Group: GroupTake, Page: true, Value: Switch(redo), Bare: "true",
			Help: "replace a take of that name; the old one is kept as NAME.aside"},
	}
}

// anyReference are the kinds of reference of a coil's take.
var anyReference = []string{"none", "current", "loopback"}

// limit holds a limit of a sound card, by its key in bench.toml; nothing until
// it is given.
func limit(at *float64, key string) Value {
	number := Number(at).(value[float64])
	return value[float64]{at, number.kind, func(s string) (float64, error) {
		v, err := number.parse(s)
		if err == nil {
			err = benchfile.CheckLimit(key, v)
		}
		return v, err
	}, func(v float64) string {
		if v == 0 {
			return ""
		}
		return number.show(v)
	}}
}

// take is the plan of the take, made by program. A contradiction is an
// *OptionError.
func (t *Take) take(o Options, program string) (capture.Take, error) {
	if t.Name == "" {
		return capture.Take{}, Wrong("take", "the take needs a name[[: {take} NAME]]")
	}
	if err := capture.CheckTakeName(t.Name); err != nil {
		return capture.Take{}, &OptionError{Option: "take", Err: err}
	}
	return t.plan(o, program)
}

// Folder is the coil folder dir, or that of the coil's state.
func (t *Take) Folder(dir string) (*capture.Folder, error) {
	folder, err := capture.OpenFolder(dir)
	if err == nil && t.State != "" {
		if folder, err = folder.InState(t.State); err != nil {
			err = &OptionError{Option: "state", Err: err}
		}
	}
	return folder, err
}

// plan is take without a name.
func (t *Take) plan(o Options, program string) (capture.Take, error) {
	given := o.stated
	current, reference := t.Drive.Kind == "current", t.Reference.Kind
	for _, c := range []struct {
		wrong       bool
		option, say string
	}{
		{current && !given("drive") && (given("exciter-r") || given("exciter-l")), "exciter-r",
			"{exciter-r} and {exciter-l} go with {drive}: with voltage the fall of the current is corrected, " +
				"with current it is only shown"},
		{current && given("exciter-l") && !given("exciter-r"), "exciter-l",
			"{exciter-l} needs the resistance of the exciter circuit beside it[[: {exciter-r}]]"},
		{t.Drive.Kind == "voltage" && !given("exciter-r"), "exciter-r",
			"a voltage drive needs the resistance of the exciter circuit[[: {exciter-r}]]"},
		{t.FixtureC != nil && t.FixtureC.Dielectric != quantity.UnstatedDielectric, "fixture-c",
			benchfile.NoDielectric},
		{given("sense-r") && reference != "current", "sense-r", "{sense-r} belongs to {reference} current"},
		{given("reference-channel") && reference == "none", "reference-channel",
			"{reference-channel} needs {reference} current or loopback"},
		{t.CoilChannel < 1, "coil-channel", "channels count from 1"},
		{t.ReferenceChannel < 1, "reference-channel", "channels count from 1"},
		{reference != "none" && t.CoilChannel == t.ReferenceChannel, "reference-channel",
			fmt.Sprintf("coil and reference cannot both be on channel %d", t.CoilChannel)},
	} {
		if c.wrong {
			return capture.Take{}, &OptionError{Option: c.option, Err: errors.New(c.say)}
		}
	}
	drive := t.Drive
	drive.Assumed = !given("drive")
	take := capture.Take{Name: t.Name, Program: program, Operator: t.Operator, Load: t.Load, Drive: drive,
		Reference: t.Reference, Card: t.Card}
	if t.Audio == "flac" {
		take.Audio.File = capture.FLACFile
	}
	return take, nil
}

// direct is the plan of a take without a coil: the output straight to the input.
func direct(reference, program string) capture.Take {
	return capture.Take{Program: program, Drive: capture.Drive{Kind: "direct"},
		Reference: capture.Reference{Kind: reference}}
}

// channels are those of the take; the reference's is 0 where there is none.
func (t *Take) channels() (coil, reference int) {
	if t.Reference.Kind == "none" {
		return t.CoilChannel, 0
	}
	return t.CoilChannel, t.ReferenceChannel
}
