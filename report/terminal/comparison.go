package terminal

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"coilsweep/fit/comparison"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Comparison writes the comparison as text for a terminal, the coils
// sorted by one of words.ComparisonKeys.
func Comparison(w io.Writer, c *comparison.Comparison, sortKey string, o Options) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	names := words.CoilNames(c.Coils)
	order := words.ComparisonOrder(c, sortKey)
	t.line(t.paint(sgrBold, fmt.Sprintf("%s against %s", notation.Count(len(c.Coils), "coil"), truncate(names[c.Reference], 40))))
	t.line("")
	cols := columns{gap: 2}
	header := []string{"coil"}
	cols.right = []bool{false}
	for _, r := range c.Rows {
		header = append(header, r.Name)
		cols.right = append(cols.right, true)
	}
	cols.add(header...)
	for _, i := range order {
		row := []string{truncate(names[i], 24)}
		for _, r := range c.Rows {
			row = append(row, t.brief(r.Values[i], words.UnitOf(r.Property)))
		}
		cols.add(row...)
	}
	if cols.width() <= o.Width {
		for n, s := range cols.lines(nil) {
			if n == 0 {
				s = t.paint(sgrFaint, s)
			}
			t.line(s)
		}
	} else {
		t.turned(c, names, order)
	}
	t.line("")
	for _, i := range order {
		if i != c.Reference {
			t.differences(c, names, i)
		}
	}
	t.reasons()
	t.line("")
	t.line(t.paint(sgrFaint, "± is U95. A difference is more than chance where |En| > 1 (ISO/IEC 17043)."))
	for _, remark := range c.Remarks {
		t.hanging("·", sgrFaint, notation.UpperFirst(remark)+".")
	}
	return t.out.Flush()
}

// turned is the table of values with the coils as columns, as many side by
// side as fit.
func (t *table) turned(c *comparison.Comparison, names []string, order []int) {
	for len(order) > 0 {
		n := len(order)
		var cols columns
		for ; n > 0; n-- {
			cols = columns{gap: 2, right: []bool{false}}
			header := []string{""}
			for _, i := range order[:n] {
				header = append(header, truncate(names[i], 16))
				cols.right = append(cols.right, true)
			}
			cols.add(header...)
			for _, r := range c.Rows {
				row := []string{truncate(r.Name, 32)}
				for _, i := range order[:n] {
					row = append(row, t.brief(r.Values[i], words.UnitOf(r.Property)))
				}
				cols.add(row...)
			}
			if cols.width() <= t.o.Width || n == 1 {
				break
			}
		}
		for k, s := range cols.lines(nil) {
			if k == 0 {
				s = t.paint(sgrFaint, s)
			}
			t.line(s)
		}
		if order = order[n:]; len(order) > 0 {
			t.line("")
		}
	}
}

// differences says where coil i differs from the reference, and where not.
func (t *table) differences(c *comparison.Comparison, names []string, i int) {
	t.line(t.paint(sgrBold, truncate(names[i], t.o.Width)))
	cols := columns{gap: 2, right: []bool{false, true, true, true}}
	var agree, open []string
	for _, r := range c.Rows {
		d := r.Differences[i]
		switch d.Verdict {
		case comparison.Differs:
			cols.add("  "+r.Name, notation.Difference(d.Delta, words.UnitOf(r.Property)), notation.Percent(d.Percent), "En "+notation.En(d.En), "differs")
		case comparison.Agrees:
			agree = append(agree, fmt.Sprintf("%s (En %s)", r.Name, notation.En(d.En)))
		default:
			open = append(open, r.Name)
		}
	}
	for _, s := range cols.lines(func(_, column int, s string) string {
		if column == 4 {
			return t.paint(sgrYellow, s)
		}
		return s
	}) {
		t.line(s)
	}
	if agree != nil {
		t.hanging(" ", "", "agrees in "+strings.Join(agree, ", "))
	}
	if open != nil {
		t.hanging(" ", "", "not comparable: "+strings.Join(open, ", "))
	}
}
