package terminal

import (
	"io"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/notation"
	"coilsweep/report/sound"
	"coilsweep/report/words"
)

// Hearing writes how two sounds differ as text for a terminal.
func Hearing(w io.Writer, l sound.Listening, o Options) error {
	t := newTable(w, o)
	t.title(words.HearingTitle(l))
	for _, s := range words.HearingAbout(l) {
		t.wrapped("", sgrFaint, s+".")
	}
	t.line("")
	for _, s := range words.Hearing(l) {
		t.wrapped("", "", s)
	}
	t.line("")
	differences := notation.Each(l.Octaves, func(o harness.Octave) fit.Quantity { return o.Difference })
	c := columns{gap: 2}
	c.column("octave", true, notation.Each(l.Octaves, words.OctaveName))
	c.column("difference", true, notation.Differences(quantity.Decibel, differences...))
	c.column("verdict", false, notation.Each(differences, words.OctaveVerdict))
	t.headed(c, nil)
	t.u95(", from the coils' fits and the tolerances of the parts.")
	t.warnings("Warning: ", l.Warnings)
	t.warnings("Assumed: ", l.Assumptions)
	return t.out.Flush()
}
