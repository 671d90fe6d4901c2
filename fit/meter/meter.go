// Package meter works out the reading of an LCR meter on a circuit, the effects
// that separate it from the coil's own value, and other causes that would explain
// a reading.
package meter

import (
	"fmt"
	"math"

	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

// Reading describes a reading: its quantity, frequency and mode.
type Reading struct {
	What   string // "L", "C", "R", "Q" or "D"
	Mode   string // fit.ModeSeries or fit.ModeParallel
	AtHz   float64
	Warmth float64 // R at the reading over R during the takes
}

// Shows is the meter's reading of the coil c alone.
func (r Reading) Shows(c circuit.Coil) float64 { return r.ShowsWith(c, circuit.Open()) }

// ShowsWith is Shows with a load across the coil.
func (r Reading) ShowsWith(c circuit.Coil, load circuit.Load) float64 {
	m := c.Meter(r.AtHz, load)
	parallel := r.Mode == fit.ModeParallel
	switch {
	case r.What == "L" && parallel:
		return m.ParallelInductanceH
	case r.What == "L":
		return m.SeriesInductanceH
	case r.What == "R" && parallel:
		return m.ParallelResistanceOhm
	case r.What == "R":
		return m.SeriesResistanceOhm
	case r.What == "C" && parallel:
		return m.ParallelCapacitanceF
	case r.What == "C":
		return m.SeriesCapacitanceF
	case r.What == "D":
		return m.DissipationFactor
	}
	return m.QualityFactor
}

// Apart says how far a reading lies from the expected one.
func Apart(reading, expected float64) string {
	d := 100 * (reading - expected) / math.Abs(expected)
	switch ratio := reading / expected; {
	case ratio < 0:
		return "on the other side of zero from what the fit expects"
	case ratio > 2 || ratio < 0.5:
		return fmt.Sprintf("at %.3g times what the fit expects", ratio)
	case d < 0:
		return fmt.Sprintf("%.2g %% below what the fit expects", -d)
	}
	return fmt.Sprintf("%.2g %% above what the fit expects", d)
}

// Effects lead from the coil's own value to what the meter shows.
func (r Reading) Effects(c circuit.Coil) (from float64, effects []fit.MeterEffect) {
	w := 2 * math.Pi * r.AtHz
	cold := c
	cold.ResistanceOhm /= r.Warmth
	plain := cold // R and L alone
	plain.Rings, plain.Cylinder, plain.CapacitanceF = nil, circuit.Ring{}, 0
	what := r.What
	in := func(c circuit.Coil, mode string) float64 {
		return Reading{What: what, Mode: mode, AtHz: r.AtHz}.Shows(c)
	}
	step := func(name string, value float64) {
		before := from
		for _, e := range effects {
			before *= 1 + e.Percent/100
		}
		if percent := 100 * (value/before - 1); math.Abs(percent) >= 0.005 && !math.IsInf(percent, 0) &&
			!math.IsNaN(percent) {
			effects = append(effects, fit.MeterEffect{What: name, Percent: percent})
		}
	}
	warm := plain
	warm.ResistanceOhm = c.ResistanceOhm
	ringed := warm
	ringed.Rings, ringed.Cylinder = c.Rings, c.Cylinder
	switch what {
	case "C":
		from = c.CapacitanceF
		beside := warm
		beside.CapacitanceF = c.CapacitanceF
		step("the winding beside it", in(beside, fit.ModeParallel))
		step("eddy currents", in(c, fit.ModeParallel))
		step("series mode", in(c, r.Mode))
		return from, effects
	case "L":
		from = c.InductanceH
	case "R":
		from = cold.ResistanceOhm
	case "Q":
		from = w * c.InductanceH / cold.ResistanceOhm
	case "D":
		from = cold.ResistanceOhm / (w * c.InductanceH)
	}
	step("temperature", in(warm, fit.ModeSeries))
	step("eddy currents", in(ringed, fit.ModeSeries))
	step("self-capacitance", in(c, fit.ModeSeries))
	if what == "L" || what == "R" {
		step("parallel mode", in(c, r.Mode))
	}
	return from, effects
}

// meterHz are the test frequencies of meters (typical).
var meterHz = []float64{100, 120, 1e3, 10e3, 100e3}

// Facts are known beside the reading.
type Facts struct {
	TotalF           float64 // all capacitance at the takes, fixture included
	AddedCapacitors  bool    // much of what is known of L comes from them
	TemperatureKnown bool    // of the coil, at the reading and during the takes
}

// lowMeterHz is the highest frequency at which a meter's R is about the DC
// resistance.
const lowMeterHz = 1000

// Causes list what would explain the reading m of the coil c, which does not
// agree with the fit: first the causes that reproduce it, then known mistakes in
// this direction.
func (r Reading) Causes(m fit.MeterResult, c circuit.Coil, known Facts) []string {
	var causes []string
	add := func(format string, args ...any) { causes = append(causes, fmt.Sprintf(format, args...)) }
	fits := func(value float64) bool {
		relative := m.Expected.U95 / math.Abs(m.Expected.Value)
		return math.Abs(fit.En(m.Reading, m.U95, value, relative*math.Abs(value))) <= 1
	}
	other := map[string]string{fit.ModeSeries: fit.ModeParallel, fit.ModeParallel: fit.ModeSeries}[r.Mode]
	if m.What != "Q" && m.What != "D" && fits(Reading{What: m.What, Mode: other, AtHz: m.AtHz}.Shows(c)) {
		add("the meter was in %s mode: there it would show this", other)
	}
	for _, hz := range meterHz {
		there := Reading{What: m.What, Mode: r.Mode, AtHz: hz}.Shows(c)
		// Not where the two frequencies hardly differ.
		if math.Abs(there-m.Expected.Value) > 2*(m.Expected.U95+m.U95) && fits(there) {
			add("the meter's test frequency was %s: there it would show this", quantity.Format(hz, quantity.Hertz, 3))
		}
	}
	if known.TotalF > c.CapacitanceF {
		loaded := c
		loaded.CapacitanceF = known.TotalF
		if fits(r.Shows(loaded)) {
			add("the cable and fixture of the takes, %s, were still connected across the coil at the reading",
				quantity.Format(known.TotalF-c.CapacitanceF, quantity.Farad, 2))
		}
	}
	ratio := m.Reading / m.Expected.Value
	lossier := m.What == "L" && ratio < 1 || m.What == "Q" && ratio < 1 || (m.What == "D" || m.What == "R") && ratio > 1
	if ratio > 2 || ratio < 0.5 {
		// None of what follows goes so far.
		return append(causes, "another coil, a broken or shorted lead, or the meter's range misread")
	}
	if m.What == "L" && known.AddedCapacitors {
		add("wrong added capacitors: L from the takes is in proportion to 1/C, and the meter would be right if each "+
			"were %.4g times what is stated", 1/ratio)
	}
	if (m.What == "R" || m.What == "D") && !known.TemperatureKnown && m.AtHz <= lowMeterHz {
		add("another temperature: the coil would have to be %.0f K warmer at the reading than during the takes",
			(ratio-1)/exciter.CopperPerKelvin20)
	}
	if lossier {
		add("a shorted turn, or metal near the coil, at the reading and not during the takes: both lower L and Q and " +
			"raise the series R")
	} else if m.What != "C" && m.What != "L" {
		add("an input that loads the coil more than the fixture's stated resistance says: the fit then finds losses " +
			"in the coil which are not there")
	}
	if m.What == "L" || m.What == "Q" || m.What == "D" {
		add("the meter's test level: iron has more L at a higher level; read at another level and see")
	}
	return causes
}
