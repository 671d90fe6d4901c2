package words

import (
	"fmt"
	"math"

	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/report/notation"
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

const (
	ampere quantity.Unit = "A"
	watt   quantity.Unit = "W"
	tesla  quantity.Unit = "T"
)

// wheelerTrust is the difference to Wheeler's formula up to which its terms
// count as about equal, where it is within 1 %.
const wheelerTrust = 0.015

// Fact is a number with its name, and what there is to say of it.
type Fact struct{ Name, Value, Note string }

// Exciter says what an exciter is and does; empty facts part what belongs together.
func Exciter(s ExciterSheet, e exciter.Estimate) (facts []Fact) {
	length := func(m float64) string { return notation.Nominal(m, quantity.Metre) }
	format := quantity.Format
	row := func(name, value, note string) { facts = append(facts, Fact{name, value, note}) }
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
	return facts
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

// AnExciter is an exciter in words.
type AnExciter struct {
	Name           string // what is wound of what on which bobbin
	Series, Signal string // resistor, and voltage in the coil at 1 kHz
	Facts          []Fact
	Warnings       []string
}

// Exciters are those of a sheet, the best first.
func Exciters(s ExciterSheet) []AnExciter {
	return notation.Each(s.Estimates, func(e exciter.Estimate) AnExciter {
		return AnExciter{
			Name:   fmt.Sprintf("%d turns of %s on %s", e.Coil.Turns, e.Coil.Wire.Name, Bobbin(e.Bobbin)),
			Series: quantity.Format(e.SeriesOhm, quantity.Ohm, 2), Signal: quantity.Format(e.EMFV1k, quantity.Volt, 2),
			Facts: Exciter(s, e), Warnings: e.Warnings,
		}
	})
}

// Bobbin are the diameters of core and flange, and the length.
func Bobbin(b exciter.Bobbin) string {
	return fmt.Sprintf("%.3g × %.3g × %.3g mm", 1e3*b.CoreDiameterM, 1e3*b.FlangeDiameterM, 1e3*b.LengthM)
}
