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
	"coilsweep/fit"
	"coilsweep/fit/comparison"
	"coilsweep/report/plot"
)

// ComparisonDocument is what a comparison page is made from. Results that
// carry curves are overlaid.
type ComparisonDocument struct {
	Comparison *comparison.Comparison
	SortKey    string    // one of SortKeys
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

// ComparisonPage writes one page, in the manner of Page.
func ComparisonPage(w io.Writer, d ComparisonDocument) error {
	view, err := newComparisonPage(d)
	if err != nil {
		return err
	}
	return writePage(w, comparisonTemplate, view, "comparison page")
}

// manyPage is what the pages about several coils have in common.
type manyPage struct {
	frame
	Summary     []string
	Overlays    []titled
	OverlayNote string
	Charts      []titled
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

func newManyPage(kind, title, program string, made time.Time) manyPage {
	p := manyPage{frame: newFrame(kind, title, manyCSS)}
	p.madeAt(made, program)
	return p
}

func newComparisonPage(d ComparisonDocument) (*comparisonPage, error) {
	c := d.Comparison
	names := coilNames(c.Coils)
	order := comparisonOrder(c, d.SortKey)
	title := fmt.Sprintf("%s against %s", countOf(len(c.Coils), "coil"), names[c.Reference])
	if len(c.Coils) == 2 {
		title = names[1-c.Reference] + " against " + names[c.Reference]
	}
	p := &comparisonPage{manyPage: newManyPage("Comparison of coils", title, d.Program, d.Made)}
	styles := styleCoils(c, order)
	var n notes
	for _, r := range c.Rows {
		p.Properties = append(p.Properties, r.Name)
	}
	for _, i := range order {
		row := comparedRow{Name: tied(names[i]), Folder: visible(c.Coils[i].Folder), Glyph: styles[i].glyph(), Reference: i == c.Reference, Long: len([]rune(names[i])) > 24}
		for _, r := range c.Rows {
			diff := r.Differences[i]
			cell := comparedCell{Value: tied(n.cell(r.Values[i], unitOf(r.Property))), Delta: signNone}
			if diff.Delta.Known() {
				cell.Delta = tied(differenceWords(diff.Delta, unitOf(r.Property)))
				cell.Note = tied(strings.TrimPrefix(percentWords(diff.Percent)+", En "+enWords(diff.En), ", "))
				cell.Differs = diff.Verdict == comparison.Differs
			}
			row.Cells = append(row.Cells, cell)
		}
		p.Rows = append(p.Rows, row)
		result := c.Coils[i].Result
		p.Rests = append(p.Rests, benchRow{names[i], []string{visible(c.Coils[i].Folder), visible(result.Model.Name), strings.Join(visibleAll(result.Basis), "; ")}})
	}
	for i, why := range n.reasons {
		p.Reasons = append(p.Reasons, reasonWords(i, why))
	}
	for _, s := range comparisonWords(c, names) {
		p.Summary = append(p.Summary, tied(s))
	}
	for _, r := range c.Remarks {
		p.Remarks = append(p.Remarks, upperFirst(r)+".")
	}
	var draw drawing
	p.overlays(c.Coils, names, order, styles, &draw)
	for _, r := range c.Rows {
		p.chart(valueFigure(r, order, c.Reference), r.Name, &draw)
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

// mostSaid bounds the differences of one coil in the summary.
const mostSaid = 3

// comparisonWords are the summary: per coil what differs, the largest first.
func comparisonWords(c *comparison.Comparison, names []string) []string {
	var out []string
	for i := range c.Coils {
		if i == c.Reference {
			continue
		}
		type found struct {
			words string
			en    float64
		}
		var differs []found
		var open []string
		for _, r := range c.Rows {
			d := r.Differences[i]
			if d.Verdict == comparison.Open {
				open = append(open, r.Name)
			}
			if d.Verdict != comparison.Differs {
				continue
			}
			words := r.Name + " by " + differenceWords(d.Delta, unitOf(r.Property))
			if percent := percentWords(d.Percent); percent != "" {
				words += " (" + percent + ")"
			}
			differs = append(differs, found{words, math.Abs(*d.En)})
		}
		slices.SortStableFunc(differs, func(a, b found) int {
			if a.en > b.en {
				return -1
			}
			return 1
		})
		var words []string
		for _, d := range differs[:min(len(differs), mostSaid)] {
			words = append(words, d.words)
		}
		if more := len(differs) - len(words); more > 0 {
			words = append(words, fmt.Sprintf("and in %d more", more))
		}
		switch {
		case len(open) == len(c.Rows):
			out = append(out, names[i]+" cannot be compared: too little is known of it or of the reference.")
		case words == nil:
			out = append(out, names[i]+" agrees with "+names[c.Reference]+" in all that was measured, within the uncertainty.")
		default:
			out = append(out, names[i]+" differs in "+strings.Join(words, ", ")+".")
		}
		if 0 < len(open) && len(open) < len(c.Rows) {
			out[len(out)-1] += " Not comparable: " + strings.Join(open, ", ") + "."
		}
		if len(out) == 8 && len(c.Coils) > 10 {
			out = append(out, fmt.Sprintf("The tables below show the other %d.", len(c.Coils)-1-len(out)))
			break
		}
	}
	return out
}

// coilStyle is how a coil is drawn: with a style of its own, or as one of many.
type coilStyle struct {
	style int
	own   bool
	group string
}

func (s coilStyle) glyph() template.HTML {
	if !s.own {
		return ""
	}
	return glyph(s.style)
}

// styleCoils gives styles: all have their own while there are enough; else
// the reference and those that are furthest from it.
func styleCoils(c *comparison.Comparison, order []int) []coilStyle {
	styles := make([]coilStyle, len(c.Coils))
	for i := range styles {
		styles[i].group = "t" + strconv.Itoa(i)
	}
	chosen := order
	if len(order) > plot.Styles {
		far := func(i int) float64 {
			most := 0.0
			for _, r := range c.Rows {
				if en := r.Differences[i].En; en != nil {
					most = math.Max(most, math.Abs(*en))
				}
			}
			return most
		}
		ranked := slices.DeleteFunc(slices.Clone(order), func(i int) bool { return i == c.Reference })
		slices.SortStableFunc(ranked, func(a, b int) int {
			if far(a) > far(b) {
				return -1
			}
			return 1
		})
		chosen = append([]int{c.Reference}, ranked[:5]...)
	}
	for n, i := range chosen {
		styles[i].style, styles[i].own = n, true
	}
	return styles
}

// overlayPoints bounds the points of a curve where many are overlaid.
const overlayPoints = 400

// mostOverlays bounds the loads for which responses are overlaid.
const mostOverlays = 3

// overlays draws the responses of all coils with the same load.
func (p *manyPage) overlays(coils []comparison.Coil, names []string, order []int, styles []coilStyle, draw *drawing) {
	loads := comparison.CommonLoads(coils)
	for n, load := range loads[:min(len(loads), mostOverlays)] {
		curves := make([]*fit.Curve, len(coils))
		for i, coil := range coils {
			if t, ok := comparison.TakeWith(coil.Result, load); ok && t.Curve != nil {
				curves[i] = thinnedTo(t.Curve, overlayPoints)
			}
		}
		if slices.Contains(curves, nil) {
			continue
		}
		title := upperFirst(load.String())
		p.Overlays = append(p.Overlays, titled{title, draw.both(func(s shape) *plot.Figure {
			return overlayFigure(n, title, curves, names, order, styles, s)
		})})
		if p.Keys != nil {
			continue
		}
		p.KeyColumns = []string{"coil", title, "U95"}
		for _, i := range order {
			p.Keys = append(p.Keys, key{
				Group: styles[i].group, Name: shortName(names[i]), Full: names[i], Glyph: styles[i].glyph(), X: draw.columns.Number(curves[i].FrequencyHz),
				Columns: []cursorColumn{{draw.columns.Number(curves[i].MagnitudeDB), "dB"}, {draw.columns.Number(curves[i].MagnitudeU95DB), "± dB"}},
			})
		}
	}
	if slices.ContainsFunc(styles, func(s coilStyle) bool { return !s.own }) {
		p.OverlayNote = "The thin lines are the coils that are not named at the side; the switches show which is which."
	}
}

// overlayFigure is one load's responses: coils with a style of their own as
// curves with their names, the others as thin lines behind them.
func overlayFigure(n int, title string, curves []*fit.Curve, names []string, order []int, styles []coilStyle, s shape) *plot.Figure {
	var all []drawn
	for _, c := range curves {
		all = append(all, drawn{curve: c})
	}
	f := frequencyFigure("overlay"+strconv.Itoa(n), "Responses, "+strings.ToLower(title), all, s, s.height+20)
	e := nothing()
	for _, c := range curves {
		e.take(c.MagnitudeDB)
	}
	for _, own := range []bool{false, true} {
		for _, i := range order {
			if styles[i].own != own {
				continue
			}
			series := plot.Series{Kind: plot.Trace, Style: styles[i].style, Group: styles[i].group, X: curves[i].FrequencyHz, Y: curves[i].MagnitudeDB}
			if own {
				series.Kind, series.Name, series.Half = plot.Curve, names[i], curves[i].MagnitudeU95DB
			}
			f.Series = append(f.Series, series)
		}
	}
	e.lo = math.Max(e.lo, e.hi-90)
	f.Y = e.axis("magnitude, dB over the low-frequency plateau", 20)
	f.Description = sentence(fmt.Sprintf("Magnitude over frequency for %s, %s", countOf(len(curves), "coil"), strings.ToLower(title)))
	return f
}

// chart adds a small figure to the page; nil is left out.
func (p *manyPage) chart(f *plot.Figure, title string, draw *drawing) {
	if f == nil || draw.err != nil {
		return
	}
	var b strings.Builder
	draw.err = f.WriteSVG(&b, nil)
	p.Charts = append(p.Charts, titled{title, template.HTML(b.String())})
}

// scaled chooses the prefix in which values of a unit are drawn, by the
// largest of them: the factor and the unit with its prefix.
func scaled(largest float64, unit quantity.Unit) (factor float64, symbol string) {
	if unit == ratio || unit == decibel || !(largest > 0) {
		return 1, string(unit)
	}
	text := quantity.Format(largest, unit, 3)
	mantissa, symbol, _ := strings.Cut(text, " ")
	x, err := strconv.ParseFloat(mantissa, 64)
	if err != nil || x == 0 {
		return 1, string(unit)
	}
	return math.Pow(10, math.Round(math.Log10(x/largest))), symbol
}

// axisName is a property with the unit of its axis.
func axisName(name, symbol string) string {
	if symbol == "" {
		return name
	}
	return name + ", " + symbol
}

// valueFigure shows one property of all coils beside each other, with the
// reference as lines; nil where less than two are known.
func valueFigure(r comparison.Row, order []int, reference int) *plot.Figure {
	largest, known := 0.0, 0
	for _, q := range r.Values {
		if q.Known() {
			known++
			largest = math.Max(largest, math.Abs(q.Value))
		}
	}
	if known < 2 {
		return nil
	}
	factor, symbol := scaled(largest, unitOf(r.Property))
	f := &plot.Figure{ID: "value-" + strings.ReplaceAll(r.Key, "_", "-"), Title: upperFirst(r.Name) + " of each coil", Width: 420, Height: 240,
		X: plot.Axis{Label: "coil, by its place in the table", Whole: true, Min: 0.3, Max: float64(len(order)) + 0.7}}
	e := nothing()
	for place, i := range order {
		q := r.Values[i]
		if !q.Known() {
			continue
		}
		half := q.U95 * factor
		if math.IsInf(half, 0) || math.IsNaN(half) {
			half = 0
		}
		e.take([]float64{q.Value*factor - half, q.Value*factor + half})
		style := 0
		if r.Differences[i].Verdict == comparison.Differs {
			style = 1
		}
		if i == reference {
			style = -1
		}
		f.Marks = append(f.Marks, plot.Mark{X: float64(place + 1), Y: q.Value * factor, YHalf: half, Style: style})
	}
	if q := r.Values[reference]; q.Known() {
		for _, y := range []float64{q.Value - q.U95, q.Value + q.U95} {
			f.Series = append(f.Series, plot.Series{Kind: plot.Floor, X: []float64{f.X.Min, f.X.Max}, Y: []float64{y * factor, y * factor}})
		}
		f.Series = append(f.Series, plot.Series{Kind: plot.Guide, X: []float64{f.X.Min, f.X.Max}, Y: []float64{q.Value * factor, q.Value * factor}})
	}
	f.Y = e.axis(axisName(r.Name, symbol), 1e-6*largest*factor)
	f.Description = sentence(fmt.Sprintf("%s of %s with error bars of U95, against the reference as lines", upperFirst(r.Name), countOf(known, "coil")))
	return f
}
