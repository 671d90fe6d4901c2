package page

import (
	_ "embed"
	"fmt"
	"io"
	"time"

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

var batchTemplate = framed(source("batch.html"))

// Batch writes one page, in the manner of Coil.
func Batch(w io.Writer, d BatchDocument) error {
	view, err := newBatchPage(d)
	return writePage(w, batchTemplate, view, err, "batch page")
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
	p.provenance("limits", d.Limits)
	p.Summary, p.Alarms, p.Remarks = words.Batch(b), words.StandsOut(b), words.BatchRemarks(b)
	table := words.BatchTable(b)
	styles := figure.BatchStyles(b)
	var coils []comparison.Coil
	var order []int
	for i, c := range b.Coils {
		first := b.Specimens[c.Specimens[0]]
		coils, order = append(coils, first.Coil), append(order, i)
		p.Rows = append(p.Rows, coilRow{named: newNamed(table.Names[i], first.Folder, glyphOf(styles[i])),
			Verdict: words.VerdictOn(b, i), Failed: b.Judged && c.Verdict == batch.Fail})
	}
	p.table(table)
	var draw drawing
	for _, one := range b.Properties {
		p.statistics(one)
		if one.Base == "" { // else as the figure of the property that it repeats
			p.chart(figure.Control(one), one.Name, &draw)
		}
	}
	if len(coils) <= mostOverlaid {
		p.overlays(coils, table.Names, order, styles, &draw)
	}
	p.Folded = p.Overlays != nil
	p.section(true, "summary", "Summary")
	p.section(true, "coils", "Coils")
	p.section(p.Charts != nil, "charts", "Over time")
	p.section(p.Overlays != nil, "response", "Responses")
	p.section(true, "statistics", "Statistics")
	p.section(true, "provenance", "Provenance")
	if err := p.finish(&draw); err != nil {
		return nil, fmt.Errorf("figures of the batch: %w", err)
	}
	return p, nil
}

// statistics are the rows of a property in the tables of spreads and of
// statistics.
func (p *batchPage) statistics(one batch.Property) {
	row := func(cells ...string) benchRow { return benchRow{one.Name, notation.Each(cells, notation.Tied)} }
	p.Spreads = append(p.Spreads, row(append(words.Spreads(one),
		words.Limits(one.Limits, words.UnitOf(one.Property)))...))
	freedom := notation.None
	if a := one.Anova; a != nil {
		freedom = fmt.Sprintf("%d, %d", a.BetweenDF, a.WithinDF)
	}
	f, probability := words.VarianceTest(one)
	p.Statistics = append(p.Statistics, row(append(words.Statistics(one), freedom, f, probability)...))
}

// mostOverlaid is the largest batch whose responses are drawn.
const mostOverlaid = 100
