package terminal

import (
	"bufio"
	"fmt"
	"io"
	"math"

	"coilsweep/excite/quantity"
	"coilsweep/fit/winding"
	"coilsweep/report/notation"
)

// Winding writes the check as text for a terminal.
func Winding(w io.Writer, v winding.Sheet, o Options) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	t.line(t.paint(sgrBold, truncate(notation.Visible(v.Coil), o.Width)))
	t.line("")
	c := columns{gap: 2, right: []bool{false, true}}
	turns := "turns not counted"
	if v.Plan.Turns > 0 {
		turns = fmt.Sprintf("%d turns", v.Plan.Turns)
		c.add("  wire", notation.Plain(float64(v.Plan.Turns)*v.Plan.MeanTurnM(float64(v.Plan.Turns)), quantity.Metre, 3),
			fmt.Sprintf("%s of %s, mean turn %s", turns, v.Plan.Wire.Name, notation.Plain(v.Plan.MeanTurnM(float64(v.Plan.Turns)), quantity.Metre, 3)))
	} else {
		c.add("  wire", "", turns+", "+v.Plan.Wire.Name)
	}
	en := ""
	if v.Check.En != nil {
		en = fmt.Sprintf("En %s: %s", notation.En(v.Check.En), map[bool]string{true: "agrees", false: "differs"}[math.Abs(*v.Check.En) <= 1])
	}
	c.add("  resistance", t.notes.Cell(v.Check.Measured, quantity.Ohm), notation.Visible(v.Check.From))
	c.add("  expected", t.notes.Cell(v.Check.Expected, quantity.Ohm), fmt.Sprintf("at %g °C, by wire and bobbin  %s", v.Check.Celsius, en))
	c.add("  turns", t.notes.Cell(v.Check.Turns, notation.Ratio), "that the resistance stands for")
	if !math.IsNaN(v.Check.AirH) {
		c.add("  bare winding", "about "+notation.Plain(v.Check.AirH, quantity.Henry, 2), fmt.Sprintf("without poles and magnets; this coil has %.2g times that", v.Check.Factor))
	}
	for _, s := range c.lines(func(_, column int, s string) string {
		if column == 1 {
			return t.paint(sgrBold, s)
		}
		return s
	}) {
		t.line(s)
	}
	t.reasons()
	t.line("")
	for _, s := range v.Check.Suspicions {
		t.marked("!", sgrYellow, notation.UpperFirst(notation.Visible(s))+".")
	}
	if v.Check.Suspicions == nil {
		t.line("Nothing speaks against the winding as stated.")
	}
	t.shorted(v)
	for _, s := range v.Check.Remarks {
		t.hanging("·", sgrFaint, notation.UpperFirst(s)+".")
	}
	t.hanging("·", sgrFaint, "The expected resistance is good to the wire's tolerance (about 8 %, IEC 60317), its stretch and the packing of the winding.")
	return t.out.Flush()
}

// shorted is what shorted turns would do to this coil.
func (t *table) shorted(v winding.Sheet) {
	if v.Shorted == nil {
		return
	}
	t.line("")
	t.line("What shorted turns would do to this coil alone:")
	c := columns{gap: 2, right: []bool{true, true, true, true}}
	c.add("  part", "turns", "resonance", "Q")
	for _, s := range v.Shorted {
		turns := notation.None
		if v.Plan.Turns > 0 {
			turns = fmt.Sprintf("%.0f", s.Part*float64(v.Plan.Turns))
		}
		hz, q := notation.None, notation.None
		if !math.IsNaN(s.ResonanceHz) {
			hz, q = notation.Plain(s.ResonanceHz, quantity.Hertz, 3), notation.Plain(s.Q, notation.Ratio, 3)
		}
		c.add("  "+notation.TwoDigits(100*s.Part)+" %", turns, hz, q)
	}
	for i, s := range c.lines(nil) {
		if i == 0 {
			s = t.paint(sgrFaint, s)
		}
		t.line(s)
	}
	t.line("")
}
