package terminal

import (
	"bufio"
	"io"
	"strings"

	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// List writes the list as text for a terminal. Values are rounded to
// their uncertainty.
func List(w io.Writer, list []words.Listed, o Options) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	c := columns{gap: 2, right: []bool{false, false, false, true, true, true, true, true}}
	header := []string{"folder", "coil", "measured"}
	for _, col := range words.ListColumns {
		header = append(header, col.Name)
	}
	c.add(append(header, "state", "flags")...)
	starred := false
	for _, l := range list {
		date := notation.None
		if !l.Measured.IsZero() {
			date = l.Measured.Format("2006-01-02")
		}
		row := []string{truncate(notation.Visible(l.Folder), 32), truncate(notation.Visible(l.Coil), 24), date}
		_, _, of := l.Resonance()
		for _, col := range words.ListColumns {
			text := notation.None
			if q := col.Of(l); q.Known() {
				text = notation.Value(q, col.Unit)
				if strings.HasPrefix(of, "take ") && (col.Key == "resonance" || col.Key == "q") {
					text += "*"
					starred = true
				}
			} else if l.Result != nil {
				text = notation.Unknown
			}
			row = append(row, text)
		}
		flags := strings.Join(notation.VisibleAll(l.Flags), ", ")
		if flags == "" {
			flags = notation.None
		}
		c.add(append(row, l.State(), flags)...)
	}
	if c.width() > o.Width {
		c.gap = 1
	}
	for _, s := range c.lines(func(row, column int, s string) string {
		switch {
		case row == 0:
			return t.paint(sgrFaint, s)
		case column == 8 && strings.TrimSpace(s) != "fresh":
			return t.paint(sgrYellow, s)
		case column == 9 && strings.TrimSpace(s) != notation.None:
			return t.paint(sgrRed, s)
		}
		return s
	}) {
		t.line(s)
	}
	if starred {
		t.line(t.paint(sgrFaint, "* with its fixture, from the take with the least load: the coil alone is not known"))
	}
	return t.out.Flush()
}
