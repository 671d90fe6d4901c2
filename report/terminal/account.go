package terminal

import (
	"io"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
)

// Account writes the account of all the capacitance at a coil's terminals as
// text for a terminal.
func Account(w io.Writer, r fit.Result, a fit.Account, o Options) error {
	t := newTable(w, o)
	t.title(notation.Visible(r.Coil))
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
	t.facts(c, 1)
	if a.En != nil {
		t.line("")
		t.line("En " + notation.En(a.En))
		t.hanging(" ", "", notation.Typeset(a.Verdict))
	}
	if l := r.Line; l != nil && len(l.Points) > 1 {
		rows := columns{gap: 2, right: []bool{false, true, true}}
		rows.add("take", "added C", "1/w²")
		farad := make([]float64, len(l.Points))
		for i, p := range l.Points {
			farad[i] = p.AddedC
		}
		for i, added := range notation.Nominals(farad, quantity.Farad) {
			p := l.Points[i]
			if added == "" {
				added = notation.None
			}
			w2 := quantity.FormatWithU95(p.InverseW2*1e12, quantity.Coverage95*p.UInverseW2*1e12, quantity.Ratio)
			rows.add(truncate(notation.Visible(p.Take), 24), added, w2+" µs²")
		}
		t.line("")
		t.headed(rows, nil)
		t.line("The line through them meets 1/w² = 0 at " + t.notes.Cell(l.AxisCrossing, quantity.Farad) + ".")
	}
	t.reasons()
	t.u95(".")
	return t.out.Flush()
}
