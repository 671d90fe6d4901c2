package words

import (
	"slices"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
)

// BranchTitle is over the table of Branch.
var BranchTitle = notation.UpperFirst(fit.BranchName) + ", without the coil's own capacitance"

// BranchColumns are the winding at one frequency.
var BranchColumns = []Column[fit.BranchPoint]{
	{"L in series", quantity.Henry, func(p fit.BranchPoint) fit.Quantity { return p.Inductance }},
	{"AC resistance", quantity.Ohm, func(p fit.BranchPoint) fit.Quantity { return p.Resistance }},
}

// Branch is the winding at the frequencies of meters; nil where nothing of it is
// known, for the same reason as L.
func Branch(r fit.Result) []fit.BranchPoint {
	known := func(p fit.BranchPoint) bool { return p.Inductance.Known() || p.Resistance.Known() }
	if !slices.ContainsFunc(r.Branch, known) {
		return nil
	}
	return r.Branch
}

// BranchPlace is the frequency of the point, and which one it is where it is not
// a meter's.
func BranchPlace(p fit.BranchPoint) (frequency, note string) {
	if p.AtResonance() {
		return quantity.Format(p.Hz, quantity.Hertz, 4), "resonance with nothing added"
	}
	return notation.Nominal(p.Hz, quantity.Hertz), ""
}

// Budgets are those that people are shown: of the winding at other frequencies
// they are much the same as that of L and R.
func Budgets(budgets []fit.Budget) []fit.Budget {
	var hidden []string
	for _, hz := range fit.BranchHz() {
		inductance, resistance := fit.BranchPoint{Hz: hz}.Keys()
		hidden = append(hidden, inductance, resistance)
	}
	inductance, _ := fit.BranchPoint{}.Keys()
	hidden = append(hidden, inductance)
	return slices.DeleteFunc(slices.Clone(budgets), func(b fit.Budget) bool {
		return slices.Contains(hidden,
			b.Quantity)
	})
}
