package words

import (
	"fmt"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/turns"
	"coilsweep/report/notation"
)

// Wish says what the coil to come shall have: "a peak at 4.5 kHz".
func Wish(s turns.Sheet) string {
	switch w := s.Wish; {
	case w.Peak != nil:
		return "a peak at " + notation.Nominal(*w.Peak, quantity.Hertz) + " in the guitar"
	case w.Inductance != nil:
		return "an inductance of " + notation.Nominal(w.Inductance.SI, quantity.Henry)
	case w.Resistance != nil:
		return fmt.Sprintf("a DC resistance of %s at %s °C", notation.Nominal(w.Resistance.SI, quantity.Ohm),
			notation.TwoDigits(s.Celsius))
	case w.Like != nil:
		return fmt.Sprintf("the peak of %s in the guitar, %s", notation.Visible(w.Like.Name),
			notation.WithU95(s.WantedAt, quantity.Hertz))
	}
	return notation.Count(s.Wish.Turns, "turn")
}

// Wound names the wire of an option: "0.063 mm, grade 1".
func Wound(o turns.Option) string { return fmt.Sprintf("%s, grade %d", o.Wire.Name, o.Grade) }

// Filled says how an option fills the bobbin: "87 %, tight".
func Filled(o turns.Option) string {
	text := fmt.Sprintf("%.0f %%", 100*o.Filled)
	if o.Tight {
		text += ", tight"
	}
	return text
}

// WoundColumns are what an option is by itself.
var WoundColumns = []Column[turns.Option]{
	{"L", quantity.Henry, func(o turns.Option) fit.Quantity { return o.Inductance }},
	{"R", quantity.Ohm, func(o turns.Option) fit.Quantity { return o.Resistance }},
	{"C", quantity.Farad, func(o turns.Option) fit.Quantity { return o.Capacitance }},
	{"resonance", quantity.Hertz, func(o turns.Option) fit.Quantity { return o.Resonance }},
	{"Q", quantity.Ratio, func(o turns.Option) fit.Quantity { return o.Q }},
}

// Refused are the reasons why wires are out of the question, each with its wires.
func Refused(s turns.Sheet) []string {
	var said []string
	var wires []string
	for i, r := range s.Refused {
		wires = append(wires, fmt.Sprintf("%s, grade %d", r.Wire.Name, r.Grade))
		if i+1 < len(s.Refused) && s.Refused[i+1].Why == r.Why {
			continue
		}
		said = append(said, strings.Join(wires, "; ")+": "+notation.Typeset(r.Why)+".")
		wires = nil
	}
	return said
}

// Turns say what to wind, for somebody who does not measure coils.
func Turns(s turns.Sheet) []string {
	var said []string
	all := len(s.Options) + len(s.Refused)
	switch n := len(s.Options); {
	case n == 0:
		said = append(said, "None of these wires gives "+Wish(s)+" on this bobbin.")
	default:
		said = append(said, fmt.Sprintf("For %s, %d of %s can be wound on this bobbin.", Wish(s), n,
			notation.Count(all, "wire")))
		for _, o := range s.Options {
			if f := o.PeakFrom; f != nil {
				part := func(x float64) string { return "±" + quantity.Format(x, quantity.Hertz, 2) }
				coils := "coil"
				if len(s.Coils) > 1 {
					coils = "coils"
				}
				said = append(said, fmt.Sprintf("With %s, U95 of the peak frequency has %s from the measured %s, %s from "+
					"the laws that lead from one winding to another, and %s from the guitar's parts.", Wound(o),
					part(f.Coils), coils, part(f.Laws), part(f.Guitar)))
				break
			}
		}
	}
	return append(said, "L follows the square of the turns and, less surely, the shape of the winding; R follows the "+
		"mean turn length and the wire, whose tolerance is about 8 % (IEC 60317). C is known only weakly: it depends on how "+
		"the layers come to lie. Every further coil of this bobbin that is measured makes the prediction better.")
}

// Exponent names a law: "L with turns".
func Exponent(l turns.Law) string { return l.Of + " with " + l.With }
