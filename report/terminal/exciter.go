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

// Exciter writes the sheet as text for a terminal: one exciter in full, or
// several as a table with the first in full below.
func Exciter(w io.Writer, s words.ExciterSheet, o Options) error {
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
func (t *table) drawer(s words.ExciterSheet) {
	var bobbins, wires, turns []string
	for _, e := range s.Estimates {
		bobbins, wires = append(bobbins, words.Bobbin(e.Bobbin)), append(wires, e.Coil.Wire.Name)
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
		{"current", "A", 1, func(e exciter.Estimate) float64 { return e.CurrentA }},
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

func (t *table) exciter(s words.ExciterSheet, e exciter.Estimate) {
	length := func(m float64) string { return notation.Nominal(m, quantity.Metre) }
	t.line(t.paint(sgrBold, fmt.Sprintf("%d turns of %s", e.Coil.Turns, e.Coil.Wire.Name)) +
		t.paint(sgrFaint, fmt.Sprintf("  core %s, flange %s, length %s",
			length(e.Bobbin.CoreDiameterM), length(e.Bobbin.FlangeDiameterM), length(e.Bobbin.LengthM))))
	t.line("")

	var c columns
	c.gap = 2
	for _, f := range words.Exciter(s, e) {
		c.add("  "+f.Name, f.Value, f.Note)
	}
	t.facts(c, 1)
	t.line("")
	t.warnings("Warning: ", e.Warnings)
	t.warnings("", words.Cautions())
}
