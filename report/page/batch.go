package page

import (
	_ "embed"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/batch"
	"coilsweep/fit/comparison"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// BatchDocument is what a batch page is made from. Results that carry curves
// are overlaid.
type BatchDocument struct {
	Batch   *batch.Batch
	Limits  string    // where the limits come from, in words; empty: none
	Made    time.Time // zero: not stated
	Program string
}

//go:embed batch.html
var batchHTML string

var batchTemplate = framed(batchHTML)

// Batch writes one page, in the manner of Coil.
func Batch(w io.Writer, d BatchDocument) error {
	view, err := newBatchPage(d)
	if err != nil {
		return err
	}
	return writePage(w, batchTemplate, view, "batch page")
}

type batchPage struct {
	manyPage
	Alarms     []string
	Spreads    []benchRow
	Statistics []benchRow
}

func newBatchPage(d BatchDocument) (*batchPage, error) {
	b := d.Batch
	p := &batchPage{manyPage: newManyPage("Batch report", "Batch of "+notation.Count(len(b.Coils), "coil"),
		d.Program, d.Made)}
	if d.Limits != "" {
		p.Provenance = append(p.Provenance, fact{"limits", notation.Visible(d.Limits)})
	}
	for _, s := range words.Batch(b) {
		p.Summary = append(p.Summary, notation.Tied(s))
	}
	for _, s := range words.StandsOut(b) {
		p.Alarms = append(p.Alarms, notation.Tied(s))
	}
	p.Remarks = words.BatchRemarks(b)
	styles := figure.BatchStyles(b)
	var coils []comparison.Coil
	var names []string
	var order []int
	for i, c := range b.Coils {
		first := b.Specimens[c.Specimens[0]]
		name := notation.Visible(c.Name)
		coils, names, order = append(coils, first.Coil), append(names, name), append(order, i)
		p.Rows = append(p.Rows, coilRow{named: newNamed(name, first.Folder, glyphOf(styles[i])),
			Verdict: words.Verdict(b, i), Failed: b.Judged && c.Verdict == batch.Fail})
	}
	var properties []comparison.Property
	var draw drawing
	for _, one := range b.Properties {
		properties = append(properties, one.Property)
		p.statistics(one)
		if one.Base == "" { // else as the figure of the property that it repeats
			p.chart(figure.Control(one), one.Name, &draw)
		}
	}
	p.table(properties, func(property int) []fit.Quantity { return b.Properties[property].Values },
		func(property, row int) bool { return b.Properties[property].Outlying(row) })
	if len(coils) <= mostOverlaid {
		p.overlays(coils, names, order, styles, &draw)
	}
	p.Folded = p.Overlays != nil
	err := p.finish(&draw, section{"summary", "Summary"}, section{"coils", "Coils"}, section{"charts", "Over time"},
		section{"response", "Responses"}, section{"statistics", "Statistics"}, section{"provenance", "Provenance"})
	if err != nil {
		return nil, fmt.Errorf("figures of the batch: %w", err)
	}
	return p, nil
}

// statistics are the rows of a property in the tables of spreads and of
// statistics.
func (p *batchPage) statistics(one batch.Property) {
	row := func(cells ...string) benchRow {
		for i := range cells {
			cells[i] = notation.Tied(cells[i])
		}
		return benchRow{one.Name, cells}
	}
	spread := func(sd float64) string { return words.Spread(one, sd) }
	p.Spreads = append(p.Spreads, row(words.Centre(one, one.Median), spread(words.BetweenSD(one)),
		spread(words.RepeatSD(one)),
		spread(quantity.Coverage95*one.MeasurementU), limitWords(one.Limits, words.UnitOf(one.Property))))
	freedom, f, probability := notation.None, notation.None, notation.None
	if a := one.Anova; a != nil {
		freedom, f = fmt.Sprintf("%d, %d", a.BetweenDF, a.WithinDF), words.VarianceRatio(a.F)
		probability = strings.TrimPrefix(words.Probability(a.P), "P ")
	}
	p.Statistics = append(p.Statistics, row(strconv.Itoa(one.Known), words.Centre(one, one.Mean), spread(one.SD),
		words.Centre(one, one.Median), spread(one.RobustSD), spread(words.RepeatSD(one)),
		spread(words.AnovaBetween(one)),
		freedom, f, probability))
}

// mostOverlaid is the largest batch whose responses are drawn.
const mostOverlaid = 100

// limitWords are limits as text: "2.280 H … 2.520 H", "at least 3.000".
func limitWords(l *batch.Limits, unit quantity.Unit) string {
	const digits = 4
	switch {
	case l == nil:
		return notation.None
	case math.IsInf(l.Lower, -1):
		return "at most " + quantity.Format(l.Upper, unit, digits)
	case math.IsInf(l.Upper, 1):
		return "at least " + quantity.Format(l.Lower, unit, digits)
	}
	scale := quantity.ScaleOf(l.Upper, unit, digits)
	return scale.Format(l.Lower, unit, digits) + " … " + scale.Format(l.Upper, unit, digits)
}
