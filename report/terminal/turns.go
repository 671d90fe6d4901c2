package terminal

import (
	"fmt"
	"io"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/turns"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Turns writes what to wind as text for a terminal.
func Turns(w io.Writer, s turns.Sheet, o Options) error {
	t := newTable(w, o)
	t.title(words.InHarness(s.Coils, s.Guitar) + ": what to wind for " + words.Wish(s))
	for _, said := range words.Turns(s) {
		t.hanging("·", sgrFaint, said)
	}
	if len(s.Options) > 0 {
		t.toWind(s)
		t.options(s, "coil alone", func(c *columns) {
			for _, column := range words.WoundColumns {
				c.column(column.Name, true, t.notes.Cells(column.Unit, notation.Each(s.Options, column.Of)...))
			}
		})
		t.options(s, "in the guitar", func(c *columns) {
			for _, column := range words.SoundColumns {
				of := func(o turns.Option) fit.Quantity { return column.Of(o.Sound) }
				c.column(column.Name, true, t.notes.Cells(column.Unit, notation.Each(s.Options, of)...))
			}
			if s.Wanted != nil {
				c.column("furthest from "+truncate(notation.Visible(s.Wish.Like.Name), 16), true,
					notation.Each(s.Options, func(o turns.Option) string { return notation.Decibels(*o.FromWantedDB) }))
			}
		})
	}
	t.line("")
	t.line("The laws that lead from one winding to another, as exponents:")
	c := columns{gap: 2}
	c.column("", false, notation.Each(s.Laws, func(l turns.Law) string { return "  " + words.Exponent(l) }))
	exponents := func(of func(turns.Law) fit.Quantity) []string {
		return t.notes.Cells(quantity.Ratio, notation.Each(s.Laws, of)...)
	}
	c.column("assumed", true, exponents(func(l turns.Law) fit.Quantity { return l.Assumed }))
	c.column("by the measured coils", true, exponents(func(l turns.Law) fit.Quantity { return l.Fitted }))
	t.headed(c, nil)
	if refused := words.Refused(s); refused != nil {
		t.line("")
		t.line("Out of the question:")
		for _, said := range refused {
			t.hanging("·", "", said)
		}
	}
	t.reasons()
	t.u95(", from the measured coils, the laws, and the tolerances of the wire and of the guitar's parts.")
	t.warnings("Warning: ", s.Warnings)
	return t.out.Flush()
}

// toWind is the table for the winder.
func (t *table) toWind(s turns.Sheet) {
	t.options(s, fmt.Sprintf("wind, room %s", quantity.Format(s.RoomM, quantity.Metre, 2)), func(c *columns) {
		if s.Wish.Turns > 0 {
			c.column("turns", true, notation.Each(s.Options, func(o turns.Option) string { return fmt.Sprint(o.Turns) }))
		} else {
			c.column("turns", true, t.notes.Cells(quantity.Ratio,
				notation.Each(s.Options, func(o turns.Option) fit.Quantity { return o.Needed })...))
		}
		size := func(head string, of func(turns.Option) float64) {
			c.column(head, true, notation.Each(s.Options, func(o turns.Option) string {
				return quantity.Format(of(o), quantity.Metre, 3)
			}))
		}
		size("over enamel", func(o turns.Option) float64 { return o.Wire.OuterM })
		size("length of wire", func(o turns.Option) float64 { return o.WireM })
		size("depth", func(o turns.Option) float64 { return o.DepthM })
		c.column("fills", true, notation.Each(s.Options, words.Filled))
	})
}

// options is a table with a row for each option.
func (t *table) options(s turns.Sheet, head string, fill func(c *columns)) {
	t.line("")
	c := columns{gap: 2}
	c.column(head, false, notation.Each(s.Options, words.Wound))
	fill(&c)
	t.headed(c, nil)
}
