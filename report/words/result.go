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
	"clipped":          "the recording hits full scale",
	"clipped-repeat":   "some sweeps hit full scale and are left out",
	"dropout":          "samples were lost in the recording: damaged sweeps are left out",
	"drift":            "player and recorder run at different rates",
	"hum":              "the recording contains mains hum",
	"low-snr":          "the signal is close to the noise",
	"distorted":        "harmonics are strong: the drive level is too high, or the amplifier too small",
	"no-stimulus":      "the stimulus was not found in the recording",
	"too-short":        "the recording has no sweep that is whole and undamaged",
	"changed":          "the sweeps differ in their response: something moved, came loose or changed its gain",
	"processed":        "there is more noise in the sweeps than between them: lossy coding, or a loose contact",
	"resampled":        "the band ends clearly below half the sampling rate: it was resampled from a lower one",
	"swapped-channels": "the coil's and the reference's channel are swapped",
	"same-signal":      "both channels carry the same signal",
	"no-coil":          "the output itself was recorded, without exciter and coil",
	"no-reference":     "the sweep is not on the reference channel",
	"cancels":          "there is no plateau: the halves of the coil cancel each other, or the exciter is not connected",
	"crosstalk":        "the sweep is heard by crosstalk alone: the coil is not connected",
	"part-doubted":     "its part has the effect of one of another size",
	"unreadable":       "its files are missing or were changed",
}

// relations are flags that name another take behind them.
var relations = map[string]string{
	"same-as":      "what is stated to be connected has no effect against take ",
	"swapped-with": "its part and that of the other take are swapped: take ",
}

// FlagMeaning says what a take's flag means; empty: it is not known.
func FlagMeaning(flag string) string {
	if kind, of, related := strings.Cut(flag, " "); related && relations[kind] != "" {
		return relations[kind] + of
	}
	return FlagMeanings[flag]
}

// fitWords says what a reduced chi-square means.
func fitWords(chi2 float64) string {
	switch {
	case !(chi2 > 0):
		return "how well it explains the takes was not judged"
	case chi2 <= 1.3:
		return "it explains the takes down to their noise and what a sound card leaves in them"
	case chi2 <= 3:
		return "the residuals are a little larger than the noise"
	case chi2 <= 10:
		return "the residuals are clearly larger than the noise: check their figure"
	}
	return "it does not explain the takes: check the residuals before you use the numbers"
}

// modelMeanings say what the names of models, which stand in result.json and
// on the command line, are about.
var modelMeanings = map[string]string{
	"loss-free":      "no eddy currents",
	"one ring":       "one eddy-current loop",
	"two rings":      "two eddy-current loops",
	"three rings":    "three eddy-current loops",
	"solid cylinder": "eddy currents in a solid core",
}

// ModelName is a model's name with what it means.
func ModelName(name string) string {
	stem, lossy := strings.CutSuffix(name, " with dielectric loss")
	stem, covered := strings.CutSuffix(stem, " with cover")
	means, known := modelMeanings[stem]
	if !known {
		return notation.Visible(name)
	}
	if covered {
		means += " and a conducting cover"
	}
	if lossy {
		means += ", and loss in the winding's insulation"
	}
	return name + ": " + means
}

// Model is the model line.
func Model(m fit.Model) string {
	if m.Name == "" {
		return "no circuit was fitted"
	}
	return fmt.Sprintf("%s; %s (reduced chi² %.3g, %d degrees of freedom)",
		ModelName(m.Name), fitWords(m.Chi2Reduced), m.Chi2Reduced, m.DoF)
}

// EddyName names a term of the eddy-current loss.
func EddyName(e fit.Eddy, i int) string {
	switch e.Form {
	case "ring", "":
		return fmt.Sprintf("loop %d", i+1)
	case "cylinder":
		return "solid core"
	}
	return fmt.Sprintf("%s %d", notation.Visible(e.Form), i+1)
}

// SN is a take's signal over its noise after averaging, at the plateau.
func SN(t fit.TakeResult) string { return notation.WholeDecibels(t.SNRdB) }

// Load is what was added across the coil: "470 pF, 100 kΩ".
func Load(t fit.TakeResult) string { return Loads([]fit.TakeResult{t})[0] }

// Loads are those of takes below each other: capacitors in one unit, resistors
// in one.
func Loads(takes []fit.TakeResult) []string {
	farad, ohm := make([]float64, len(takes)), make([]float64, len(takes))
	for i, t := range takes {
		farad[i] = t.AddedC
		if t.AddedR != nil {
			ohm[i] = *t.AddedR
		}
	}
	c, r := notation.Nominals(farad, quantity.Farad), notation.Nominals(ohm, quantity.Ohm)
	for i := range c {
		switch {
		case c[i] == "" && r[i] == "":
			c[i] = notation.None
		case c[i] == "":
			c[i] = r[i]
		case r[i] != "":
			c[i] += ", " + r[i]
		}
	}
	return c
}

// Flags are a take's flags, "not used" first where the fit left it out.
func Flags(t fit.TakeResult) []string {
	var flags []string
	if !t.Used {
		flags = append(flags, "not used")
	}
	return append(flags, notation.Each(t.Flags, notation.Visible)...)
}

// Result says what the result says, for somebody who does not measure
// coils.
func Result(r fit.Result) []string {
	var said []string
	if s := Contradicted(r); s != "" {
		said = append(said, s)
	}
	if r.BareResonance.Known() {
		s := "On its own, this coil resonates at " + notation.Rounded(r.BareResonance, quantity.Hertz)
		if r.BareQ.Known() {
			s += fmt.Sprintf(" with a Q of %s (the higher, the sharper)", notation.Rounded(r.BareQ, quantity.Ratio))
		}
		said = append(said, s+".")
	}
	if t, ok := lightest(r.Takes); ok {
		with := "nothing added to the cable and input of the bench"
		if load := Load(t); load != notation.None {
			with = load + " added"
		}
		said = append(said, fmt.Sprintf(
			"With %s it is loudest at %s, %s above its level at low frequencies; higher up its output falls away.",
			with, notation.Rounded(t.Peak, quantity.Hertz), notation.Rounded(t.PeakDB, quantity.Decibel)))
	}
	if r.Inductance.Known() && r.Capacitance.Known() && r.Resistance.Known() {
		said = append(said, fmt.Sprintf(
			"It behaves as an inductance of %s and a resistance of %s in series, with %s across them.",
			notation.Rounded(r.Inductance, quantity.Henry), notation.Rounded(r.Resistance, quantity.Ohm),
			notation.Rounded(r.Capacitance, quantity.Farad)))
	}
	if given := Given(r); given != "" {
		said = append(said, given)
	}
	if r.Model.Name != "" {
		said = append(said, "How well the model fits: "+fitWords(r.Model.Chi2Reduced)+".")
	}
	out := 0
	for _, t := range r.Takes {
		if !t.Used {
			out++
		}
	}
	if out > 0 {
		said = append(said, fmt.Sprintf("%s of %d could not be used.", notation.Count(out, "take"), len(r.Takes)))
	}
	return said
}

// Given is what the coil's unknown numbers are if something holds that the takes do
// not show; empty: nothing is said.
func Given(r fit.Result) string {
	supposed, said := "", []string{}
	for _, n := range Numbers(r) {
		g := n.Quantity.Given
		if g == nil || n.Symbol == "" || supposed != "" && g.If != supposed {
			continue
		}
		supposed = g.If
		said = append(said, n.Symbol+" = "+notation.WithU95(g.Quantity, n.Unit))
	}
	if supposed == "" {
		return ""
	}
	return "If " + notation.Typeset(supposed) + ": " + strings.Join(said, ", ") + "."
}

// Contradicted names what was stated and the takes contradict; empty: nothing.
func Contradicted(r fit.Result) string {
	if len(r.Contradicted) == 0 {
		return ""
	}
	return "The takes contradict " + strings.Join(notation.Each(r.Contradicted, notation.Typeset), "; ") +
		": see the first warning."
}

// lightest is the take with a known peak whose load is nearest to none.
func lightest(takes []fit.TakeResult) (least fit.TakeResult, ok bool) {
	for _, t := range takes {
		if !t.Used || !t.Peak.Known() || !t.PeakDB.Known() {
			continue
		}
		free, was := t.AddedR == nil, least.AddedR == nil
		if !ok || free && !was || free == was && t.AddedC < least.AddedC {
			least, ok = t, true
		}
	}
	return least, ok
}
