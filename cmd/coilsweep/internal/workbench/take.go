package workbench

import (
	"coilsweep/capture"
	"coilsweep/capture/benchfile"
	"coilsweep/excite/quantity"
)

// Groups of options in the help.
const (
	groupTake     = "The take"
	groupLoad     = "What is connected across the coil"
	groupExciter  = "The exciter and the reference"
	groupStimulus = "The stimulus"
	groupCard     = "The sound card"
	groupBench    = "The bench"
)

// Take says what a take is: its name, the load on the coil, and how the exciter
// was driven. Measuring and importing share it.
type Take struct {
	Name             string
	AddedC, FixtureC *quantity.Capacitance
	AddedR, FixtureR *quantity.Resistance
	Drive            string // "current" or "voltage"
	ExciterR, SenseR *quantity.Resistance
	ExciterL         *quantity.Inductance
	Reference        string // "none", "current" or "loopback"
	CoilChannel      int
	ReferenceChannel int
	Card             capture.Card // limits that were stated
}

func defaultTake() Take {
	return Take{Drive: "current", Reference: "none", CoilChannel: 1, ReferenceChannel: 2}
}

func (t *Take) name() *Option {
	return &Option{Name: "take", Group: groupTake, Page: true, Value: Text(&t.Name), Help: "name of the take: letters, digits, - and _"}
}

// added are the parts that are put across the coil for the take.
func (t *Take) added() Options {
	return Options{
		{Name: "added-c", Group: groupLoad, Page: true, Value: Capacitance(&t.AddedC),
			Help: `capacitor connected across the coil, "470p 1%"; with its dielectric, C0G, PP or polyester, ` +
				`as in "470p 1% C0G", its loss is known better`},
		{Name: "added-r", Group: groupLoad, Page: true, Value: Resistance(&t.AddedR), Help: `resistor connected across the coil, "100k 1%"`},
	}
}

func (t *Take) fixture() Options {
	return Options{
		{
			Name: "fixture-c", Group: groupLoad, Page: true, Value: Capacitance(&t.FixtureC), Help: "capacitance of cable, input and clips",
			Bench: benched("fixture", "capacitance", func(b *benchfile.Bench) **quantity.Capacitance { return &b.Fixture.Capacitance }, &t.FixtureC),
		},
		{
			Name: "fixture-r", Group: groupLoad, Page: true, Value: Resistance(&t.FixtureR), Help: "resistance of the input",
			Bench: benched("fixture", "resistance", func(b *benchfile.Bench) **quantity.Resistance { return &b.Fixture.Resistance }, &t.FixtureR),
		},
	}
}

func (t *Take) drive() Options {
	return Options{
		{
			Name: "drive", Group: groupExciter, Page: true, Value: Choice(&t.Drive, "current", "voltage"), Help: "how the exciter is driven: current or voltage",
			Bench: benched("drive", "kind", func(b *benchfile.Bench) *string { return &b.Drive.Kind }, &t.Drive),
		},
		{
			Name: "exciter-r", Group: groupExciter, Page: true, Value: Resistance(&t.ExciterR), Help: "resistance of the exciter circuit: output, series resistor, exciter winding",
			Bench: benched("drive", "exciter_r", func(b *benchfile.Bench) **quantity.Resistance { return &b.Drive.ExciterR }, &t.ExciterR),
		},
		{
			Name: "exciter-l", Group: groupExciter, Page: true, Value: Inductance(&t.ExciterL), Help: "inductance of the exciter",
			Bench: benched("drive", "exciter_l", func(b *benchfile.Bench) **quantity.Inductance { return &b.Drive.ExciterL }, &t.ExciterL),
		},
	}
}

func (t *Take) senseR() *Option {
	return &Option{
		Name: "sense-r", Group: groupExciter, Page: true, Value: Resistance(&t.SenseR), Help: "sense resistor of a current reference",
		Bench: benched("reference", "sense_r", func(b *benchfile.Bench) **quantity.Resistance { return &b.Reference.SenseR }, &t.SenseR),
	}
}

func (t *Take) reference(kinds ...string) *Option {
	return &Option{
		Name: "reference", Group: groupExciter, Page: true, Value: Choice(&t.Reference, kinds...), Help: "second channel: " + oneOf(kinds),
		Bench: benched("reference", "kind", func(b *benchfile.Bench) *string { return &b.Reference.Kind }, &t.Reference),
	}
}

func (t *Take) coilChannel() *Option {
	return &Option{
		Name: "coil-channel", Group: groupCard, Page: true, Value: Whole(&t.CoilChannel), Help: "input channel with the coil, from 1",
		Bench: benched("card", "coil_channel", func(b *benchfile.Bench) *int { return &b.Card.CoilChannel }, &t.CoilChannel),
	}
}

func (t *Take) referenceChannel() *Option {
	return &Option{
		Name: "reference-channel", Group: groupCard, Page: true, Value: Whole(&t.ReferenceChannel), Help: "input channel with the reference, from 1",
		Bench: benched("card", "reference_channel", func(b *benchfile.Bench) *int { return &b.Card.ReferenceChannel }, &t.ReferenceChannel),
	}
}

// cardLimits are the limits of the sound card that no recording tells.
func (t *Take) cardLimits() Options {
	limit := func(name, key, help string, at *float64, field func(*benchfile.Card) **float64) *Option {
		return &Option{
			Name: name, Group: groupCard, Page: true, Value: limitOf(key, at), Help: help, Default: "-",
			Bench: &BenchKey{
				Table: "card", Key: key,
				Take: func(b benchfile.Bench) bool {
					v := *field(&b.Card)
					if v == nil {
						return false
					}
					*at = *v
					return true
				},
				State: func(b *benchfile.Bench) { v := *at; *field(&b.Card) = &v },
			},
		}
	}
	return Options{
		limit("ripple", "ripple_db",
			"how uneven the card's response may be within an octave, in dB "+
				"(without it 0.01, or 0.003 with a reference or a calibration)",
			&t.Card.RippleDB, func(c *benchfile.Card) **float64 { return &c.RippleDB }),
		limit("ripple-take", "ripple_take_db", "how much of that may change between takes, in dB (without it 0.001)",
			&t.Card.RippleTakeDB, func(c *benchfile.Card) **float64 { return &c.RippleTakeDB }),
		limit("clock", "clock_ppm", "how wrong the card's sample clock may be, in ppm (without it 50)",
			&t.Card.ClockPPM, func(c *benchfile.Card) **float64 { return &c.ClockPPM }),
	}
}

// limitOf holds a limit of a sound card, by its key in bench.toml; nothing until
// it is given.
func limitOf(key string, at *float64) Value {
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

// wiring is all but the name.
func (t *Take) wiring() Options {
	o := append(t.added(), t.fixture()...)
	o = append(o, t.drive()...)
	o = append(o, t.reference("none", "current", "loopback"), t.senseR(), t.coilChannel(), t.referenceChannel())
	return append(o, t.cardLimits()...)
}

// take is the plan of the take, made by program. A contradiction is an
// *OptionError.
func (t *Take) take(o Options, program string) (capture.Take, error) {
	if t.Name == "" {
		return capture.Take{}, wrong("take", "the take needs a name[[: {take} NAME]]")
	}
	if err := capture.CheckTakeName(t.Name); err != nil {
		return capture.Take{}, &OptionError{Option: "take", Err: err}
	}
	return t.plan(o, program)
}

// plan is take without a name.
func (t *Take) plan(o Options, program string) (capture.Take, error) {
	given := o.stated
	switch t.Drive {
	case "current":
		if !given("drive") && (given("exciter-r") || given("exciter-l")) {
			return capture.Take{}, wrong("exciter-r", "{exciter-r} and {exciter-l} go with {drive}: with voltage the fall of the current is corrected, with current it is only shown")
		}
		if given("exciter-l") && !given("exciter-r") {
			return capture.Take{}, wrong("exciter-l", "{exciter-l} needs the resistance of the exciter circuit beside it[[: {exciter-r}]]")
		}
	case "voltage":
		if !given("exciter-r") {
			return capture.Take{}, wrong("exciter-r", "a voltage drive needs the resistance of the exciter circuit[[: {exciter-r}]]")
		}
	}
	if c := t.FixtureC; c != nil && c.Dielectric != quantity.UnstatedDielectric {
		return capture.Take{}, wrong("fixture-c", "%s", benchfile.NoDielectric)
	}
	if given("sense-r") && t.Reference != "current" {
		return capture.Take{}, wrong("sense-r", "{sense-r} belongs to {reference} current")
	}
	if given("reference-channel") && t.Reference == "none" {
		return capture.Take{}, wrong("reference-channel", "{reference-channel} needs {reference} current or loopback")
	}
	switch {
	case t.CoilChannel < 1:
		return capture.Take{}, wrong("coil-channel", "channels count from 1")
	case t.ReferenceChannel < 1:
		return capture.Take{}, wrong("reference-channel", "channels count from 1")
	case t.Reference != "none" && t.CoilChannel == t.ReferenceChannel:
		return capture.Take{}, wrong("reference-channel", "coil and reference cannot both be on channel %d", t.CoilChannel)
	}
	return capture.Take{
		Name:    t.Name,
		Program: program,
		Load:    capture.Load{AddedC: t.AddedC, AddedR: t.AddedR, FixtureC: t.FixtureC, FixtureR: t.FixtureR},
		Drive:   capture.Drive{Kind: t.Drive, Assumed: !given("drive"), ExciterR: t.ExciterR, ExciterL: t.ExciterL},
		Reference: capture.Reference{
			Kind: t.Reference, SenseR: t.SenseR,
		},
		Card: t.Card,
	}, nil
}

// direct is the plan of a take without a coil: the output straight to the input.
func direct(reference, program string) capture.Take {
	return capture.Take{Program: program, Drive: capture.Drive{Kind: "direct"}, Reference: capture.Reference{Kind: reference}}
}

// channels are those of the take; the reference's is 0 where there is none.
func (t *Take) channels() (coil, reference int) {
	if t.Reference == "none" {
		return t.CoilChannel, 0
	}
	return t.CoilChannel, t.ReferenceChannel
}
