package terminal

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/batch"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Batch writes the batch as text for a terminal: what it means first, the
// statistics below. chart is the key of the property whose control chart is
// drawn; empty for none.
func Batch(w io.Writer, b *batch.Batch, chart string, o Options) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	for i, s := range words.Batch(b) {
		sgr := ""
		if i == 0 {
			sgr = sgrBold
		}
		for _, line := range wrap(s, o.Width) {
			t.line(t.paint(sgr, line))
		}
	}
	for _, c := range b.Coils {
		if c.Suspicion.Findings != nil {
			t.marked("!", sgrYellow, notation.Visible(c.Name)+" stands out: "+c.Suspicion.String()+".")
		}
	}
	for _, s := range words.BatchSignals(b) {
		t.marked("!", sgrYellow, s)
	}
	t.line("")
	t.spreads(b)
	t.line("")
	t.coils(b)
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
	c.add("", "usual", "coil to coil", "same coil again", "measured to ±")
	for _, p := range b.Properties {
		c.add(p.Name, words.Centre(p, p.Median), words.Spread(p, words.BetweenSD(p)), words.Spread(p, words.RepeatSD(p)), words.Spread(p, quantity.Coverage95*p.MeasurementU))
	}
	for i, s := range c.lines(nil) {
		if i == 0 {
			s = t.paint(sgrFaint, s)
		}
		t.line(s)
	}
}

// coils is a row for each coil.
func (t *table) coils(b *batch.Batch) {
	c := columns{gap: 2, right: []bool{false}}
	header := []string{"coil"}
	shown := b.Properties
	for _, p := range shown {
		header = append(header, p.Name)
		c.right = append(c.right, true)
	}
	c.right = append(c.right, false)
	build := func() {
		c.rows = nil
		c.add(append(slices.Clone(header[:len(shown)+1]), "verdict")...)
		for i, coil := range b.Coils {
			row := []string{truncate(notation.Visible(coil.Name), 24)}
			for _, p := range shown {
				text := t.brief(p.Values[i], words.UnitOf(p.Property))
				if p.Outlying(i) {
					text += "!"
				}
				row = append(row, text)
			}
			c.add(append(row, words.Verdict(b, i))...)
		}
	}
	build()
	for c.width() > t.o.Width && len(shown) > 1 {
		shown = shown[:len(shown)-1]
		build()
	}
	for i, s := range c.lines(func(_, column int, s string) string {
		if column == len(shown)+1 && strings.TrimSpace(s) == string(batch.Fail) {
			return t.paint(sgrRed, s)
		}
		return s
	}) {
		if i == 0 {
			s = t.paint(sgrFaint, s)
		}
		t.line(s)
	}
	if left := b.Properties[len(shown):]; len(left) > 0 {
		var names []string
		for _, p := range left {
			names = append(names, p.Name)
		}
		t.hanging(" ", sgrFaint, "not shown for want of width: "+strings.Join(names, "; "))
	}
}

// chartWidth is the width of a control chart in text, between its limits.
const chartWidth = 41

// chart draws a control chart, time running down.
func (t *table) chart(b *batch.Batch, p batch.Property) {
	unit := words.UnitOf(p.Property)
	t.line(t.paint(sgrBold, notation.UpperFirst(p.Name)+" over time"))
	c := columns{gap: 2, right: []bool{false, true}}
	place := func(x float64) int {
		return int(math.Round((x - p.Chart.Lower) / (p.Chart.Upper - p.Chart.Lower) * (chartWidth - 1)))
	}
	c.add("", "", fmt.Sprintf("%-*s%s%*s", chartWidth/2-3, words.Centre(p, p.Chart.Lower), words.Centre(p, p.Chart.Centre), chartWidth/2-3, words.Centre(p, p.Chart.Upper)))
	for n, x := range p.Chart.Values {
		strip := []rune(strings.Repeat(" ", chartWidth))
		strip[0], strip[chartWidth/2], strip[chartWidth-1] = '|', '·', '|'
		mark, end := 'o', ""
		if slices.ContainsFunc(p.Chart.Signals, func(s batch.Signal) bool { return s.At == n }) {
			mark, end = 'X', " !"
		}
		at := chartWidth / 2
		if p.Chart.Upper > p.Chart.Lower {
			at = min(max(place(x), 0), chartWidth-1)
		}
		strip[at] = mark
		c.add(truncate(notation.Visible(b.Coils[p.Charted[n]].Name), 20), notation.Value(fit.Quantity{Value: x, U95: p.SD / 3}, unit), string(strip)+end)
	}
	for _, s := range c.lines(nil) {
		t.line(s)
	}
}

// statistics is the table for whoever asks how it was worked out.
func (t *table) statistics(b *batch.Batch) {
	t.line(t.paint(sgrBold, "Statistics"))
	c := columns{gap: 2, right: []bool{false, true, true, true, true, true, true, true, true}}
	c.add("", "n", "mean", "s", "median", "Qn", "s_r", "s_L", "F (P)")
	for _, p := range b.Properties {
		anova := notation.None
		if a := p.Anova; a != nil {
			anova = words.VarianceRatio(a.F)
			if !math.IsNaN(a.P) {
				anova += " (" + words.Probability(a.P) + ")"
			}
		}
		c.add(p.Name, strconv.Itoa(p.Known), words.Centre(p, p.Mean), words.Spread(p, p.SD), words.Centre(p, p.Median), words.Spread(p, p.RobustSD),
			words.Spread(p, words.RepeatSD(p)), words.Spread(p, words.AnovaBetween(p)), anova)
	}
	if c.width() > t.o.Width {
		c.gap = 1
	}
	for i, s := range c.lines(nil) {
		if i == 0 {
			s = t.paint(sgrFaint, s)
		}
		t.line(s)
	}
}
