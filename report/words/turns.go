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
func Wound(o turns.Option) string { return graded(o.Wire.Name, o.Grade) }

func graded(wire string, grade int) string { return fmt.Sprintf("%s, grade %d", wire, grade) }

// OptionTable is a table with a row for each option, in the order of the sheet.
type OptionTable struct {
	Head    string
	Columns []OptionColumn
}

// OptionColumn is a column of it.
type OptionColumn struct {
	Name  string
	Cells []string
}

// OptionTables are what to wind, what that is by itself, and what it does in the guitar;
// what is not known leaves its reasons in n.
func OptionTables(s turns.Sheet, n *notation.Notes) []OptionTable {
	quantities := func(t *OptionTable, name string, unit quantity.Unit, of func(turns.Option) fit.Quantity) {
		t.Columns = append(t.Columns, OptionColumn{name, n.Cells(unit, notation.Each(s.Options, of)...)})
	}
	texts := func(t *OptionTable, name string, of func(turns.Option) string) {
		t.Columns = append(t.Columns, OptionColumn{name, notation.Each(s.Options, of)})
	}
	metres := func(t *OptionTable, name string, of func(turns.Option) float64) {
		texts(t, name, func(o turns.Option) string { return quantity.Format(of(o), quantity.Metre, 3) })
	}
	wind := OptionTable{Head: "wind, room " + quantity.Format(s.RoomM, quantity.Metre, 2)}
	if s.Wish.Turns > 0 {
		texts(&wind, "turns", func(o turns.Option) string { return fmt.Sprint(o.Turns) })
	} else {
		quantities(&wind, "turns", quantity.Ratio, func(o turns.Option) fit.Quantity { return o.Needed })
	}
	metres(&wind, "over enamel", func(o turns.Option) float64 { return o.Wire.OuterM })
	metres(&wind, "length of wire", func(o turns.Option) float64 { return o.WireM })
	metres(&wind, "depth", func(o turns.Option) float64 { return o.DepthM })
	texts(&wind, "fills", func(o turns.Option) string {
		if o.Tight {
			return fmt.Sprintf("%.0f %%, tight", 100*o.Filled)
		}
		return fmt.Sprintf("%.0f %%", 100*o.Filled)
	})

	alone := OptionTable{Head: "coil alone"}
	quantities(&alone, "L", quantity.Henry, func(o turns.Option) fit.Quantity { return o.Inductance })
	quantities(&alone, "R", quantity.Ohm, func(o turns.Option) fit.Quantity { return o.Resistance })
	quantities(&alone, "C", quantity.Farad, func(o turns.Option) fit.Quantity { return o.Capacitance })
	quantities(&alone, "resonance", quantity.Hertz, func(o turns.Option) fit.Quantity { return o.Resonance })
	quantities(&alone, "Q", quantity.Ratio, func(o turns.Option) fit.Quantity { return o.Q })

	guitar := OptionTable{Head: "in the guitar"}
	for _, c := range SoundColumns {
		quantities(&guitar, c.Name, c.Unit, func(o turns.Option) fit.Quantity { return c.Of(o.Sound) })
	}
	if s.Wanted != nil {
		texts(&guitar, "off by", func(o turns.Option) string {
			if o.FromWantedDB == nil {
				return notation.None
			}
			return notation.Decibels(*o.FromWantedDB)
		})
	}
	return []OptionTable{wind, alone, guitar}
}

// LawTable are the exponents, as assumed and by the coils; names are those of the rows.
func LawTable(s turns.Sheet, n *notation.Notes) (names []string, t OptionTable) {
	names = notation.Each(s.Laws, func(l turns.Law) string { return l.Of + " with " + l.With })
	for _, c := range []struct {
		name string
		of   func(turns.Law) fit.Quantity
	}{{"assumed", func(l turns.Law) fit.Quantity { return l.Assumed }},
		{"by the measured coils", func(l turns.Law) fit.Quantity { return l.Fitted }}} {
		t.Columns = append(t.Columns, OptionColumn{c.name, n.Cells(quantity.Ratio, notation.Each(s.Laws, c.of)...)})
	}
	return names, t
}

// Refused are the reasons why wires are out of the question, each with its wires.
func Refused(s turns.Sheet) []string {
	var said []string
	var wires []string
	for i, r := range s.Refused {
		wires = append(wires, graded(r.Wire.Name, r.Grade))
		if i+1 < len(s.Refused) && s.Refused[i+1].Why == r.Why {
			continue
		}
		said = append(said, strings.Join(wires, "; ")+": "+notation.Typeset(r.Why)+".")
		wires = nil
	}
	return said
}

// TurnsU95 says what U95 of what to wind comes from.
const TurnsU95 = ", from the measured coils, the laws, and the tolerances of the wire and of the guitar's parts."

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
		var best *turns.Option
		for i, o := range s.Options {
			if o.PeakFrom != nil && (best == nil || o.Peak.U95 < best.Peak.U95) {
				best = &s.Options[i]
			}
		}
		if best != nil {
			part := func(x float64) string { return "±" + quantity.Format(x, quantity.Hertz, 2) }
			coils := "coil"
			if len(s.Coils) > 1 {
				coils = "coils"
			}
			f := best.PeakFrom
			said = append(said, fmt.Sprintf("The peak frequency is best known with %s: U95 has %s from the measured %s, %s "+
				"from the laws that lead from one winding to another, and %s from the guitar's parts.", Wound(*best),
				part(f.Coils), coils, part(f.Laws), part(f.Guitar)))
		}
		if s.Wanted != nil {
			said = append(said, "\"Off by\" is the largest difference of the response from that of "+
				notation.Visible(s.Wish.Like.Name)+" up to 10 kHz, both measured from their plateaus.")
		}
	}
	return append(said, "L follows the square of the turns and, less surely, the shape of the winding; R follows the "+
		"mean turn length and the wire, whose tolerance is about 8 % (IEC 60317). C is known only weakly: it depends on how "+
		"the layers come to lie. Every further coil of this bobbin that is measured makes the prediction better.")
}
