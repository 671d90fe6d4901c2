package words

import (
	"fmt"
	"math"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/notation"
)

// Peak says where a loaded peak lies against what is usual: 2 kHz to
// 5 kHz is the range of guitars with cable (common practice).
func Peak(peak fit.Quantity) string {
	switch {
	case !peak.Known():
		return ""
	case peak.Value+peak.U95 < 2000:
		return "lower than is usual (2 kHz to 5 kHz)"
	case peak.Value-peak.U95 > 5000:
		return "higher than is usual (2 kHz to 5 kHz)"
	}
	return "usual are 2 kHz to 5 kHz"
}

// Prediction say what a prediction says, for somebody who does not
// measure coils.
func Prediction(p harness.Prediction, target *harness.Solution) []string {
	var said []string
	verb, whose := " is", "its"
	if len(p.Coils) > 1 {
		verb, whose = " are", "their"
	}
	names := strings.Join(notation.VisibleAll(p.Coils), " and ")
	switch {
	case !p.Peak.Known():
		said = append(said, "What "+names+" would be loudest at is not known: "+notation.Visible(p.Peak.Why)+".")
	case p.PeakDB.Known():
		said = append(said, fmt.Sprintf("With these parts, %s%s loudest at %s, %s above %s level at low frequencies; %s.",
			names, verb, notation.Value(p.Peak, quantity.Hertz), notation.Value(p.PeakDB, notation.Decibel), whose, Peak(p.Peak)))
	default:
		said = append(said, fmt.Sprintf("With these parts, %s%s loudest at %s; %s.", names, verb, notation.Value(p.Peak, quantity.Hertz), Peak(p.Peak)))
	}
	var most harness.Removal
	moved := 0.0
	for _, r := range p.Without {
		if r.Peak.Known() && p.Peak.Known() {
			if by := math.Abs(math.Log(r.Peak.Value / p.Peak.Value)); by > moved {
				most, moved = r, by
			}
		}
	}
	if moved > 0.01 {
		said = append(said, fmt.Sprintf("Of all parts the %s moves the peak most: without it, it would lie at %s.", most.Part, notation.Value(most.Peak, quantity.Hertz)))
	}
	if target != nil && target.Farad.Known() {
		s := fmt.Sprintf("For a peak at %s, the %s has to have %s", notation.Nominal(target.TargetHz, quantity.Hertz), target.Part, notation.Value(target.Farad, quantity.Farad))
		if target.LengthM != nil {
			s += fmt.Sprintf(", which is %.2g m of it", *target.LengthM)
		}
		said = append(said, s+".")
	}
	return said
}
