// Package exciterplan is the design of an exciter as a winder asks for it: its options, for
// command lines and pages, and what follows from them.
package exciterplan

import (
	"fmt"
	"strings"

	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/report/words"
)

func usage(format string, args ...any) error {
	return &workbench.UsageError{Err: fmt.Errorf(format, args...)}
}

// Plan describes the bobbin, the wire, the source and the coil under test. The
// defaults are typical: a line output at full level, and a pickup of common size.
type Plan struct {
	workbench.Options

	bobbin                    exciter.Bobbin
	bobbins, wires, resistors []string
	turns                     int
	packing                   exciter.Packing
	celsius                   float64
	source                    exciter.Source
	goal                      exciter.Goal
	coil                      exciter.Coil // under test
	coilLong, coilWide        float64
	gap                       float64
}

// New has the defaults.
func New() *Plan {
	x := &Plan{
		packing: exciter.HandGuided, celsius: 20, source: exciter.Source{Volt: 1, Ohm: 100, LeastLoadOhm: 600},
		goal: exciter.DefaultGoal, coil: exciter.Coil{LengthM: 11e-3, DepthM: coilDepthM, Turns: 8000},
		coilLong: 60e-3, coilWide: 10e-3, gap: 3e-3,
	}
	add := func(group, name, help string, v workbench.Value) {
		x.Options = append(x.Options, &workbench.Option{Name: name, Group: group, Help: help, Value: v, Page: true})
	}
	const hand, drive, target = "What is at hand", "The drive", "The coil under test"
	add(hand, "core", "diameter of the bobbin's core", smallMetres(&x.bobbin.CoreDiameterM))
	add(hand, "flange", "diameter of its flanges", smallMetres(&x.bobbin.FlangeDiameterM))
	add(hand, "length", "length between the flanges", smallMetres(&x.bobbin.LengthM))
	add(hand, "bobbin", `in place of these three: core, flange and length, "10mm x 25mm x 8mm"[[ (may be repeated)]]`,
		workbench.TextList(&x.bobbins))
	add(hand, "wire", `enamelled copper wire, "AWG 34" or bare diameter "0.16mm"[[ (may be repeated)]]`,
		workbench.TextList(&x.wires))
	add(hand, "resistor", "resistor at hand for the drive ([[may be repeated; ]]default: any of the E12 series)",
		workbench.TextList(&x.resistors))
	add(hand, "turns", "turns (default: those that give most signal)", workbench.Whole(&x.turns))
	x.Find("turns").Default = "-"
	add(hand, "packing", "turns times wire diameter squared, over the winding window",
		workbench.Number((*float64)(&x.packing)))
	add(hand, "celsius", "temperature of the winding in °C", workbench.Number(&x.celsius))
	add(drive, "source-v", "rms voltage of the source without load", workbench.Volts(&x.source.Volt))
	add(drive, "source-r", "resistance of the source", workbench.Ohms(&x.source.Ohm))
	add(drive, "least-load", "smallest load the source is made for", workbench.Ohms(&x.source.LeastLoadOhm))
	add(drive, "to", "frequency up to which the current must stay even", workbench.Hertz(&x.goal.TopHz))
	add(drive, "drop", "how many dB the current may fall up to there", workbench.Number(&x.goal.LimitDB))
	add(target, "coil-length", "length of the mean turn, end to end", smallMetres(&x.coilLong))
	add(target, "coil-width", "width of the mean turn", smallMetres(&x.coilWide))
	add(target, "coil-height", "winding height of the coil", smallMetres(&x.coil.LengthM))
	add(target, "coil-turns", "turns of the coil under test", workbench.Whole(&x.coil.Turns))
	add(target, "gap", "gap between the exciter's winding and the coil's", smallMetres(&x.gap))
	return x
}

// smallMetres holds a length that cannot be 10 m or more.
func smallMetres(at *float64) workbench.Value { return workbench.MetresBelow(at, 10) }

// coilDepthM is how deep the winding of a coil under test is; its influence on
// the signal is small against that of its shape.
const coilDepthM = 4e-3

// Work is the sheet that the options ask for. A coil that cannot be wound is wrong
// use.
func (x *Plan) Work() (words.ExciterSheet, error) {
	drawer, err := x.drawer()
	if err != nil {
		return words.ExciterSheet{}, err
	}
	if x.Given("turns") &&
		(len(drawer.Wires) > 1 || len(drawer.Bobbins) > 1 || len(drawer.ResistorsOhm) > 0) {
		return words.ExciterSheet{}, usage("{turns} goes with one {wire} on one bobbin, and without {resistor}: " +
			"several are compared, each with its best number of turns")
	}
	if x.coil.Turns < 1 {
		return words.ExciterSheet{}, usage("{coil-turns} %d: want 1 or more", x.coil.Turns)
	}
	if !(x.celsius > -80 && x.celsius < 250) {
		return words.ExciterSheet{}, usage("{celsius} %g: want the winding's temperature in °C", x.celsius)
	}
	coil := x.coil
	coil.MeanRadiusM = exciter.EqualAreaRadiusM(max(x.coilLong, x.coilWide), min(x.coilLong, x.coilWide))
	s := words.ExciterSheet{Drawer: drawer, Packing: x.packing, Source: x.source, Goal: x.goal,
		Target: exciter.Target{Coil: coil}}
	if x.Given("turns") {
		bobbin := drawer.Bobbins[0]
		var coil exciter.Coil
		var e exciter.Estimate
		if coil, err = bobbin.Wind(drawer.Wires[0], x.turns, s.Packing); err == nil {
			e, err = exciter.Work(coil, x.celsius, s.Source, s.Goal, s.Target.Facing(bobbin, x.gap))
		}
		e.Bobbin = bobbin
		s.Estimates = []exciter.Estimate{e}
	} else {
		s.Estimates, err = exciter.Rank(drawer, s.Packing, x.celsius, s.Source, s.Goal, s.Target, x.gap)
	}
	if err != nil {
		return s, &workbench.UsageError{Err: err}
	}
	return s, nil
}

// drawer is the parts at hand by the options.
func (x *Plan) drawer() (exciter.Drawer, error) {
	var d exciter.Drawer
	if len(x.bobbins) == 0 {
		for _, name := range []string{"core", "flange", "length"} {
			if !x.Given(name) {
				return d, usage("an exciter needs its {core}, {flange}, {length} and {wire}, or {bobbin} and "+
					"{wire}: {%s} is missing", name)
			}
		}
		d.Bobbins = []exciter.Bobbin{x.bobbin}
	} else if x.Given("core", "flange", "length") {
		return d, usage("{bobbin} stands in place of {core}, {flange} and {length}")
	}
	if len(x.wires) == 0 {
		return d, usage("an exciter needs its {core}, {flange}, {length} and {wire}, or {bobbin} and {wire}: {wire} " +
			"is missing")
	}
	for _, text := range x.bobbins {
		b, err := parseBobbin(text)
		if err != nil {
			return d, &workbench.OptionError{Option: "bobbin", Err: err}
		}
		d.Bobbins = append(d.Bobbins, b)
	}
	for _, text := range x.wires {
		w, err := exciter.ParseWire(text)
		if err != nil {
			return d, &workbench.OptionError{Option: "wire", Err: err}
		}
		d.Wires = append(d.Wires, w)
	}
	for _, text := range x.resistors {
		r, err := quantity.ParseResistance(text)
		if err != nil {
			return d, &workbench.OptionError{Option: "resistor", Err: err}
		}
		d.ResistorsOhm = append(d.ResistorsOhm, r.SI)
	}
	return d, nil
}

// parseBobbin reads core, flange and length as in "10mm x 25mm x 8mm".
func parseBobbin(text string) (exciter.Bobbin, error) {
	parts := strings.FieldsFunc(text, func(r rune) bool { return r == 'x' || r == '×' || r == ',' })
	if len(parts) != 3 {
		return exciter.Bobbin{}, fmt.Errorf(
			`%q is not a bobbin: give the diameters of core and flange, and the length, as in "10mm x 25mm x 8mm"`,
			text)
	}
	var m [3]float64
	for i, part := range parts {
		if err := smallMetres(&m[i]).Set(strings.TrimSpace(part)); err != nil {
			return exciter.Bobbin{}, fmt.Errorf("%q: %w", text, err)
		}
	}
	return exciter.Bobbin{CoreDiameterM: m[0], FlangeDiameterM: m[1], LengthM: m[2]}, nil
}
