package fit

import "math"

// MeterExplanation says why a meter does not show the coil's own value, and the
// possible causes of a disagreement.
type MeterExplanation struct {
	// From is the value without any of the effects: the low-frequency L, the DC
	// resistance during the takes, the coil's own C, w L/R or its inverse.
	From float64 `json:"from"`
	// Effects lead from there to the expected reading, one after the other.
	Effects []MeterEffect `json:"effects"`
	Notes   []string      `json:"notes,omitempty"`
	// Causes would explain a reading that does not agree.
	Causes []string `json:"causes,omitempty"`
}

// MeterEffect is by how much one effect moves a reading, in percent of the
// value before it.
type MeterEffect struct {
	What    string  `json:"what"`
	Percent float64 `json:"percent"`
}

// Modes of a meter, as MeterResult has them.
const (
	ModeSeries   = "series"
	ModeParallel = "parallel"
	ModeDC       = "DC" // of the DC resistance
)

// En is the En number of a reading against a reference value, both with their
// expanded uncertainties: from -1 to 1 they agree (ISO/IEC 17043:2010, annex
// B; ISO 13528). It presumes that the two are independent.
func En(reading, readingU95, reference, referenceU95 float64) float64 {
	return (reading - reference) / math.Hypot(readingU95, referenceU95)
}

// MeterResult is one meter reading against the fit.
type MeterResult struct {
	What     string   `json:"what"`
	AtHz     float64  `json:"at_hz"`
	Mode     string   `json:"mode"`
	Reading  float64  `json:"reading"`
	U95      float64  `json:"U95"`
	Expected Quantity `json:"expected"`
	En       *float64 `json:"en"`
	Verdict  string   `json:"verdict"`
	// Explanation leads from the coil's own value to the expected one.
	Explanation *MeterExplanation `json:"explanation,omitempty"`
}
