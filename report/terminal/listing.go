package terminal

import (
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
	c := columns{gap: 2, right: []bool{false, false, false, true, true, true, true, true}}
	header, rows := []string{"folder", "coil", "measured"}, make([][]string, len(list))
	for i, l := range list {
		date := notation.None
		if !l.Measured.IsZero() {
			date = l.Measured.Format("2006-01-02")
		}
		rows[i] = []string{truncate(notation.Visible(l.Folder), 32), truncate(notation.Visible(l.Coil), 24), date}
	}
	starred := false
	for _, col := range words.ListColumns {
		header = append(header, col.Name)
		for i, text := range listCells(list, col) {
			_, _, of := list[i].Resonance()
			if strings.HasPrefix(of, "take ") && (col.Key == "resonance" || col.Key == "q") && text != notation.None {
				text += "*"
				starred = true
			}
			rows[i] = append(rows[i], text)
		}
	}
	c.add(append(header, "state", "flags")...)
	for i, l := range list {
		flags := strings.Join(notation.VisibleAll(l.Flags), ", ")
		if flags == "" {
			flags = notation.None
		}
		c.add(append(rows[i], l.StateWords(), flags)...)
	}
	t.headed(c, func(column int, s string) string {
		switch {
		case column == 8 && strings.TrimSpace(s) != words.UpToDate:
			return t.paint(sgrYellow, s)
		case column == 9 && strings.TrimSpace(s) != notation.None:
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
	return notation.ValuesOf(&n, column.Unit, list, func(l words.Listed) fit.Quantity {
		if q := column.Of(l); q.Known() {
			return q
		}
		return fit.Quantity{Value: math.NaN()}
	})
}
