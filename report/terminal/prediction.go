package terminal

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Prediction writes what coils do in a harness as text for a terminal; target,
// if not nil, is the part that was asked for.
func Prediction(w io.Writer, p harness.Prediction, target *harness.Solution, o Options) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	title := strings.Join(notation.VisibleAll(p.Coils), " and ")
	if p.Harness != "" {
		title += " in " + notation.Visible(p.Harness)
	}
	t.line(t.paint(sgrBold, truncate(title, o.Width)))
	t.line("")
	c := columns{gap: 2, right: []bool{false, true}}
	row := func(name string, q fit.Quantity, unit quantity.Unit, note string) {
		c.add("  "+name, t.notes.Cell(q, unit), note)
	}
	row("peak", p.Peak, quantity.Hertz, words.Peak(p.Peak))
	row("height", p.PeakDB, notation.Decibel, "over the level at low frequencies")
	row("sharpness", p.Q, notation.Ratio, "Q")
	row("level", p.Level, notation.Decibel, "at low frequencies, of the EMF of one coil")
	if target != nil {
		note := "puts the peak at " + notation.Nominal(target.TargetHz, quantity.Hertz)
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
			rows.add(name, t.notes.Cell(at.Peak, quantity.Hertz), t.notes.Cell(at.PeakDB, notation.Decibel), t.brief(at.Q, notation.Ratio), t.brief(at.Level, notation.Decibel))
		}
		t.headed(rows)
	}
	if len(p.Without) > 0 {
		rows := columns{gap: 2, right: []bool{false, true, true, true, true}}
		rows.add("without the", "peak", "", "height", "Q")
		for _, r := range p.Without {
			change := notation.None
			if r.Peak.Known() && p.Peak.Known() {
				change = notation.Minus(fmt.Sprintf("%+.1f %%", 100*(r.Peak.Value/p.Peak.Value-1)))
			}
			rows.add(r.Part, t.brief(r.Peak, quantity.Hertz), change, t.brief(r.PeakDB, notation.Decibel), t.brief(r.Q, notation.Ratio))
		}
		t.headed(rows)
	}
	t.reasons()
	t.line("")
	t.line(t.paint(sgrFaint, "± is U95, from the coils' fits and the tolerances of the parts."))
	for _, warning := range p.Warnings {
		t.marked("!", sgrYellow, "Warning: "+notation.Visible(warning))
	}
	return t.out.Flush()
}
