package terminal

import (
	"fmt"
	"io"
	"strings"

	"coilsweep/fit/comparison"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Comparison writes the comparison as text for a terminal, the coils
// sorted by one of Comparison.SortKeys.
func Comparison(w io.Writer, c *comparison.Comparison, sortKey string, o Options) error {
	t := newTable(w, o)
	names := words.CoilNames(c.Coils)
	order := words.ComparisonOrder(c, sortKey)
	against := truncate(names[c.Reference], 40)
	t.line(t.paint(sgrBold, fmt.Sprintf("%s against %s", notation.Count(len(c.Coils), "coil"), against)))
	for _, s := range words.Changes(c) {
		t.wrapped("", "", s)
	}
	t.line("")
	t.coils(many{Many: words.ComparisonTable(c, names, order)}, nil)
	t.line("")
	for _, i := range order {
		if i != c.Reference {
			t.differences(c, names, i)
		}
	}
	t.reasons()
	t.u95(". A difference is more than chance where |En| > 1 (ISO/IEC 17043).")
	for _, remark := range words.Remarks(c) {
		t.hanging("·", sgrFaint, remark)
	}
	return t.out.Flush()
}

// differences says where coil i differs from the reference, and where not.
func (t *table) differences(c *comparison.Comparison, names []string, i int) {
	t.title(names[i])
	cols := columns{gap: 2, right: []bool{false, true, true, true}}
	var agree, open []string
	said := map[string]bool{}
	for _, r := range c.Rows {
		d := r.Differences[i]
		again := said[r.Family()+string(d.Verdict)]
		said[r.Family()+string(d.Verdict)] = true
		if again && d.Verdict != comparison.Differs {
			continue // as the property that it repeats
		}
		switch d.Verdict {
		case comparison.Differs:
			cols.add("  "+r.Name, notation.Difference(d.Delta, words.UnitOf(r.Property)),
				notation.Change(d.Percent), "En "+notation.En(d.En), "differs")
		case comparison.Agrees:
			agree = append(agree, fmt.Sprintf("%s (En %s)", r.Name, notation.En(d.En)))
		default:
			open = append(open, r.Name)
		}
	}
	t.lines(cols, func(_, column int, s string) string {
		if column == 4 {
			return t.paint(sgrYellow, s)
		}
		return s
	})
	if agree != nil {
		t.hanging(" ", "", "agrees in "+strings.Join(agree, ", "))
	}
	if open != nil {
		t.hanging(" ", "", "not comparable: "+strings.Join(open, ", "))
	}
}
