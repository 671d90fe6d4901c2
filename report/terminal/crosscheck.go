package terminal

import (
	"bufio"
	"io"

	"coilsweep/fit"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Crosscheck writes the meter readings against the fit, each with the parts
// of the difference to the coil's own value and, where it does not agree, what
// would explain it.
func Crosscheck(w io.Writer, r fit.Result, o Options) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	t.line(t.paint(sgrBold, truncate(notation.Visible(r.Coil), o.Width)))
	t.meterTable(r.Meter, true)
	t.reasons()
	t.line("")
	t.line(t.paint(sgrFaint, "± is U95. En within −1 … 1: reading and fit agree (ISO/IEC 17043)."))
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
		t.hanging("   "+notation.None, sgrFaint, notation.Visible(note))
	}
	for _, cause := range e.Causes {
		t.hanging("   →", sgrBold, "may be: "+notation.Visible(cause))
	}
}
