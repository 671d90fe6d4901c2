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
	"coilsweep/report/words"
)

// ComparisonDocument is what a comparison page is made from. Results that
// carry curves are overlaid.
type ComparisonDocument struct {
	Comparison *comparison.Comparison
	SortKey    string    // one of Comparison.SortKeys
	Made       time.Time // zero: not stated
	Program    string
}

var (
	//go:embed comparison.html
	comparisonHTML string
	//go:embed many.css
	manyCSS string

	comparisonTemplate = framed(comparisonHTML)
)

// Comparison writes one page, in the manner of Coil.
func Comparison(w io.Writer, d ComparisonDocument) error {
	view, err := newComparisonPage(d)
	if err != nil {
		return err
	}
	return writePage(w, comparisonTemplate, view, "comparison page")
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
			notation.Visible(coil.Result.Model.Name), strings.Join(notation.TypesetAll(coil.Result.Basis), "; ")}})
	}
	var properties []comparison.Property
	for _, r := range c.Rows {
		properties = append(properties, r.Property)
		p.deltas(r, order)
	}
	p.table(properties, func(property int) (column []fit.Quantity) {
		for _, i := range order {
			column = append(column, c.Rows[property].Values[i])
		}
		return column
	}, func(property, row int) bool { return false })
	for _, s := range words.Comparison(c, names) {
		p.Summary = append(p.Summary, notation.Tied(s))
	}
	p.Remarks = words.Remarks(c)
	var draw drawing
	p.overlays(c.Coils, names, order, styles, &draw)
	for _, r := range c.Rows {
		if r.Base != "" {
			continue // as the figure of the property that it repeats
		}
		p.chart(figure.Value(r, order, c.Reference), r.Name, &draw)
	}
	err := p.finish(&draw, section{"summary", "Summary"}, section{"differences", "Differences"},
		section{"response", "Responses"},
		section{"charts", "Value by value"}, section{"provenance", "Provenance"})
	if err != nil {
		return nil, fmt.Errorf("figures of the comparison: %w", err)
	}
	return p, nil
}

// deltas fills in the differences of all rows in one property.
func (p *comparisonPage) deltas(r comparison.Row, order []int) {
	var column []fit.Quantity
	for _, i := range order {
		column = append(column, r.Differences[i].Delta)
	}
	for row, text := range notation.Differences(words.UnitOf(r.Property), column...) {
		diff, cell := r.Differences[order[row]], markedCell{Text: notation.Tied(text)}
		if diff.Delta.Known() {
			note := strings.TrimPrefix(notation.Change(diff.Percent)+", En "+notation.En(diff.En), ", ")
			cell.Note, cell.Marked = notation.Tied(note), diff.Verdict == comparison.Differs
		}
		p.Rows[row].Deltas = append(p.Rows[row].Deltas, cell)
	}
}
