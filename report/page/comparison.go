package page

import (
	_ "embed"
	"fmt"
	"io"
	"strings"
	"time"

	"coilsweep/fit"
	"coilsweep/fit/comparison"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/sound"
	"coilsweep/report/words"
)

// ComparisonDocument is what a comparison page is made from. Results that
// carry curves are overlaid.
type ComparisonDocument struct {
	Comparison *comparison.Comparison
	SortKey    string           // one of Comparison.SortKeys
	Listening  *sound.Listening // two coils to hear; nil: none
	Made       time.Time        // zero: not stated
	Program    string
}

var comparisonTemplate = framed(source("comparison.html"))

// Comparison writes one page, in the manner of Coil.
func Comparison(w io.Writer, d ComparisonDocument) error {
	view, err := newComparisonPage(d)
	return writePage(w, comparisonTemplate, view, err, "comparison page")
}

type comparisonPage struct {
	manyPage
	Basis []benchRow
}

func newComparisonPage(d ComparisonDocument) (*comparisonPage, error) {
	c := d.Comparison
	names := words.CoilNames(c.Coils)
	order := words.ComparisonOrder(c, d.SortKey)
	title := fmt.Sprintf("%s against %s", notation.Count(len(c.Coils), "coil"), names[c.Reference])
	if len(c.Coils) == 2 {
		title = names[1-c.Reference] + " against " + names[c.Reference]
	}
	p := &comparisonPage{manyPage: newManyPage("Comparison of coils", title, d.Program, d.Made)}
	styles := figure.ComparisonStyles(c, order)
	for _, i := range order {
		coil := c.Coils[i]
		p.Rows = append(p.Rows, coilRow{named: newNamed(names[i], coil.Folder, glyphOf(styles[i])),
			Reference: i == c.Reference})
		p.Basis = append(p.Basis, benchRow{names[i], []string{notation.Visible(coil.Folder),
			notation.Visible(coil.Result.Model.Name), basis(coil.Result.Basis)}})
	}
	for _, r := range c.Rows {
		p.deltas(r, order)
	}
	p.table(words.ComparisonTable(c, names, order))
	p.Summary, p.Remarks = words.Comparison(c, names), words.Remarks(c)
	var draw drawing
	p.overlays(c.Coils, names, order, styles, &draw)
	for _, r := range c.Rows {
		if r.Base != "" {
			continue // as the figure of the property that it repeats
		}
		p.chart(figure.Value(r, order, c.Reference), r.Name, &draw)
	}
	if err := p.listen(d.Listening, &draw); err != nil {
		return nil, err
	}
	p.section(true, "summary", "Summary")
	p.section(true, "differences", "Differences")
	p.section(p.Overlays != nil, "response", "Responses")
	p.section(p.Listening != nil, "listen", "Listen")
	p.section(p.Charts != nil, "charts", "Value by value")
	p.section(true, "provenance", "Provenance")
	if err := p.finish(&draw); err != nil {
		return nil, fmt.Errorf("figures of the comparison: %w", err)
	}
	return p, nil
}

// deltas fills in the differences of all rows in one property.
func (p *comparisonPage) deltas(r comparison.Row, order []int) {
	column := notation.Each(order, func(i int) fit.Quantity { return r.Differences[i].Delta })
	for row, text := range notation.Differences(words.UnitOf(r.Property), column...) {
		diff, cell := r.Differences[order[row]], markedCell{Text: notation.Tied(text)}
		if diff.Delta.Known() {
			note := strings.TrimPrefix(notation.Change(diff.Percent)+", En "+notation.En(diff.En), ", ")
			cell.Note, cell.Marked = notation.Tied(note), diff.Verdict == comparison.Differs
		}
		p.Rows[row].Deltas = append(p.Rows[row].Deltas, cell)
	}
}
