package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"

	"coilsweep/fit"
)

// Crosscheck writes the meter readings against the fit, each with the parts
// of the difference to the coil's own value and, where it does not agree, what
// would explain it.
func Crosscheck(w io.Writer, r fit.Result, o TableOptions) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	t.line(t.paint(sgrBold, truncate(visible(r.Coil), o.Width)))
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
	if words := effectWords(m); words != "" {
		t.hanging("   ", "", words)
	}
	for _, note := range e.Notes {
		t.hanging("   "+signNone, sgrFaint, visible(note))
	}
	for _, cause := range e.Causes {
		t.hanging("   →", sgrBold, "may be: "+visible(cause))
	}
}

// effectWords leads from the coil's own value to the reading: "2.40 H at low
// frequency; eddy currents −3.1 %, self-capacitance +1.2 %".
func effectWords(m fit.MeterResult) string {
	e := m.Explanation
	if len(e.Effects) == 0 {
		return ""
	}
	from := map[string]string{
		"L": "at low frequency", "R": "at the takes' temperature", "C": "the coil's own",
		"Q": "by L and R alone", "D": "by L and R alone",
	}[m.What]
	var parts []string
	for _, effect := range e.Effects {
		format := "%+.2g"
		if math.Abs(effect.Percent) >= 100 {
			format = "%+.0f"
		}
		parts = append(parts, fmt.Sprintf("%s %s %%", visible(effect.What), withMinus(fmt.Sprintf(format, effect.Percent))))
	}
	return fmt.Sprintf("%s %s; %s", plain(e.From, meterUnit(m.What), 4), from, strings.Join(parts, ", "))
}
