package page

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"coilsweep/fit/comparison"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// ComparisonDocument is what a comparison page is made from. Results that
// carry curves are overlaid.
type ComparisonDocument struct {
	Comparison *comparison.Comparison
	SortKey    string    // one of words.ComparisonKeys
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
	Properties []string
	Rows       []comparedRow
	Reasons    []string
	Remarks    []string
	Rests      []benchRow
}

type comparedRow struct {
	Name, Folder    string
	Glyph           template.HTML
	Reference, Long bool
	Cells           []comparedCell
}

type comparedCell struct {
	Value, Delta, Note string
	Differs            bool
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
	var n notation.Notes
	for _, r := range c.Rows {
		p.Properties = append(p.Properties, r.Name)
	}
	for _, i := range order {
		row := comparedRow{Name: notation.Tied(names[i]), Folder: notation.Visible(c.Coils[i].Folder), Glyph: glyphOf(styles[i]), Reference: i == c.Reference, Long: len([]rune(names[i])) > 24}
		for _, r := range c.Rows {
			diff := r.Differences[i]
			cell := comparedCell{Value: notation.Tied(n.Cell(r.Values[i], words.UnitOf(r.Property))), Delta: notation.None}
			if diff.Delta.Known() {
				cell.Delta = notation.Tied(notation.Difference(diff.Delta, words.UnitOf(r.Property)))
				cell.Note = notation.Tied(strings.TrimPrefix(notation.Percent(diff.Percent)+", En "+notation.En(diff.En), ", "))
				cell.Differs = diff.Verdict == comparison.Differs
			}
			row.Cells = append(row.Cells, cell)
		}
		p.Rows = append(p.Rows, row)
		result := c.Coils[i].Result
		p.Rests = append(p.Rests, benchRow{names[i], []string{notation.Visible(c.Coils[i].Folder), notation.Visible(result.Model.Name), strings.Join(notation.VisibleAll(result.Basis), "; ")}})
	}
	for i, why := range n.Reasons {
		p.Reasons = append(p.Reasons, reasonWords(i, why))
	}
	for _, s := range words.Comparison(c, names) {
		p.Summary = append(p.Summary, notation.Tied(s))
	}
	for _, r := range c.Remarks {
		p.Remarks = append(p.Remarks, notation.UpperFirst(r)+".")
	}
	var draw drawing
	p.overlays(c.Coils, names, order, styles, &draw)
	for _, r := range c.Rows {
		p.chart(figure.Value(r, order, c.Reference), r.Name, &draw)
	}
	if draw.err != nil {
		return nil, fmt.Errorf("figures of the comparison: %w", draw.err)
	}
	if p.Overlays != nil {
		p.Data = template.JS(draw.columns.JSON())
	}
	p.Sections = []section{{"summary", "Summary"}, {"differences", "Differences"}}
	if p.Overlays != nil {
		p.Sections = append(p.Sections, section{"response", "Responses"})
	}
	if p.Charts != nil {
		p.Sections = append(p.Sections, section{"values", "Value by value"})
	}
	p.Sections = append(p.Sections, section{"provenance", "Provenance"})
	return p, nil
}
