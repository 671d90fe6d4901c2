package terminal

import (
	"bufio"
	"fmt"
	"io"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
)

// Account writes the account of all the capacitance at a coil's terminals as
// text for a terminal.
func Account(w io.Writer, r fit.Result, a fit.Account, o Options) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	t.line(t.paint(sgrBold, truncate(notation.Visible(r.Coil), o.Width)))
	t.line("")
	c := columns{gap: 2, right: []bool{false, true}}
	for _, l := range a.Lines {
		c.add("  "+l.What, t.notes.Cell(l.Farad, quantity.Farad), notation.Visible(l.Source))
	}
	c.add("  sum", t.notes.Cell(a.Sum, quantity.Farad), "")
	c.add("  as the takes show", t.notes.Cell(a.Total, quantity.Farad), "with nothing added")
	if a.PerMetre != nil {
		c.add("  a metre of cable", t.notes.Cell(*a.PerMetre, quantity.Farad), "")
	}
	for _, l := range a.Added {
		c.add("  "+notation.Visible(l.What), t.notes.Cell(l.Farad, quantity.Farad), l.Source)
	}
	for _, s := range c.lines(func(_, column int, cell string) string {
		switch column {
		case 1:
			return t.paint(sgrBold, cell)
		case 2:
			return t.paint(sgrFaint, cell)
		}
		return cell
	}) {
		t.line(s)
	}
	if a.En != nil {
		t.line("")
		t.line(fmt.Sprintf("En %s", notation.Minus(fmt.Sprintf("%.2f", *a.En))))
		t.hanging(" ", "", notation.Visible(a.Verdict))
	}
	if l := r.Line; l != nil && len(l.Points) > 1 {
		rows := columns{gap: 2, right: []bool{false, true, true}}
		rows.add("take", "added C", "1/w²")
		for _, p := range l.Points {
			rows.add(truncate(notation.Visible(p.Take), 24), notation.Nominal(p.AddedC, quantity.Farad), notation.Number(p.InverseW2*1e12, quantity.Coverage95*p.UInverseW2*1e12, notation.Ratio)+" µs²")
		}
		t.headed(rows)
		t.line(fmt.Sprintf("The line through them meets 1/w² = 0 at %s.", t.notes.Cell(l.AxisCrossing, quantity.Farad)))
	}
	t.reasons()
	t.line("")
	t.line(t.paint(sgrFaint, "± is U95."))
	return t.out.Flush()
}
