package fit

import (
	"fmt"
	"slices"
)

// BranchName is what people know the branch by.
const BranchName = "inductance and resistance by frequency"

// BranchPoint is the winding branch R + s L(s) at one frequency as a series
// inductance and resistance, without the coil's own capacitance and all else that
// is across it. Unlike the terms of a model these two mean the same in every
// model, and in every laboratory.
type BranchPoint struct {
	Hz float64 `json:"hz"`
	// Inductance is the reactance over w, Resistance the AC resistance.
	Inductance Quantity `json:"inductance_h"`
	Resistance Quantity `json:"resistance_ohm"`
}

// BranchHz are the frequencies of the branch that every result has, in Hz: those
// that LCR meters commonly offer (typical values, no source). One more is the
// resonance of the take with nothing added.
func BranchHz() []float64 { return []float64{100, 120, 1000, 10000} }

// AtResonance tells whether the point is the one at the resonance.
func (p BranchPoint) AtResonance() bool { return !slices.Contains(BranchHz(), p.Hz) }

// Keys name the two quantities of the point where quantities of a result stand
// in one list, as in Budget: "branch_1000hz_inductance_h",
// "branch_resonance_resistance_ohm".
func (p BranchPoint) Keys() (inductance, resistance string) {
	place := "resonance"
	if !p.AtResonance() {
		place = fmt.Sprintf("%.0fhz", p.Hz)
	}
	return "branch_" + place + "_inductance_h", "branch_" + place + "_resistance_ohm"
}

// BranchAt is the point of the result at one of BranchHz, or at the resonance for
// any other frequency; with the reason where there is none.
func (r *Result) BranchAt(hz float64) BranchPoint {
	want := BranchPoint{Hz: hz}
	for _, p := range r.Branch {
		if p.Hz == hz || p.AtResonance() && want.AtResonance() {
			return p
		}
	}
	why := Unknown("the result does not have it: fit the takes again")
	if want.AtResonance() && r.Branch != nil {
		why = Unknown("there is no take with nothing added that resonates")
	}
	want.Inductance, want.Resistance = why, why
	return want
}
