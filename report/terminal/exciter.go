package terminal

import (
	"fmt"
	"io"
	"math"

	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
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
	t := newTable(w, o)
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
	var bobbins, wires, turns []string
	for _, e := range s.Estimates {
		bobbins, wires = append(bobbins, bobbinWords(e.Bobbin)), append(wires, e.Coil.Wire.Name)
		turns = append(turns, fmt.Sprint(e.Coil.Turns))
	}
	c := columns{gap: 2}
	if len(s.Drawer.Bobbins) > 1 {
		c.column("bobbin", false, bobbins)
	}
	c.column("wire", false, wires)
	c.column("turns", true, turns)
	for _, col := range []struct {
		head   string
		unit   quantity.Unit
		digits float64
		of     func(exciter.Estimate) float64
	}{
		{"R", quantity.Ohm, 2, func(e exciter.Estimate) float64 { return e.ResistanceOhm }},
		{"L", quantity.Henry, 2, func(e exciter.Estimate) float64 { return e.InductanceH }},
		{"series R", quantity.Ohm, 1, func(e exciter.Estimate) float64 { return e.SeriesOhm }},
		{"current", ampere, 1, func(e exciter.Estimate) float64 { return e.CurrentA }},
		{"signal at 1 kHz", quantity.Volt, 1, func(e exciter.Estimate) float64 { return e.EMFV1k }},
	} {
		rough := func(e exciter.Estimate) fit.Quantity {
			return fit.Quantity{Value: col.of(e), U95: math.Abs(col.of(e)) * math.Pow(10, 1-col.digits)}
		}
		c.column(col.head, true, t.notes.Values(col.unit, notation.Each(s.Estimates, rough)...))
	}
	t.headed(c, nil)
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
	format := quantity.Format
	t.line(t.paint(sgrBold, fmt.Sprintf("%d turns of %s", e.Coil.Turns, e.Coil.Wire.Name)) +
		t.paint(sgrFaint, fmt.Sprintf("  core %s, flange %s, length %s",
			length(e.Bobbin.CoreDiameterM), length(e.Bobbin.FlangeDiameterM), length(e.Bobbin.LengthM))))
	t.line("")

	var c columns
	c.gap = 2
	row := func(name, value, note string) { c.add("  "+name, value, note) }
	row("winding", format(e.Coil.DepthM, quantity.Metre, 2)+" deep", fmt.Sprintf("%s of wire; room for %d turns",
		format(e.Coil.WireM(), quantity.Metre, 3), e.Bobbin.TurnsThatFit(e.Coil.Wire, s.Packing)))
	row("resistance", format(e.ResistanceOhm, quantity.Ohm, 3),
		fmt.Sprintf("at %s °C; fine wire varies by some per cent", notation.TwoDigits(e.Celsius)))
	wheeler := e.WheelerH/e.InductanceH - 1
	note := "±1 % without iron; Wheeler 1928: " + format(e.WheelerH, quantity.Henry, 3)
	if math.Abs(wheeler) > wheelerTrust {
		note += fmt.Sprintf(" (%s, not made for this shape)", notation.Change(100*wheeler))
	}
	row("inductance", format(e.InductanceH, quantity.Henry, 3), note)
	row("self-resonance", "about "+format(e.SelfResonanceHz, quantity.Hertz, 1),
		"a rough estimate, with half a metre of leads")
	row("", "", "")
	row("series R", format(e.SeriesOhm, quantity.Ohm, 2), seriesWords(s, e))
	row("current", format(e.CurrentA, ampere, 2), fmt.Sprintf("rms, from %s and %s",
		notation.Nominal(s.Source.Volt, quantity.Volt), notation.Nominal(s.Source.Ohm, quantity.Ohm)))
	row("drop", notation.TwoDigits(e.DropDB)+" dB", fmt.Sprintf("of the current at %s; the limit is %g dB",
		notation.Nominal(s.Goal.TopHz, quantity.Hertz), s.Goal.LimitDB))
	row("heat", format(e.CoilW, watt, 2), fmt.Sprintf("in the winding, %s in the resistor, for a steady tone: %s K "+
		"warmer",
		format(e.SeriesW, watt, 2), format(e.RiseK, quantity.Ratio, 1)))
	row("", "", "")
	row("field", format(e.AxisFieldT, tesla, 2), "rms, on the axis at "+length(e.DistanceM)+" from middle to middle")
	row("signal", "about "+format(e.EMFV1k, quantity.Volt, 2),
		fmt.Sprintf("rms at 1 kHz in %d turns (±20 %% by the shape, more with iron)", s.Target.Coil.Turns))
	row("", "", "rises in proportion to the frequency")
	t.facts(c, 1)
	t.line("")
	t.warnings("Warning: ", e.Warnings)
	t.warnings("", words.Cautions())
}

// seriesWords says what asks for the series resistor.
func seriesWords(s ExciterSheet, e exciter.Estimate) string {
	if e.SeriesOhm == 0 {
		return "none needed"
	}
	why := "for a steady current"
	if s.Source.Ohm+s.Source.LeastLoadOhm > exciter.LeastTotalOhm(e.InductanceH, s.Goal) {
		why = "for the smallest load that the source allows"
	}
	if len(s.Drawer.ResistorsOhm) > 0 {
		why += ", of those at hand"
	}
	return fmt.Sprintf("at least %s %s", quantity.Format(e.NeededOhm, quantity.Ohm, 3), why)
}
