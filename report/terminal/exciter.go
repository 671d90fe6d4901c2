package terminal

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"

	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// ExciterSheet is what an exciter was worked out from, and what came out, the
// best first.
type ExciterSheet struct {
	Drawer    exciter.Drawer
	Packing   exciter.Packing
	Source    exciter.Source
	Goal      exciter.Goal
	Target    exciter.Target
	Estimates []exciter.Estimate
}

// Exciter writes the sheet as text for a terminal: one exciter in full, or
// several as a table with the first in full below.
func Exciter(w io.Writer, s ExciterSheet, o Options) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	if len(s.Estimates) > 1 {
		t.drawer(s)
	}
	if len(s.Estimates) > 0 {
		t.exciter(s, s.Estimates[0])
	}
	return t.out.Flush()
}

// drawer compares wires and bobbins.
func (t *table) drawer(s ExciterSheet) {
	c := columns{gap: 2, right: []bool{false, true, true, true, true, true, true}}
	head := []string{"wire", "turns", "R", "L", "series R", "current", "signal at 1 kHz"}
	bobbins := len(s.Drawer.Bobbins) > 1
	if bobbins {
		c.right = slices.Insert(c.right, 0, false)
		head = slices.Insert(head, 0, "bobbin")
	}
	c.add(head...)
	for _, e := range s.Estimates {
		row := []string{e.Coil.Wire.Name, fmt.Sprint(e.Coil.Turns), notation.Plain(e.ResistanceOhm, quantity.Ohm, 3), notation.Plain(e.InductanceH, quantity.Henry, 3),
			notation.Plain(e.SeriesOhm, quantity.Ohm, 2), notation.Plain(e.CurrentA, ampere, 2), notation.Plain(e.EMFV1k, quantity.Volt, 2)}
		if bobbins {
			row = slices.Insert(row, 0, bobbinWords(e.Bobbin))
		}
		c.add(row...)
	}
	for i, line := range c.lines(nil) {
		if i == 0 {
			line = t.paint(sgrFaint, line)
		}
		t.line(line)
	}
	t.line("")
}

// bobbinWords are the diameters of core and flange, and the length.
func bobbinWords(b exciter.Bobbin) string {
	return fmt.Sprintf("%.3g × %.3g × %.3g mm", 1e3*b.CoreDiameterM, 1e3*b.FlangeDiameterM, 1e3*b.LengthM)
}

const (
	ampere quantity.Unit = "A"
	watt   quantity.Unit = "W"
	tesla  quantity.Unit = "T"
)

// wheelerTrust is the difference to Wheeler's formula up to which its terms
// count as about equal, where it is within 1 %.
const wheelerTrust = 0.015

func (t *table) exciter(s ExciterSheet, e exciter.Estimate) {
	length := func(m float64) string { return notation.Nominal(m, quantity.Metre) }
	t.line(t.paint(sgrBold, fmt.Sprintf("%d turns of %s", e.Coil.Turns, e.Coil.Wire.Name)) +
		t.paint(sgrFaint, fmt.Sprintf("  core %s, flange %s, length %s", length(e.Bobbin.CoreDiameterM), length(e.Bobbin.FlangeDiameterM), length(e.Bobbin.LengthM))))
	t.line("")

	var c columns
	c.gap = 2
	row := func(name, value, note string) { c.add("  "+name, value, note) }
	row("winding", notation.Plain(e.Coil.DepthM, quantity.Metre, 2)+" deep", fmt.Sprintf("%s of wire; room for %d turns",
		notation.Plain(e.Coil.WireM(), quantity.Metre, 3), e.Bobbin.TurnsThatFit(e.Coil.Wire, s.Packing)))
	row("resistance", notation.Plain(e.ResistanceOhm, quantity.Ohm, 3), fmt.Sprintf("at %g °C; fine wire varies by some per cent", e.Celsius))
	wheeler := e.WheelerH/e.InductanceH - 1
	note := fmt.Sprintf("±1 %% without iron; Wheeler 1928: %s", notation.Plain(e.WheelerH, quantity.Henry, 3))
	if math.Abs(wheeler) > wheelerTrust {
		note += fmt.Sprintf(" (%s %%, not made for this shape)", notation.Minus(fmt.Sprintf("%+.0f", 100*wheeler)))
	}
	row("inductance", notation.Plain(e.InductanceH, quantity.Henry, 3), note)
	row("own resonance", "about "+notation.Plain(e.SelfResonanceHz, quantity.Hertz, 1), "a rough estimate, with half a metre of leads")
	row("", "", "")
	row("series R", notation.Plain(e.SeriesOhm, quantity.Ohm, 2), seriesWords(s, e))
	row("current", notation.Plain(e.CurrentA, ampere, 2), fmt.Sprintf("rms, from %s and %s", notation.Nominal(s.Source.Volt, quantity.Volt), notation.Nominal(s.Source.Ohm, quantity.Ohm)))
	row("its fall", fmt.Sprintf("%.2g dB", e.DropDB), fmt.Sprintf("at %s; %g dB were allowed", notation.Nominal(s.Goal.TopHz, quantity.Hertz), s.Goal.LimitDB))
	row("heat", notation.Plain(e.CoilW, watt, 2), fmt.Sprintf("in the coil, %s in the resistor, for a steady tone: %s K warmer", notation.Plain(e.SeriesW, watt, 2), notation.Plain(e.RiseK, notation.Ratio, 1)))
	row("", "", "")
	row("field", notation.Plain(e.AxisFieldT, tesla, 2), fmt.Sprintf("rms, on the axis at %s from middle to middle", length(e.DistanceM)))
	row("signal", "about "+notation.Plain(e.EMFV1k, quantity.Volt, 2), fmt.Sprintf("rms at 1 kHz in %d turns (±20 %% by the shape, more with iron)", s.Target.Coil.Turns))
	row("", "", "rises in proportion to the frequency")
	for _, line := range c.lines(func(_, column int, cell string) string {
		switch column {
		case 1:
			return t.paint(sgrBold, cell)
		case 2:
			return t.paint(sgrFaint, cell)
		}
		return cell
	}) {
		t.line(line)
	}
	t.line("")
	for _, warning := range e.Warnings {
		t.marked("!", sgrYellow, "Warning: "+notation.Visible(warning))
	}
	for _, caution := range words.Cautions() {
		t.marked("!", sgrYellow, caution)
	}
}

// seriesWords says what asks for the series resistor.
func seriesWords(s ExciterSheet, e exciter.Estimate) string {
	if e.SeriesOhm == 0 {
		return "none needed"
	}
	why := "for a steady current"
	if s.Source.Ohm+s.Source.LeastLoadOhm > exciter.LeastTotalOhm(e.InductanceH, s.Goal) {
		why = "for the least load that the source is made for"
	}
	if len(s.Drawer.ResistorsOhm) > 0 {
		why += ", of those at hand"
	}
	return fmt.Sprintf("at least %s %s", notation.Plain(e.NeededOhm, quantity.Ohm, 3), why)
}
