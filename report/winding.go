package report

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/winding"
)

const windingSchema = "coilsweep.winding/1"

// Winding is a coil held against how it was wound, ready to be shown.
type Winding struct {
	Coil  string
	Plan  winding.Plan
	Check winding.Check
	// Shorted is what shorted turns would do; nil where the coil's circuit is
	// not known.
	Shorted []winding.Shorted
}

// WindingTable writes the check as text for a terminal.
func WindingTable(w io.Writer, v Winding, o TableOptions) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	t.line(t.paint(sgrBold, truncate(visible(v.Coil), o.Width)))
	t.line("")
	c := columns{gap: 2, right: []bool{false, true}}
	turns := "turns not counted"
	if v.Plan.Turns > 0 {
		turns = fmt.Sprintf("%d turns", v.Plan.Turns)
		c.add("  wire", plain(float64(v.Plan.Turns)*v.Plan.MeanTurnM(float64(v.Plan.Turns)), quantity.Metre, 3),
			fmt.Sprintf("%s of %s, mean turn %s", turns, v.Plan.Wire.Name, plain(v.Plan.MeanTurnM(float64(v.Plan.Turns)), quantity.Metre, 3)))
	} else {
		c.add("  wire", "", turns+", "+v.Plan.Wire.Name)
	}
	en := ""
	if v.Check.En != nil {
		en = fmt.Sprintf("En %s: %s", enWords(v.Check.En), map[bool]string{true: "agrees", false: "differs"}[math.Abs(*v.Check.En) <= 1])
	}
	c.add("  resistance", t.notes.cell(v.Check.Measured, quantity.Ohm), visible(v.Check.From))
	c.add("  expected", t.notes.cell(v.Check.Expected, quantity.Ohm), fmt.Sprintf("at %g °C, by wire and bobbin  %s", v.Check.Celsius, en))
	c.add("  turns", t.notes.cell(v.Check.Turns, ratio), "that the resistance stands for")
	if !math.IsNaN(v.Check.AirH) {
		c.add("  bare winding", "about "+plain(v.Check.AirH, quantity.Henry, 2), fmt.Sprintf("without poles and magnets; this coil has %.2g times that", v.Check.Factor))
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
		t.marked("!", sgrYellow, upperFirst(visible(s))+".")
	}
	if v.Check.Suspicions == nil {
		t.line("Nothing speaks against the winding as stated.")
	}
	t.shorted(v)
	for _, s := range v.Check.Remarks {
		t.hanging("·", sgrFaint, upperFirst(s)+".")
	}
	t.hanging("·", sgrFaint, "The expected resistance is good to the wire's tolerance (about 8 %, IEC 60317), its stretch and the packing of the winding.")
	return t.out.Flush()
}

// shorted is what shorted turns would do to this coil.
func (t *table) shorted(v Winding) {
	if v.Shorted == nil {
		return
	}
	t.line("")
	t.line("What shorted turns would do to this coil alone:")
	c := columns{gap: 2, right: []bool{true, true, true, true}}
	c.add("  part", "turns", "resonance", "Q")
	for _, s := range v.Shorted {
		turns := signNone
		if v.Plan.Turns > 0 {
			turns = fmt.Sprintf("%.0f", s.Part*float64(v.Plan.Turns))
		}
		hz, q := signNone, signNone
		if !math.IsNaN(s.ResonanceHz) {
			hz, q = plain(s.ResonanceHz, quantity.Hertz, 3), plain(s.Q, ratio, 3)
		}
		c.add("  "+plain2(100*s.Part)+" %", turns, hz, q)
	}
	for i, s := range c.lines(nil) {
		if i == 0 {
			s = t.paint(sgrFaint, s)
		}
		t.line(s)
	}
	t.line("")
}

// WindingJSON writes the check for programs.
func WindingJSON(w io.Writer, v Winding) error {
	type shorted struct {
		Part        float64  `json:"part"`
		ResonanceHz *float64 `json:"resonance_hz"`
		Q           *float64 `json:"q"`
	}
	out := struct {
		Schema     string       `json:"schema"`
		Coil       string       `json:"coil"`
		Turns      int          `json:"turns_stated"`
		Celsius    float64      `json:"celsius"`
		Measured   fit.Quantity `json:"resistance_ohm"`
		Expected   fit.Quantity `json:"resistance_expected_ohm"`
		En         *float64     `json:"en"`
		TurnsOf    fit.Quantity `json:"turns"`
		AirH       *float64     `json:"bare_winding_h"`
		Factor     *float64     `json:"inductance_factor"`
		Suspicions []string     `json:"suspicions"`
		Remarks    []string     `json:"remarks"`
		Shorted    []shorted    `json:"shorted_turns"`
	}{windingSchema, v.Coil, v.Plan.Turns, v.Check.Celsius, v.Check.Measured, v.Check.Expected, v.Check.En, v.Check.Turns,
		finiteOrNil(v.Check.AirH), finiteOrNil(v.Check.Factor), orEmpty(v.Check.Suspicions), orEmpty(v.Check.Remarks), []shorted{}}
	for _, s := range v.Shorted {
		out.Shorted = append(out.Shorted, shorted{s.Part, finiteOrNil(s.ResonanceHz), finiteOrNil(s.Q)})
	}
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(out)
}
