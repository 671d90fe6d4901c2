package report

import (
	"bufio"
	"errors"
	"fmt"
	"io"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// Account writes the account of all the capacitance at a coil's terminals as
// text for a terminal.
func Account(w io.Writer, r fit.Result, a fit.Account, o TableOptions) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	t.line(t.paint(sgrBold, truncate(visible(r.Coil), o.Width)))
	t.line("")
	c := columns{gap: 2, right: []bool{false, true}}
	for _, l := range a.Lines {
		c.add("  "+l.What, t.notes.cell(l.Farad, quantity.Farad), visible(l.Source))
	}
	c.add("  sum", t.notes.cell(a.Sum, quantity.Farad), "")
	c.add("  as the takes show", t.notes.cell(a.Total, quantity.Farad), "with nothing added")
	if a.PerMetre != nil {
		c.add("  a metre of cable", t.notes.cell(*a.PerMetre, quantity.Farad), "")
	}
	for _, l := range a.Added {
		c.add("  "+visible(l.What), t.notes.cell(l.Farad, quantity.Farad), l.Source)
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
		t.line(fmt.Sprintf("En %s", withMinus(fmt.Sprintf("%.2f", *a.En))))
		t.hanging(" ", "", visible(a.Verdict))
	}
	if l := r.Line; l != nil && len(l.Points) > 1 {
		rows := columns{gap: 2, right: []bool{false, true, true}}
		rows.add("take", "added C", "1/w²")
		for _, p := range l.Points {
			rows.add(truncate(visible(p.Take), 24), part(p.AddedC, quantity.Farad), number(p.InverseW2*1e12, quantity.Coverage95*p.UInverseW2*1e12, ratio)+" µs²")
		}
		t.headed(rows)
		t.line(fmt.Sprintf("The line through them meets 1/w² = 0 at %s.", t.notes.cell(l.AxisCrossing, quantity.Farad)))
	}
	t.reasons()
	t.line("")
	t.line(t.paint(sgrFaint, "± is U95."))
	return t.out.Flush()
}

// ErrNoLine: the takes do not give 1/w² against added capacitance.
var ErrNoLine = errors.New("there is no line to draw: L and C are not both known, or no take has an added capacitor")

// WriteLine writes the plot of 1/w² against added capacitance, with the
// intercept marked, as an SVG file. ErrNoLine where there is none.
func WriteLine(w io.Writer, r fit.Result) error {
	f := lineFigure(r, nil, wide)
	if f == nil {
		return ErrNoLine
	}
	return f.WriteFile(w)
}
