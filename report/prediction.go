package report

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
)

// Prediction writes what coils do in a harness as text for a terminal; target,
// if not nil, is the part that was asked for.
func Prediction(w io.Writer, p harness.Prediction, target *harness.Solution, o TableOptions) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	title := strings.Join(visibleAll(p.Coils), " and ")
	if p.Harness != "" {
		title += " in " + visible(p.Harness)
	}
	t.line(t.paint(sgrBold, truncate(title, o.Width)))
	t.line("")
	c := columns{gap: 2, right: []bool{false, true}}
	row := func(name string, q fit.Quantity, unit quantity.Unit, note string) {
		c.add("  "+name, t.notes.cell(q, unit), note)
	}
	row("peak", p.Peak, quantity.Hertz, peakWords(p.Peak))
	row("height", p.PeakDB, decibel, "over the level at low frequencies")
	row("sharpness", p.Q, ratio, "Q")
	row("level", p.Level, decibel, "at low frequencies, of the EMF of one coil")
	if target != nil {
		note := "puts the peak at " + part(target.TargetHz, quantity.Hertz)
		if target.LengthM != nil {
			note += fmt.Sprintf("; %.2f m of this cable", *target.LengthM)
		}
		row(target.Part, target.Farad, quantity.Farad, note)
	}
	for _, s := range c.lines(func(_, column int, cell string) string {
		switch column {
		case 1:
			return t.paint(sgrBold, cell)
		case 2:
			return t.paint(sgrFaint, cell)
		}
		return cell
	}) {
		t.line(s)
	}

	if len(p.Positions) > 0 {
		rows := columns{gap: 2, right: []bool{false, true, true, true, true}}
		rows.add("knob", "peak", "height", "Q", "level")
		for _, at := range p.Positions {
			name := ""
			if at.Volume != nil {
				name = fmt.Sprintf("volume %g", *at.Volume)
			} else if at.Tone != nil {
				name = fmt.Sprintf("tone %g", *at.Tone)
			}
			rows.add(name, t.notes.cell(at.Peak, quantity.Hertz), t.notes.cell(at.PeakDB, decibel), t.brief(at.Q, ratio), t.brief(at.Level, decibel))
		}
		t.headed(rows)
	}
	if len(p.Without) > 0 {
		rows := columns{gap: 2, right: []bool{false, true, true, true, true}}
		rows.add("without the", "peak", "", "height", "Q")
		for _, r := range p.Without {
			change := signNone
			if r.Peak.Known() && p.Peak.Known() {
				change = withMinus(fmt.Sprintf("%+.1f %%", 100*(r.Peak.Value/p.Peak.Value-1)))
			}
			rows.add(r.Part, t.brief(r.Peak, quantity.Hertz), change, t.brief(r.PeakDB, decibel), t.brief(r.Q, ratio))
		}
		t.headed(rows)
	}
	t.reasons()
	t.line("")
	t.line(t.paint(sgrFaint, "± is U95, from the coils' fits and the tolerances of the parts."))
	for _, warning := range p.Warnings {
		t.marked("!", sgrYellow, "Warning: "+visible(warning))
	}
	return t.out.Flush()
}

// headed writes a table after an empty line, its first row faint.
func (t *table) headed(c columns) {
	t.line("")
	if c.width() > t.o.Width {
		c.gap = 1
	}
	for i, s := range c.lines(nil) {
		if i == 0 {
			s = t.paint(sgrFaint, s)
		}
		t.line(s)
	}
}

// peakWords says where a loaded peak lies against what is usual: 2 kHz to
// 5 kHz is the range of guitars with cable (common practice).
func peakWords(peak fit.Quantity) string {
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

// WritePredictionCSV writes the predicted response, one row a frequency: Hz,
// dB over the EMF of one coil, and U95 in dB. What is not known is empty.
func WritePredictionCSV(w io.Writer, p harness.Prediction, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	sheet.row("frequency_hz", "level_db", "level_U95_db")
	for _, point := range p.Response {
		row := []string{sheet.number(point.FrequencyHz), "", ""}
		if q := point.LevelDB; q.Known() {
			row[1], row[2] = sheet.rounded(q.Value, 'f', 5), sheet.rounded(q.U95, 'g', 3)
		}
		sheet.row(row...)
	}
	return sheet.end()
}
