package terminal

import (
	"cmp"
	"io"
	"math"
	"strings"

	"coilsweep/fit"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// List writes the list as text for a terminal. Values are rounded to
// their uncertainty.
func List(w io.Writer, list []words.Listed, o Options) error {
	t := newTable(w, o)
	var folders, coils, dates, states, flags []string
	for _, l := range list {
		date := notation.None
		if !l.Measured.IsZero() {
			date = l.Measured.Format("2006-01-02")
		}
		folders, coils = append(folders, notation.Visible(l.Folder)), append(coils, notation.Visible(l.Coil))
		dates, states = append(dates, date), append(states, l.StateWords())
		flags = append(flags, cmp.Or(strings.Join(notation.Each(l.Flags, notation.Visible), ", "), notation.None))
	}
	c := columns{gap: 2}
	c.column("folder", false, named(folders, 32, truncate))
	c.column("coil", false, named(coils, 24, truncate))
	for _, stated := range words.ListTexts(list) {
		cells := notation.Each(list, func(l words.Listed) string { return notation.Visible(stated.Of(l)) })
		c.column(stated.Name, false, named(cells, 16, truncate))
	}
	c.column("measured", false, dates)
	starred := false
	for _, col := range words.ListColumns {
		cells := listCells(list, col)
		for i, l := range list {
			_, _, of := l.Resonance()
			if strings.HasPrefix(of, "take ") && (col.Key == "resonance" || col.Key == "q") &&
				cells[i] != notation.None {
				cells[i] += "*"
				starred = true
			}
		}
		c.column(col.Name, true, cells)
	}
	c.column("state", false, states)
	c.column("flags", false, flags)
	last := len(c.right) - 1
	t.headed(c, func(column int, s string) string {
		switch {
		case column == last-1 && strings.TrimSpace(s) != words.UpToDate:
			return t.paint(sgrYellow, s)
		case column == last && strings.TrimSpace(s) != notation.None:
			return t.paint(sgrRed, s)
		}
		return s
	})
	if starred {
		t.line(t.paint(sgrFaint, "* with its fixture, from the take with the least load: the coil alone is not known"))
	}
	return t.out.Flush()
}

// listCells are a column of the list. Why something is not known is told by the
// coil's own table.
func listCells(list []words.Listed, column words.ListColumn) []string {
	var n notation.Notes
	return n.Values(column.Unit, notation.Each(list, func(l words.Listed) fit.Quantity {
		if q := column.Of(l); q.Known() {
			return q
		}
		return fit.Quantity{Value: math.NaN()}
	})...)
}
