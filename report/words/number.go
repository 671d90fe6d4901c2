package words

import (
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
)

// Number is one of a coil's own quantities with its name.
type Number struct {
	Name, Symbol string // empty name: as the one above
	Quantity     fit.Quantity
	Unit         quantity.Unit
	Note         string // which of several it is
}

// Numbers are a coil's own quantities in the order in which they are shown.
func Numbers(r fit.Result) []Number {
	resonance, q, of := r.BareResonance, r.BareQ, "coil alone"
	if t, ok := leastLoaded(r.Takes); ok && !resonance.Known() && t.Resonance.Known() {
		resonance, q, of = t.Resonance, t.Q, "take "+t.Name
	}
	list := []Number{
		{"resonance", "", resonance, quantity.Hertz, of},
		{"Q", "", q, quantity.Ratio, of},
		{"inductance", "L", r.Inductance, quantity.Henry, "at low frequency"},
		{"capacitance", "C", r.Capacitance, quantity.Farad, "coil and fixture"},
		{"self-capacitance", "", r.CapacitanceCoil, quantity.Farad, "coil alone"},
		{"resistance", "R", r.Resistance, quantity.Ohm, "winding, DC"},
	}
	if r.CoverCorner != nil {
		list = append(list, Number{"cover", "", *r.CoverCorner, quantity.Hertz, "corner of its shielding"})
	}
	return list
}

// PredictedNumbers are those of coils in a guitar, with the part that was asked
// for, if one was.
func PredictedNumbers(p harness.Prediction, target *harness.Solution) []Number {
	list := []Number{
		{"peak frequency", "", p.Peak, quantity.Hertz, "where it is loudest"},
		{"peak height", "", p.PeakDB, quantity.Decibel, "above the level at low frequencies"},
		{"Q", "", p.Q, quantity.Ratio, "sharpness, of the pole pair behind the peak"},
		{"level", "", p.Level, quantity.Decibel, "at low frequencies, of the EMF of one coil"},
	}
	if target != nil {
		list = append(list, Number{target.Part + ", asked for", "", target.Farad, quantity.Farad, Target(*target)})
	}
	return list
}

// Column is a quantity in a table of takes or of sounds.
type Column[T any] struct {
	Name string
	Unit quantity.Unit
	Of   func(T) fit.Quantity
}

// ShapeColumns are what the shapes of takes show, PeakColumns what follows.
var (
	ShapeColumns = []Column[fit.TakeResult]{
		{"resonance", quantity.Hertz, func(t fit.TakeResult) fit.Quantity { return t.Resonance }},
		{"Q", quantity.Ratio, func(t fit.TakeResult) fit.Quantity { return t.Q }},
	}
	PeakColumns = []Column[fit.TakeResult]{
		{"peak frequency", quantity.Hertz, func(t fit.TakeResult) fit.Quantity { return t.Peak }},
		{"peak height", quantity.Decibel, func(t fit.TakeResult) fit.Quantity { return t.PeakDB }},
		{"−3 dB width", quantity.Hertz, func(t fit.TakeResult) fit.Quantity { return t.WidthHz }},
		{"LC frequency", quantity.Hertz, func(t fit.TakeResult) fit.Quantity { return t.LC }},
	}
)

// SoundColumns are what a guitar does with its coils.
var SoundColumns = []Column[harness.Sound]{
	{"peak frequency", quantity.Hertz, func(s harness.Sound) fit.Quantity { return s.Peak }},
	{"peak height", quantity.Decibel, func(s harness.Sound) fit.Quantity { return s.PeakDB }},
	{"Q", quantity.Ratio, func(s harness.Sound) fit.Quantity { return s.Q }},
	{"level", quantity.Decibel, func(s harness.Sound) fit.Quantity { return s.Level }},
}
