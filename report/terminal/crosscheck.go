package terminal

import (
	"io"

	"coilsweep/fit"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Crosscheck writes the meter readings against the fit, each with the parts
// of the difference to the coil's own value and, where it does not agree, what
// would explain it.
func Crosscheck(w io.Writer, r fit.Result, o Options) error {
	t := newTable(w, o)
	t.title(notation.Visible(r.Coil))
	t.meter(r.Meter, true)
	t.reasons()
	t.u95(". En within −1 … 1: reading and fit agree (ISO/IEC 17043).")
	return t.out.Flush()
}

// explanation says how the reading comes about.
func (t *table) explanation(m fit.MeterResult) {
	e := m.Explanation
	if e == nil {
		return
	}
	if words := words.Effects(m); words != "" {
		t.hanging("   ", "", words)
	}
	for _, note := range e.Notes {
		t.hanging("   "+notation.None, sgrFaint, notation.Typeset(note))
	}
	for _, cause := range e.Causes {
		t.hanging("   →", sgrBold, "may be: "+notation.Typeset(cause))
	}
}
