package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"

	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
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

// ExciterCautions are what to mind with any exciter.
func ExciterCautions() []string {
	return []string{
		"drive it from a line or headphone output only, never from a mains-powered amplifier or a valve amplifier's loudspeaker tap",
		"start with the level turned down; take headphones off before a sweep plays",
		"switch phantom power off at the input that the coil is on",
		"keep strong magnets, and a driven exciter, away from pacemakers and other implants",
	}
}

// Exciter writes the sheet as text for a terminal: one exciter in full, or
// several as a table with the first in full below.
func Exciter(w io.Writer, s ExciterSheet, o TableOptions) error {
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
		row := []string{e.Coil.Wire.Name, fmt.Sprint(e.Coil.Turns), plain(e.ResistanceOhm, quantity.Ohm, 3), plain(e.InductanceH, quantity.Henry, 3),
			plain(e.SeriesOhm, quantity.Ohm, 2), plain(e.CurrentA, ampere, 2), plain(e.EMFV1k, quantity.Volt, 2)}
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
	length := func(m float64) string { return part(m, quantity.Metre) }
	t.line(t.paint(sgrBold, fmt.Sprintf("%d turns of %s", e.Coil.Turns, e.Coil.Wire.Name)) +
		t.paint(sgrFaint, fmt.Sprintf("  core %s, flange %s, length %s", length(e.Bobbin.CoreDiameterM), length(e.Bobbin.FlangeDiameterM), length(e.Bobbin.LengthM))))
	t.line("")

	var c columns
	c.gap = 2
	row := func(name, value, note string) { c.add("  "+name, value, note) }
	row("winding", plain(e.Coil.DepthM, quantity.Metre, 2)+" deep", fmt.Sprintf("%s of wire; room for %d turns",
		plain(e.Coil.WireM(), quantity.Metre, 3), e.Bobbin.TurnsThatFit(e.Coil.Wire, s.Packing)))
	row("resistance", plain(e.ResistanceOhm, quantity.Ohm, 3), fmt.Sprintf("at %g °C; fine wire varies by some per cent", e.Celsius))
	wheeler := e.WheelerH/e.InductanceH - 1
	note := fmt.Sprintf("±1 %% without iron; Wheeler 1928: %s", plain(e.WheelerH, quantity.Henry, 3))
	if math.Abs(wheeler) > wheelerTrust {
		note += fmt.Sprintf(" (%s %%, not made for this shape)", withMinus(fmt.Sprintf("%+.0f", 100*wheeler)))
	}
	row("inductance", plain(e.InductanceH, quantity.Henry, 3), note)
	row("own resonance", "about "+plain(e.SelfResonanceHz, quantity.Hertz, 1), "a rough estimate, with half a metre of leads")
	row("", "", "")
	row("series R", plain(e.SeriesOhm, quantity.Ohm, 2), seriesWords(s, e))
	row("current", plain(e.CurrentA, ampere, 2), fmt.Sprintf("rms, from %s and %s", part(s.Source.Volt, quantity.Volt), part(s.Source.Ohm, quantity.Ohm)))
	row("its fall", fmt.Sprintf("%.2g dB", e.DropDB), fmt.Sprintf("at %s; %g dB were allowed", part(s.Goal.TopHz, quantity.Hertz), s.Goal.LimitDB))
	row("heat", plain(e.CoilW, watt, 2), fmt.Sprintf("in the coil, %s in the resistor, for a steady tone: %s K warmer", plain(e.SeriesW, watt, 2), plain(e.RiseK, ratio, 1)))
	row("", "", "")
	row("field", plain(e.AxisFieldT, tesla, 2), fmt.Sprintf("rms, on the axis at %s from middle to middle", length(e.DistanceM)))
	row("signal", "about "+plain(e.EMFV1k, quantity.Volt, 2), fmt.Sprintf("rms at 1 kHz in %d turns (±20 %% by the shape, more with iron)", s.Target.Coil.Turns))
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
		t.marked("!", sgrYellow, "Warning: "+visible(warning))
	}
	for _, caution := range ExciterCautions() {
		t.marked("!", sgrYellow, "Caution: "+caution)
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
	return fmt.Sprintf("at least %s %s", plain(e.NeededOhm, quantity.Ohm, 3), why)
}
