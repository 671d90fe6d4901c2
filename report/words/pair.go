package words

import (
	"fmt"
	"math"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/fit/pair"
	"coilsweep/report/notation"
)

// PairTable is a table of a pair, with the names of its rows.
type PairTable struct {
	OptionTable
	Rows []string
}

// PairTables are the halves and their balance, what lies between them, what both are
// connected, the hum that is left, and the connections in the guitar, if they were asked
// for; what is not known leaves its reasons in n.
func PairTables(r *pair.Result, n *notation.Notes) []PairTable {
	column := func(t *PairTable, name string, unit quantity.Unit, values ...fit.Quantity) {
		t.Columns = append(t.Columns, OptionColumn{name, n.Cells(unit, values...)})
	}
	halves := PairTable{OptionTable{Head: "half"}, notation.Each(r.Halves[:], func(h pair.Half) string {
		return notation.Visible(h.Name)
	})}
	column(&halves, "L", quantity.Henry, r.Halves[0].Inductance, r.Halves[1].Inductance)
	column(&halves, "R", quantity.Ohm, r.Halves[0].Resistance, r.Halves[1].Resistance)
	column(&halves, "C between its leads", quantity.Farad, r.Halves[0].Capacitance, r.Halves[1].Capacitance)

	balance := PairTable{OptionTable{Head: "balance"}, []string{"second half over first"}}
	column(&balance, "turns × area", quantity.Ratio, r.Balance.TurnsArea)
	column(&balance, "R", quantity.Ratio, r.Balance.Resistance)
	column(&balance, "L", quantity.Ratio, r.Balance.Inductance)

	together := PairTable{OptionTable{Head: "between the halves"}, []string{"both"}}
	column(&together, "coupling", quantity.Ratio, r.Coupling)
	column(&together, "mutual inductance", quantity.Henry, r.Mutual)
	column(&together, "C between", quantity.Farad, r.Between)
	column(&together, "C to metal, each", quantity.Farad, r.Ground)

	hum := PairTable{OptionTable{Head: "hum"}, notation.Each(r.Hum, func(h pair.Hum) string { return h.Wiring })}
	rejection := notation.Each(r.Hum, func(h pair.Hum) string {
		switch q := h.Rejection; {
		case h.AtLeast != nil:
			return "at least " + notation.Decibels(*h.AtLeast)
		case !q.Known():
			return n.Sign(q.Why)
		default:
			return fmt.Sprintf("%s (%s to %s)", notation.Decibels(q.Value), notation.Decibels(q.Low), notation.Decibels(q.High))
		}
	})
	hum.Columns = []OptionColumn{{"rejection", rejection}}

	connected := PairTable{OptionTable{Head: "as one coil"}, notation.Each(r.Connected, func(w pair.Whole) string {
		return connectionName(w.Wiring, w.Reversed)
	})}
	if r.HumCancels != nil {
		hum := func(w pair.Whole) string {
			if w.Reversed == *r.HumCancels {
				return "cancels"
			}
			return "adds up"
		}
		connected.Columns = append(connected.Columns, OptionColumn{"hum", notation.Each(r.Connected, hum)})
	}
	for _, c := range []struct {
		name string
		unit quantity.Unit
		of   func(pair.Whole) fit.Quantity
	}{
		{"L", quantity.Henry, func(w pair.Whole) fit.Quantity { return w.Inductance }},
		{"R", quantity.Ohm, func(w pair.Whole) fit.Quantity { return w.Resistance }},
		{"C", quantity.Farad, func(w pair.Whole) fit.Quantity { return w.Capacitance }},
	} {
		column(&connected, c.name, c.unit, notation.Each(r.Connected, c.of)...)
	}
	tables := []PairTable{halves, balance, together, hum, connected}
	if len(r.Guitar) > 0 {
		guitar := PairTable{OptionTable{Head: "in the guitar"}, notation.Each(r.Guitar, InGuitar)}
		for _, c := range SoundColumns {
			column(&guitar, c.Name, c.Unit, notation.Each(r.Guitar, func(g pair.InGuitar) fit.Quantity {
				return c.Of(harness.Sound(g.Sound))
			})...)
		}
		tables = append(tables, guitar)
	}
	return tables
}

func connectionName(wiring string, reversed bool) string {
	if reversed {
		return wiring + ", second reversed"
	}
	return wiring
}

// InGuitar names a connection in a guitar.
func InGuitar(g pair.InGuitar) string {
	name := g.Wiring
	if g.Part != "" {
		name += " by " + g.Part
	}
	if g.Coil != "" {
		name += ", " + notation.Visible(g.Coil)
	} else {
		name += ", " + g.Phase + " of phase"
		if g.Phase == "in" {
			name = g.Wiring + ", in phase"
		}
	}
	return name
}

// PairU95 says what U95 of a pair comes from.
const PairU95 = ", from the takes, the tolerances of the parts, and what the circuit leaves unexplained."

// Pair says what a pair is, for somebody who does not measure coils.
func Pair(r *pair.Result) []string {
	var said []string
	first, second := notation.Visible(r.Halves[0].Name), notation.Visible(r.Halves[1].Name)
	if r.HumCancels != nil {
		leads := "as they are"
		if *r.HumCancels {
			leads = "swapped"
		}
		said = append(said, fmt.Sprintf("Hum cancels with the leads of %s %s. The strings are in phase in that "+
			"connection, if the magnets of the two coils are opposed.", second, leads))
	}
	if q := r.Balance.TurnsArea; q.Known() {
		by := 100 * (q.Value - 1)
		switch {
		case math.Abs(q.Value-1) <= q.U95:
			said = append(said, fmt.Sprintf("Both halves answer the same field equally, as far as the takes can tell: %s "+
				"over %s is %s.", second, first, notation.WithU95(q, quantity.Ratio)))
		default:
			more := "more"
			if by < 0 {
				more = "less"
			}
			said = append(said, fmt.Sprintf("%s answers the same field %.2g %% %s than %s: turns times area are not equal.",
				notation.UpperFirst(second), math.Abs(by), more, first))
		}
	}
	if len(r.Hum) > 0 {
		if h := r.Hum[0]; h.AtLeast != nil {
			said = append(said, fmt.Sprintf("In series at least %s of hum are rejected: perfect balance lies within U95.",
				notation.Decibels(*h.AtLeast)))
		} else if h.Rejection.Known() {
			said = append(said, fmt.Sprintf("In series %s of hum are rejected.", notation.Decibels(h.Rejection.Value)))
		}
	}
	if len(r.Guitar) > 0 {
		said = append(said, "In the guitar the same string is taken to reach both coils; levels are over the EMF of "+first+
			". A cover's shielding is left out.")
	}
	return said
}

// PairTakes are the takes of a pair with what was connected; names are those of the rows.
func PairTakes(r *pair.Result) (names []string, t OptionTable) {
	names = notation.Each(r.Takes, func(t pair.TakeShown) string { return notation.Visible(t.Folder + "/" + t.Name) })
	t.Head = "take"
	text := func(name string, of func(pair.TakeShown) string) {
		t.Columns = append(t.Columns, OptionColumn{name, notation.Each(r.Takes, of)})
	}
	text("connected", func(t pair.TakeShown) string {
		if t.Other != "" {
			return t.Wiring + " coil alone, the other " + t.Other
		}
		return connectionName(t.Wiring, t.Reversed)
	})
	text("exciter over", func(t pair.TakeShown) string { return string(t.Place) })
	return names, t
}
