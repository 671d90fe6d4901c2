// Package words puts into words what a result, its meter readings, a comparison,
// a batch and a prediction say, in sentences for people and in the few words of a
// table's cell. Nothing is computed here that a reader could take for a
// measurement.
package words

import (
	"fmt"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
)

// FlagMeanings says what a take's flag means for the reader.
var FlagMeanings = map[string]string{
	"clipped":        "the recording hits full scale",
	"clipped-repeat": "some sweeps hit full scale and are left out",
	"dropout":        "samples were lost in the recording: damaged sweeps are left out",
	"drift":          "player and recorder run at different rates",
	"hum":            "mains hum stands in the recording",
	"low-snr":        "the signal is close to the noise",
	"distorted":      "harmonics are strong: the drive level is too high, or the amplifier too small",
	"no-stimulus":    "the stimulus was not found in the recording",
	"too-short":      "the recording is shorter than one sweep",
	"unreadable":     "its files are missing or were changed",
}

// fitWords says what a reduced chi-square means.
func fitWords(chi2 float64) string {
	switch {
	case !(chi2 > 0):
		return "how well it explains the takes was not judged"
	case chi2 <= 1.3:
		return "it explains the takes down to their noise and what a sound card leaves in them"
	case chi2 <= 3:
		return "a little more is left over than noise"
	case chi2 <= 10:
		return "clearly more is left over than noise: look at the residuals"
	}
	return "it does not explain the takes: look at the residuals before using the numbers"
}

// Model is the model line.
func Model(m fit.Model) string {
	if m.Name == "" {
		return "no circuit was fitted"
	}
	return fmt.Sprintf("%s; %s (reduced chi² %.3g, %d degrees of freedom)", notation.Visible(m.Name), fitWords(m.Chi2Reduced), m.Chi2Reduced, m.DoF)
}

// Load is what was added across the coil: "470 pF, 100 kΩ".
func Load(t fit.TakeResult) string {
	var parts []string
	if t.AddedC != 0 {
		parts = append(parts, notation.Nominal(t.AddedC, quantity.Farad))
	}
	if t.AddedR != nil {
		parts = append(parts, notation.Nominal(*t.AddedR, quantity.Ohm))
	}
	if parts == nil {
		return notation.None
	}
	return strings.Join(parts, ", ")
}

// Flags are a take's flags, "not used" first where the fit left it out.
func Flags(t fit.TakeResult) []string {
	var flags []string
	if !t.Used {
		flags = append(flags, "not used")
	}
	for _, f := range t.Flags {
		flags = append(flags, notation.Visible(f))
	}
	return flags
}

// Advice is the next measurement with what it would bring.
func Advice(a fit.Advice) string { return a.Text }

// Result says what the result says, for somebody who does not measure
// coils.
func Result(r fit.Result) []string {
	var said []string
	if r.BareResonance.Known() {
		s := "On its own, this coil resonates at " + notation.Value(r.BareResonance, quantity.Hertz)
		if r.BareQ.Known() {
			s += fmt.Sprintf(" with a Q of %s (the higher, the sharper)", notation.Value(r.BareQ, notation.Ratio))
		}
		said = append(said, s+".")
	}
	if t, ok := lightest(r.Takes); ok {
		with := "nothing added to the cable and input of the bench"
		if load := Load(t); load != notation.None {
			with = load + " added"
		}
		said = append(said, fmt.Sprintf("With %s it is loudest at %s, %s above its level at low frequencies; higher up its output falls away.",
			with, notation.Value(t.Peak, quantity.Hertz), notation.Value(t.PeakDB, notation.Decibel)))
	}
	if r.Inductance.Known() && r.Capacitance.Known() && r.Resistance.Known() {
		said = append(said, fmt.Sprintf("It behaves as an inductance of %s and a resistance of %s in series, with %s across them.",
			notation.Value(r.Inductance, quantity.Henry), notation.Value(r.Resistance, quantity.Ohm), notation.Value(r.Capacitance, quantity.Farad)))
	}
	if r.Model.Name != "" {
		said = append(said, "How far to trust the circuit behind these numbers: "+fitWords(r.Model.Chi2Reduced)+".")
	}
	out := 0
	for _, t := range r.Takes {
		if !t.Used {
			out++
		}
	}
	if out > 0 {
		said = append(said, fmt.Sprintf("%s of %d could not be used.", notation.UpperFirst(notation.Count(out, "take")), len(r.Takes)))
	}
	return said
}

// lightest is the take with a known peak whose load is nearest to none.
func lightest(takes []fit.TakeResult) (least fit.TakeResult, ok bool) {
	for _, t := range takes {
		if !t.Used || !t.Peak.Known() || !t.PeakDB.Known() {
			continue
		}
		if !ok || t.AddedR == nil && least.AddedR != nil || (t.AddedR == nil) == (least.AddedR == nil) && t.AddedC < least.AddedC {
			least, ok = t, true
		}
	}
	return least, ok
}
