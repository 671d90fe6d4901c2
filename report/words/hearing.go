package words

import (
	"fmt"
	"math"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/notation"
	"coilsweep/report/sound"
)

// HearingCautions are what to mind before sounds are played, each under a few words.
func HearingCautions() []string {
	return []string{
		"Start quiet: turn the volume down before you press play, take headphones off until you know how loud it is, " +
			"and raise it slowly.",
		"Protect your hearing: what is loud enough to hurt is loud enough to harm, and small differences are heard " +
			"at a moderate level.",
	}
}

// Hearing is what is said of two sounds, the largest difference first.
func Hearing(l sound.Listening) []string {
	a, b := notation.Visible(l.Names[0]), notation.Visible(l.Names[1])
	var said, below, nothing []string
	for _, o := range l.Octaves {
		name := OctaveName(o)
		switch {
		case !o.Difference.Known():
			nothing = append(nothing, name)
		case math.Abs(o.Difference.Value) <= o.Difference.U95:
			below = append(below, name)
		}
	}
	told := l.Told()
	if len(told) == 0 {
		return []string{fmt.Sprintf("The difference between %s and %s is below what the measurement can tell, in every "+
			"octave.", a, b)}
	}
	largest := told[0]
	for _, o := range told {
		if math.Abs(o.Difference.Value) > math.Abs(largest.Difference.Value) {
			largest = o
		}
	}
	d, more := largest.Difference, "more"
	if d.Value < 0 {
		d.Value, more = -d.Value, "less"
	}
	said = append(said, fmt.Sprintf("At equal loudness, %s has %s %s than %s in the octave around %s: the largest "+
		"difference.", b, notation.Rounded(d, quantity.Decibel), more, a, OctaveName(largest)))
	if below != nil {
		said = append(said, "Below what the measurement can tell: the difference at "+list(below)+".")
	}
	if nothing != nil {
		said = append(said, "The recording has nothing at "+list(nothing)+".")
	}
	if !math.IsInf(l.Pair.Difference.LUFS, -1) {
		lu, than := l.A.LUFS-l.Pair.Difference.LUFS, "quieter"
		if lu < 0 {
			lu, than = -lu, "louder"
		}
		said = append(said, fmt.Sprintf("What is left when one sound is taken off the other, levels and phases, is %.1f "+
			"LU %s than either.", lu, than))
	}
	return said
}

// list is "a", "a and b", "a, b and c".
func list(words []string) string {
	if len(words) == 1 {
		return words[0]
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " and " + words[last]
}

// OctaveName is the centre of an octave: "4 kHz".
func OctaveName(o harness.Octave) string { return notation.Nominal(o.CentreHz, quantity.Hertz) }

// OctaveVerdict says whether a difference counts.
func OctaveVerdict(d fit.Quantity) string {
	switch {
	case !d.Known():
		return d.Why
	case math.Abs(d.Value) <= d.U95:
		return "below what the measurement can tell"
	}
	return "differs"
}

// HearingAbout says what was played, through what.
func HearingAbout(l sound.Listening) []string {
	about := []string{"Recording: " + notation.Visible(l.Recording)}
	if l.RecordedWith != "" {
		about = append(about, "Recorded with "+notation.Visible(l.RecordedWith)+" in the same guitar; its response is "+
			"taken out")
	}
	return append(about, fmt.Sprintf("Both sounds at %s\u00a0LUFS (ITU-R BS.1770-5)",
		quantity.Minus(fmt.Sprintf("%.1f", l.A.LUFS))))
}

// HearingTitle names both sounds, and the guitar.
func HearingTitle(l sound.Listening) string {
	title := notation.Visible(l.Names[1]) + " against " + notation.Visible(l.Names[0])
	if l.Guitar != "" {
		title += " in " + notation.Visible(l.Guitar)
	}
	return title
}
