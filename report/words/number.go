package words

import (
	"coilsweep/excite/quantity"
	"coilsweep/fit"
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
	list := []Number{
		{"resonance", "", r.BareResonance, quantity.Hertz, "coil alone"},
		{"Q", "", r.BareQ, quantity.Ratio, "coil alone"},
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
