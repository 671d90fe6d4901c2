package terminal

import (
	"fmt"
	"io"
	"math"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/winding"
	"coilsweep/report/notation"
)

// Winding writes the check as text for a terminal.
func Winding(w io.Writer, v winding.Sheet, o Options) error {
	t := newTable(w, o)
	t.title(notation.Visible(v.Coil))
	t.line("")
	c := columns{gap: 2, right: []bool{false, true}}
	if turns := float64(v.Plan.Turns); turns > 0 {
		mean := v.Plan.MeanTurnM(turns)
		c.add("  wire", quantity.Format(turns*mean, quantity.Metre, 3),
			fmt.Sprintf("%d turns of %s, mean turn length %s",
				v.Plan.Turns, v.Plan.Wire.Name, quantity.Format(mean, quantity.Metre, 3)))
	} else {
		c.add("  wire", "", "turns not counted, "+v.Plan.Wire.Name)
	}
	en := ""
	if v.Check.En != nil {
		verdict := "agrees"
		if math.Abs(*v.Check.En) > 1 {
			verdict = "differs"
		}
		en = "; En " + notation.En(v.Check.En) + ": " + verdict
	}
	ohm := t.notes.Cells(quantity.Ohm, v.Check.Measured, v.Check.Expected)
	c.add("  resistance", ohm[0], notation.Typeset(v.Check.From))
	c.add("  expected", ohm[1], fmt.Sprintf("at %s °C, from wire and bobbin%s", notation.TwoDigits(v.Check.Celsius),
		en))
	c.add("  turns", t.notes.Cell(v.Check.Turns, quantity.Ratio), "that give this resistance")
	if !math.IsNaN(v.Check.AirH) {
		c.add("  winding alone", "about "+quantity.Format(v.Check.AirH, quantity.Henry, 2),
			fmt.Sprintf("without pole pieces and magnets; this coil has %s times that",
				notation.TwoDigits(v.Check.Factor)))
	}
	t.facts(c, 1)
	t.reasons()
	t.line("")
	for _, s := range v.Check.Suspicions {
		t.warnings("", []string{notation.UpperFirst(s) + "."})
	}
	if v.Check.Suspicions == nil {
		t.line("The measurements agree with the winding as stated.")
	}
	t.shorted(v)
	for _, s := range v.Check.Remarks {
		t.hanging("·", sgrFaint, notation.UpperFirst(notation.Typeset(s))+".")
	}
	t.hanging("·", sgrFaint, "The expected resistance is as good as the wire's tolerance (about 8 %, IEC 60317), "+
		"its stretch and the packing of the winding.")
	return t.out.Flush()
}

// shorted is what shorted turns would do to this coil.
func (t *table) shorted(v winding.Sheet) {
	if v.Shorted == nil {
		return
	}
	t.line("")
	t.line("What shorted turns would do to this coil alone:")
	var parts, turns []string
	var hz, q []fit.Quantity
	for _, s := range v.Shorted {
		count := notation.None
		if v.Plan.Turns > 0 {
			count = fmt.Sprintf("%.0f", s.Part*float64(v.Plan.Turns))
		}
		parts, turns = append(parts, "  "+notation.Percent(100*s.Part)), append(turns, count)
		hz, q = append(hz, estimated(s.ResonanceHz)), append(q, estimated(s.Q))
	}
	c := columns{gap: 2}
	c.column("  part", true, parts)
	c.column("turns", true, turns)
	c.column("resonance", true, t.notes.Values(quantity.Hertz, hz...))
	c.column("Q", true, t.notes.Values(quantity.Ratio, q...))
	t.headed(c, nil)
	t.line("")
}

// estimated is a calculated number, worth about three digits.
func estimated(x float64) fit.Quantity {
	return fit.Quantity{Value: x, U95: 0.02 * math.Abs(x)}
}
