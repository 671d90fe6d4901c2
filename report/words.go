package report

import (
	"fmt"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// flagWords says what a take's flag means for the reader.
var flagWords = map[string]string{
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

// modelWords is the model line.
func modelWords(m fit.Model) string {
	if m.Name == "" {
		return "no circuit was fitted"
	}
	return fmt.Sprintf("%s; %s (reduced chi² %.3g, %d degrees of freedom)", visible(m.Name), fitWords(m.Chi2Reduced), m.Chi2Reduced, m.DoF)
}

// loadWords is what was added across the coil: "470 pF, 100 kΩ".
func loadWords(t fit.TakeResult) string {
	var parts []string
	if t.AddedC != 0 {
		parts = append(parts, part(t.AddedC, quantity.Farad))
	}
	if t.AddedR != nil {
		parts = append(parts, part(*t.AddedR, quantity.Ohm))
	}
	if parts == nil {
		return signNone
	}
	return strings.Join(parts, ", ")
}

// takeFlags are a take's flags, "not used" first where the fit left it out.
func takeFlags(t fit.TakeResult) []string {
	var flags []string
	if !t.Used {
		flags = append(flags, "not used")
	}
	for _, f := range t.Flags {
		flags = append(flags, visible(f))
	}
	return flags
}

// meterUnit is the unit of a meter's quantity.
func meterUnit(what string) quantity.Unit {
	switch what {
	case "L":
		return quantity.Henry
	case "C":
		return quantity.Farad
	case "R":
		return quantity.Ohm
	}
	return ratio
}

// visible makes outside text harmless on one line: control and
// direction-changing characters become visible.
func visible(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\t' || r == '\n':
			return ' '
		case r < 0x20, r >= 0x7f && r < 0xa0, // controls
			r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069, // embeddings, overrides, isolates
			r == 0x200e, r == 0x200f, r == 0x061c, r == 0xfeff, r == 0x2028, r == 0x2029:
			return '\ufffd'
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd"))
}

// adviceWords is the next measurement with what it would bring.
func adviceWords(a fit.Advice) string { return a.Text }

// summaryWords says what the result says, for somebody who does not measure
// coils.
func summaryWords(r fit.Result) []string {
	var said []string
	if r.BareResonance.Known() {
		s := "On its own, this coil resonates at " + valueOf(r.BareResonance, quantity.Hertz)
		if r.BareQ.Known() {
			s += fmt.Sprintf(" with a Q of %s (the higher, the sharper)", valueOf(r.BareQ, ratio))
		}
		said = append(said, s+".")
	}
	if t, ok := lightest(r.Takes); ok {
		with := "nothing added to the cable and input of the bench"
		if load := loadWords(t); load != signNone {
			with = load + " added"
		}
		said = append(said, fmt.Sprintf("With %s it is loudest at %s, %s above its level at low frequencies; higher up its output falls away.",
			with, valueOf(t.Peak, quantity.Hertz), valueOf(t.PeakDB, decibel)))
	}
	if r.Inductance.Known() && r.Capacitance.Known() && r.Resistance.Known() {
		said = append(said, fmt.Sprintf("It behaves as an inductance of %s and a resistance of %s in series, with %s across them.",
			valueOf(r.Inductance, quantity.Henry), valueOf(r.Resistance, quantity.Ohm), valueOf(r.Capacitance, quantity.Farad)))
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
		said = append(said, fmt.Sprintf("%s of %d could not be used.", upperFirst(countOf(out, "take")), len(r.Takes)))
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

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// tied keeps numbers and their units on one line.
func tied(s string) string {
	b := []rune(s)
	for i := 1; i+1 < len(b); i++ {
		if b[i] == ' ' && (b[i-1] >= '0' && b[i-1] <= '9' && b[i+1] != '(' || b[i-1] == '±' || b[i+1] == '±') {
			b[i] = '\u00a0'
		}
	}
	return string(b)
}
