package terminal

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"coilsweep/fit"
	"coilsweep/fit/batch"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Batch writes the batch as text for a terminal: what it means first, the
// statistics below. chart is the key of the property whose control chart is
// drawn; empty for none.
func Batch(w io.Writer, b *batch.Batch, chart string, o Options) error {
	t := newTable(w, o)
	for i, s := range words.Batch(b) {
		sgr := ""
		if i == 0 {
			sgr = sgrBold
		}
		t.wrapped("", sgr, s)
	}
	t.warnings("", words.StandsOut(b))
	t.line("")
	t.spreads(b)
	t.line("")
	last := []string{"verdict"}
	for i := range b.Coils {
		last = append(last, words.Verdict(b, i))
	}
	// The winding at the frequencies of meters would double the table: it stands
	// in the other two.
	shown := *b
	shown.Properties = slices.DeleteFunc(slices.Clone(b.Properties),
		func(p batch.Property) bool { return p.Base != "" })
	t.coils(many{Many: words.BatchTable(&shown), last: last}, func(cell string) string {
		if strings.TrimSpace(cell) == string(batch.Fail) {
			return t.paint(sgrRed, cell)
		}
		return cell
	})
	t.reasons()
	for _, p := range b.Properties {
		if p.Key == chart && p.Chart != nil {
			t.line("")
			t.chart(b, p)
		}
	}
	t.line("")
	t.statistics(b)
	for _, s := range words.BatchRemarks(b) {
		t.hanging("·", sgrFaint, s)
	}
	return t.out.Flush()
}

// spreads is the table for whoever winds the coils.
func (t *table) spreads(b *batch.Batch) {
	c := columns{gap: 2, right: []bool{false, true, true, true, true}}
	c.add("", "typical", "coil to coil", "same coil again", "uncertainty (U95)")
	for _, p := range b.Properties {
		c.add(slices.Concat([]string{p.Name}, words.Spreads(p))...)
	}
	t.headed(c, nil)
}

// chartWidth is the width of a control chart in text, between its limits.
const chartWidth = 41

// chart draws a control chart, time running down: control limits are |, limits that coils
// are judged by [ and ].
func (t *table) chart(b *batch.Batch, p batch.Property) {
	t.line(t.paint(sgrBold, notation.UpperFirst(p.Name)+" over time"))
	c := columns{gap: 2, right: []bool{false, true}}
	from, to := p.Chart.Lower, p.Chart.Upper
	type mark struct {
		at   float64
		rune rune
	}
	marks := []mark{{p.Chart.Lower, '|'}, {p.Chart.Centre, '·'}, {p.Chart.Upper, '|'}}
	if l := p.Limits; l != nil {
		for _, m := range []mark{{l.Lower, '['}, {l.Upper, ']'}} {
			if !math.IsInf(m.at, 0) {
				marks, from, to = append(marks, m), min(from, m.at), max(to, m.at)
			}
		}
	}
	place := func(x float64) int {
		if !(to > from) {
			return chartWidth / 2
		}
		return min(max(int(math.Round((x-from)/(to-from)*(chartWidth-1))), 0), chartWidth-1)
	}
	side := chartWidth/2 - 3
	c.add("", "", fmt.Sprintf("%-*s%s%*s", side, words.Centre(p, from), words.Centre(p, (from+to)/2),
		side, words.Centre(p, to)))
	values := make([]fit.Quantity, len(p.Chart.Values))
	for n, x := range p.Chart.Values {
		values[n] = fit.Quantity{Value: x, U95: p.Values[p.Charted[n]].U95}
	}
	cells := t.notes.Values(words.UnitOf(p.Property), values...)
	for n, x := range p.Chart.Values {
		strip := []rune(strings.Repeat(" ", chartWidth))
		for _, m := range marks {
			strip[place(m.at)] = m.rune
		}
		mark, end := 'o', ""
		if slices.ContainsFunc(p.Chart.Signals, func(s batch.Signal) bool { return s.At == n }) {
			mark, end = 'X', " !"
		}
		strip[place(x)] = mark
		c.add(truncate(notation.Visible(b.Coils[p.Charted[n]].Name), 20), cells[n], string(strip)+end)
	}
	t.lines(c, nil)
}

// statistics is the table for whoever asks how it was worked out.
func (t *table) statistics(b *batch.Batch) {
	t.line(t.paint(sgrBold, "Statistics"))
	c := columns{gap: 2, right: []bool{false, true, true, true, true, true, true, true, true}}
	c.add("", "n", "mean", "s", "median", "Qn", "s_r", "s_L", "F (P)")
	for _, p := range b.Properties {
		test, probability := words.VarianceTest(p)
		if probability != notation.None {
			test += " (P " + probability + ")"
		}
		c.add(slices.Concat([]string{p.Name}, words.Statistics(p), []string{test})...)
	}
	t.headed(c, nil)
}
