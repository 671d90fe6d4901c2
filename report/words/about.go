package words

import (
	"strings"

	"coilsweep/fit"
	"coilsweep/report/notation"
)

// Identity says which coil it is, besides its name: "serial 2026-014, lot spring, for A.
// Winder"; empty: nothing is stated.
func Identity(a fit.About) string {
	var said []string
	for _, part := range [][2]string{{"serial ", a.Serial}, {"lot ", a.Lot}, {"for ", a.Customer}} {
		if text := strings.TrimSpace(notation.Visible(part[1])); text != "" {
			said = append(said, part[0]+text)
		}
	}
	return strings.Join(said, ", ")
}

// Operators are those who made the takes; empty: not stated.
func Operators(a fit.About) string {
	return strings.Join(notation.Each(a.Operators, notation.Visible), ", ")
}

// Instrument is an instrument in words, with the takes that it was used for where those are
// not all of them.
func Instrument(u fit.InstrumentUse, takes int) string {
	text := notation.Visible(u.Words())
	if n := len(u.Takes); n > 0 && n < takes {
		text += "; for " + notation.Visible(strings.Join(u.Takes, ", "))
	}
	return text
}
