package terminal

import (
	"cmp"
	"io"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Account writes the account of all the capacitance at a coil's terminals as
// text for a terminal.
func Account(w io.Writer, r fit.Result, a fit.Account, o Options) error {
	t := newTable(w, o)
	t.title(notation.Visible(r.Coil))
	t.line("")
	c := columns{gap: 2, right: []bool{false, true}}
	for _, l := range words.Account(&a) {
		c.add("  "+notation.Visible(l.What), t.notes.Cell(l.Farad, quantity.Farad), notation.Visible(l.Source))
	}
	t.facts(c, 1)
	t.line("")
	for _, said := range words.Unaccounted(&a) {
		t.hanging("·", sgrFaint, said)
	}
	if l := r.Line; l != nil && len(l.Points) > 1 {
		var takes, w2 []string
		var farad []float64
		for _, p := range l.Points {
			takes, farad = append(takes, notation.Visible(p.Take)), append(farad, p.AddedC)
			u95 := quantity.Coverage95 * p.UInverseW2
			w2 = append(w2, quantity.FormatWithU95(p.InverseW2*1e12, u95*1e12, quantity.Ratio)+" µs²")
		}
		orNone := func(c string) string { return cmp.Or(c, notation.None) }
		added := notation.Each(notation.Nominals(farad, quantity.Farad), orNone)
		c := columns{gap: 2}
		c.column("take", false, named(takes, 24, truncate))
		c.column("added C", true, added)
		c.column("1/w²", true, w2)
		t.line("")
		t.headed(c, nil)
		t.line("The line through them meets 1/w² = 0 at " + t.notes.Cell(l.AxisCrossing, quantity.Farad) + ".")
	}
	t.reasons()
	t.u95(".")
	t.warnings("Assumed: ", a.Warnings)
	return t.out.Flush()
}
