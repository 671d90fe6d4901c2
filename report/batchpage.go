package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"coilsweep/excite/quantity"
	"coilsweep/fit/batch"
	"coilsweep/fit/comparison"
	"coilsweep/report/plot"
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

// BatchPage writes one page, in the manner of Page.
func BatchPage(w io.Writer, d BatchDocument) error {
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
	p := &batchPage{manyPage: newManyPage("Batch report", "Batch of "+countOf(len(b.Coils), "coil"), d.Program, d.Made)}
	if d.Limits != "" {
		p.Provenance = append(p.Provenance, fact{"limits", visible(d.Limits)})
	}
	for _, s := range batchWords(b) {
		p.Summary = append(p.Summary, tied(s))
	}
	for _, c := range b.Coils {
		if c.Suspicion.Findings != nil {
			p.Alarms = append(p.Alarms, tied(visible(c.Name)+" stands out: "+c.Suspicion.String()+"."))
		}
	}
	p.Alarms = append(p.Alarms, signalWords(b)...)
	for _, one := range b.Properties {
		p.Properties = append(p.Properties, one.Name)
		unit := unitOf(one.Property)
		p.Spreads = append(p.Spreads, benchRow{one.Name, []string{tied(centre(one, one.Median)), tied(spreadOf(one, betweenSD(one))),
			tied(spreadOf(one, repeatSD(one))), tied(spreadOf(one, quantity.Coverage95*one.MeasurementU)), tied(limitWords(one.Limits, unit))}})
		freedom, f, probability := signNone, signNone, signNone
		if a := one.Anova; a != nil {
			freedom, f, probability = fmt.Sprintf("%d, %d", a.BetweenDF, a.WithinDF), ratioWords(a.F), strings.TrimPrefix(probabilityWords(a.P), "P ")
		}
		p.Statistics = append(p.Statistics, benchRow{one.Name, []string{strconv.Itoa(one.Known), tied(centre(one, one.Mean)), tied(spreadOf(one, one.SD)),
			tied(centre(one, one.Median)), tied(spreadOf(one, one.RobustSD)), tied(spreadOf(one, repeatSD(one))), tied(spreadOf(one, anovaBetween(one))), freedom, f, probability}})
	}
	styles := styleBatch(b)
	var n notes
	for i, coil := range b.Coils {
		first := b.Specimens[coil.Specimens[0]]
		name := visible(coil.Name)
		row := batchRow{Name: tied(name), Folder: visible(first.Folder), Glyph: styles[i].glyph(), Long: len([]rune(name)) > 24,
			Verdict: coilVerdict(b, i), Failed: b.Judged && coil.Verdict == batch.Fail}
		for _, one := range b.Properties {
			row.Cells = append(row.Cells, comparedCell{Value: tied(n.cell(one.Values[i], unitOf(one.Property))), Differs: one.Outlying(i)})
		}
		p.Rows = append(p.Rows, row)
	}
	for i, why := range n.reasons {
		p.Reasons = append(p.Reasons, reasonWords(i, why))
	}
	p.Remarks = batchRemarks(b)

	var draw drawing
	for _, one := range b.Properties {
		p.chart(controlFigure(one), one.Name, &draw)
	}
	var coils []comparison.Coil
	var names []string
	var order []int
	for i, c := range b.Coils {
		coils = append(coils, b.Specimens[c.Specimens[0]].Coil)
		names = append(names, visible(c.Name))
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

// styleBatch gives styles of their own to coils that fail or stand out, in the
// order of how far; the others are thin lines in the style left for them.
func styleBatch(b *batch.Batch) []coilStyle {
	styles := make([]coilStyle, len(b.Coils))
	var marked []int
	far := make([]float64, len(b.Coils))
	for i, c := range b.Coils {
		styles[i].group = "t" + strconv.Itoa(i)
		for _, p := range b.Properties {
			if p.Outlying(i) {
				far[i] = math.Max(far[i], math.Abs(p.Scores[i]))
			}
		}
		if far[i] > 0 || b.Judged && c.Verdict == batch.Fail {
			marked = append(marked, i)
		}
	}
	slices.SortStableFunc(marked, func(x, y int) int {
		if far[x] > far[y] {
			return -1
		}
		return 1
	})
	for n, i := range marked[:min(len(marked), plot.Styles-1)] {
		styles[i].style, styles[i].own = n+1, true
	}
	return styles
}

// controlFigure is a property's control chart; nil where there is none.
func controlFigure(p batch.Property) *plot.Figure {
	c := p.Chart
	if c == nil {
		return nil
	}
	largest := 0.0
	for _, v := range c.Values {
		largest = math.Max(largest, math.Abs(v))
	}
	factor, symbol := scaled(largest, unitOf(p.Property))
	f := &plot.Figure{ID: "chart-" + strings.ReplaceAll(p.Key, "_", "-"), Title: "Control chart of " + p.Name, Width: 420, Height: 240,
		X: plot.Axis{Label: "coil, in the order of time", Whole: true, Min: 0.3, Max: float64(len(c.Values)) + 0.7}}
	e := nothing()
	e.take([]float64{c.Lower * factor, c.Upper * factor})
	for n, v := range c.Values {
		half := p.Values[p.Charted[n]].U95 * factor
		if !(half >= 0) || math.IsInf(half, 0) {
			half = 0
		}
		e.take([]float64{v*factor - half, v*factor + half})
		style := 0
		if slices.ContainsFunc(c.Signals, func(s batch.Signal) bool { return s.At == n }) {
			style = 1
		}
		f.Marks = append(f.Marks, plot.Mark{X: float64(n + 1), Y: v * factor, YHalf: half, Style: style})
	}
	level := func(kind plot.Kind, y float64) {
		f.Series = append(f.Series, plot.Series{Kind: kind, X: []float64{f.X.Min, f.X.Max}, Y: []float64{y * factor, y * factor}})
	}
	level(plot.Floor, c.Lower)
	level(plot.Floor, c.Upper)
	level(plot.Guide, c.Centre)
	f.Y = e.axis(axisName(p.Name, symbol), 1e-6*largest*factor)
	f.Description = sentence(fmt.Sprintf("%s of %s over time within control limits; %s", upperFirst(p.Name), countOf(len(c.Values), "coil"), countOf(len(c.Signals), "signal")))
	return f
}
