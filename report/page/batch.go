package page

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"coilsweep/excite/quantity"
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
	Properties []string
	Rows       []batchRow
	Reasons    []string
	Statistics []benchRow
	Remarks    []string
}

type batchRow struct {
	Name, Folder, Verdict string
	Glyph                 template.HTML
	Long, Failed          bool
	Cells                 []comparedCell
}

func newBatchPage(d BatchDocument) (*batchPage, error) {
	b := d.Batch
	p := &batchPage{manyPage: newManyPage("Batch report", "Batch of "+notation.Count(len(b.Coils), "coil"), d.Program, d.Made)}
	if d.Limits != "" {
		p.Provenance = append(p.Provenance, fact{"limits", notation.Visible(d.Limits)})
	}
	for _, s := range words.Batch(b) {
		p.Summary = append(p.Summary, notation.Tied(s))
	}
	for _, c := range b.Coils {
		if c.Suspicion.Findings != nil {
			p.Alarms = append(p.Alarms, notation.Tied(notation.Visible(c.Name)+" stands out: "+c.Suspicion.String()+"."))
		}
	}
	p.Alarms = append(p.Alarms, words.BatchSignals(b)...)
	for _, one := range b.Properties {
		p.Properties = append(p.Properties, one.Name)
		unit := words.UnitOf(one.Property)
		p.Spreads = append(p.Spreads, benchRow{one.Name, []string{notation.Tied(words.Centre(one, one.Median)), notation.Tied(words.Spread(one, words.BetweenSD(one))),
			notation.Tied(words.Spread(one, words.RepeatSD(one))), notation.Tied(words.Spread(one, quantity.Coverage95*one.MeasurementU)), notation.Tied(limitWords(one.Limits, unit))}})
		freedom, f, probability := notation.None, notation.None, notation.None
		if a := one.Anova; a != nil {
			freedom, f, probability = fmt.Sprintf("%d, %d", a.BetweenDF, a.WithinDF), words.VarianceRatio(a.F), strings.TrimPrefix(words.Probability(a.P), "P ")
		}
		p.Statistics = append(p.Statistics, benchRow{one.Name, []string{strconv.Itoa(one.Known), notation.Tied(words.Centre(one, one.Mean)), notation.Tied(words.Spread(one, one.SD)),
			notation.Tied(words.Centre(one, one.Median)), notation.Tied(words.Spread(one, one.RobustSD)), notation.Tied(words.Spread(one, words.RepeatSD(one))), notation.Tied(words.Spread(one, words.AnovaBetween(one))), freedom, f, probability}})
	}
	styles := figure.BatchStyles(b)
	var n notation.Notes
	for i, coil := range b.Coils {
		first := b.Specimens[coil.Specimens[0]]
		name := notation.Visible(coil.Name)
		row := batchRow{Name: notation.Tied(name), Folder: notation.Visible(first.Folder), Glyph: glyphOf(styles[i]), Long: len([]rune(name)) > 24,
			Verdict: words.Verdict(b, i), Failed: b.Judged && coil.Verdict == batch.Fail}
		for _, one := range b.Properties {
			row.Cells = append(row.Cells, comparedCell{Value: notation.Tied(n.Cell(one.Values[i], words.UnitOf(one.Property))), Differs: one.Outlying(i)})
		}
		p.Rows = append(p.Rows, row)
	}
	for i, why := range n.Reasons {
		p.Reasons = append(p.Reasons, reasonWords(i, why))
	}
	p.Remarks = words.BatchRemarks(b)

	var draw drawing
	for _, one := range b.Properties {
		p.chart(figure.Control(one), one.Name, &draw)
	}
	var coils []comparison.Coil
	var names []string
	var order []int
	for i, c := range b.Coils {
		coils = append(coils, b.Specimens[c.Specimens[0]].Coil)
		names = append(names, notation.Visible(c.Name))
		order = append(order, i)
	}
	if len(coils) <= mostOverlaid {
		p.overlays(coils, names, order, styles, &draw)
	}
	if draw.err != nil {
		return nil, fmt.Errorf("figures of the batch: %w", draw.err)
	}
	if p.Overlays != nil {
		p.Data, p.Folded = template.JS(draw.columns.JSON()), true
	}
	p.Sections = []section{{"summary", "Summary"}, {"coils", "Coils"}}
	if p.Charts != nil {
		p.Sections = append(p.Sections, section{"charts", "Over time"})
	}
	if p.Overlays != nil {
		p.Sections = append(p.Sections, section{"response", "Responses"})
	}
	p.Sections = append(p.Sections, section{"statistics", "Statistics"}, section{"provenance", "Provenance"})
	return p, nil
}

// mostOverlaid is the largest batch whose responses are drawn.
const mostOverlaid = 100

// limitWords are limits as text: "2.28 H … 2.52 H", "at least 3".
func limitWords(l *batch.Limits, unit quantity.Unit) string {
	digits := 4
	switch {
	case l == nil:
		return notation.None
	case math.IsInf(l.Lower, -1):
		return "at most " + notation.Plain(l.Upper, unit, digits)
	case math.IsInf(l.Upper, 1):
		return "at least " + notation.Plain(l.Lower, unit, digits)
	}
	return notation.Plain(l.Lower, unit, digits) + " … " + notation.Plain(l.Upper, unit, digits)
}
