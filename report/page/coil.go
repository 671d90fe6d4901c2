package page

import (
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/harness"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/sound"
	"coilsweep/report/words"
)

// CoilDocument is what report.html is made from.
type CoilDocument struct {
	Result  fit.Result
	Coil    capture.Coil
	Takes   []capture.Take
	Account *fit.Account        // of all capacitance at the terminals; nil: not drawn up
	Harness *harness.Prediction // the coil in a guitar; nil: not asked for
	// Listening is that coil to hear; nil: not asked for.
	Listening *sound.Listening
	Made      time.Time // zero: not stated
	Program   string    // program and version that makes the page
}

var coilTemplate = framed(source("page.html"))

// Coil writes report.html: one file that needs nothing else, neither network
// nor script. A content security policy lets only the style and the script of
// the page itself through, by their checksums.
func Coil(w io.Writer, d CoilDocument) error {
	view, err := newCoilPage(d)
	return writePage(w, coilTemplate, view, err, fmt.Sprintf("report page of coil %q", d.Result.Coil))
}

// coilPage is what the template shows: the result, and texts that are ready.
type coilPage struct {
	frame
	Result  fit.Result
	Summary []string
	Numbers []words.Number
	Branch  *branchTable // nil: nothing of it is known

	Magnitude, Phase template.HTML
	Delay            template.HTML
	Values           []benchRow

	Takes        []takeRow
	ShapeColumns []string
	PeakColumns  []string
	Reasons      []string
	FlagMeanings []flagged

	Line            template.HTML
	Slope, Crossing string
	Residuals       []residual
	Noise           template.HTML
	Harmonics       template.HTML

	Correlation []benchRow
	Account     *fit.Account
	Harness     *inHarness

	CoilFacts []fact // what holds for all takes
	Bench     []capture.Take
	BenchRows []benchRow
	Checksums []benchRow // of audio and stimulus
}

type (
	flagged struct{ Name, Means string }
	takeRow struct {
		named
		Load, SN    string
		Shape, Peak []string // Peak in a table of its own
		Flags       []flagged
		Used        bool
	}
	residual struct {
		Name, Outside string
		Glyph, SVG    template.HTML
	}
	branchTable struct {
		Title   string
		Columns []string
		Rows    []branchRow
		Reasons []string
	}
	branchRow struct {
		Name, Note string
		Cells      []string
	}
)

func newCoilPage(d CoilDocument) (*coilPage, error) {
	r := d.Result
	r.Budget = words.Budgets(r.Budget)
	coil := notation.Visible(r.Coil)
	p := &coilPage{frame: newFrame("Coil report", coil, ""), Result: r, Summary: words.Result(r),
		Numbers: words.Numbers(r), Branch: newBranchTable(r),
		Correlation: correlations(r.Covariance), Bench: d.Takes}
	p.Title = coil + ": coil report"
	p.about(d)
	p.takeRows(r)

	var draw drawing
	if takes := figure.Takes(r); len(takes) > 0 {
		p.curves(takes, &draw)
	}
	if r.Line != nil && r.Line.Slope.Known() && r.Line.AxisCrossing.Known() {
		p.Line = draw.both(func(s figure.Shape) *plot.Figure { return figure.Line(r, figure.Styles(r), s) })
		p.Slope = notation.Tied(notation.WithU95(r.Line.Slope, quantity.Henry))
		p.Crossing = notation.Tied(notation.WithU95(r.Line.AxisCrossing, quantity.Farad))
	}
	if d.Harness != nil {
		p.inHarness(*d.Harness, &draw)
	}
	if err := p.listen(d.Listening, &draw); err != nil {
		return nil, err
	}
	if draw.err != nil {
		return nil, fmt.Errorf("figures of coil %q: %w", r.Coil, draw.err)
	}
	if p.Magnitude != "" {
		p.Data = template.JS(draw.columns.JSON())
	}

	if a := d.Account; a != nil && len(a.Lines) > 0 {
		p.Account = a
	}
	p.bench(d)
	p.origin(d)
	p.section(true, "numbers", "Summary")
	p.section(p.Magnitude != "", "response", "Response")
	p.section(len(p.Takes) > 0, "takes", "Takes")
	p.section(p.Line != "", "line", "L and C")
	p.section(len(p.Residuals) > 0, "residuals", "Residuals")
	p.section(p.Noise != "", "noise", "Noise")
	p.section(p.Harmonics != "", "harmonics", "Distortion")
	p.section(true, "circuit", "Model")
	p.section(p.HasUncertainty(), "budget", "Uncertainty")
	p.section(p.Account != nil, "account", "Capacitance")
	p.section(len(r.Meter) > 0, "meter", "Meter")
	p.section(p.Harness != nil, "harness", "In a guitar")
	p.section(p.Listening != nil, "listen", "Listen")
	p.section(len(p.CoilFacts)+len(p.BenchRows) > 0, "bench", "Bench")
	p.section(true, "provenance", "Provenance")
	return p, nil
}

func (p *coilPage) about(d CoilDocument) {
	add := func(s string) {
		if s = strings.TrimSpace(notation.Visible(s)); s != "" {
			p.About = append(p.About, s)
		}
	}
	add(words.Identity(d.Result.About))
	add(d.Coil.Notes)
	if d.Coil.Wire != "" {
		add("wire: " + d.Coil.Wire)
	}
	if !d.Made.IsZero() {
		add("report of " + d.Made.Format("2 January 2006"))
	}
}

// AnySpread tells whether any of the numbers has its uncertainty.
func (p *coilPage) AnySpread() bool {
	return slices.ContainsFunc(p.Numbers, func(n words.Number) bool {
		if !n.Quantity.Known() {
			return false
		}
		_, spread := notation.Apart(n.Quantity, n.Unit)
		return spread != ""
	})
}

// newBranchTable is the winding at the frequencies of meters; nil where nothing of
// it is known.
func newBranchTable(r fit.Result) *branchTable {
	points := words.Branch(r)
	if points == nil {
		return nil
	}
	var n notation.Notes
	t := &branchTable{Title: words.BranchTitle}
	for _, point := range points {
		frequency, note := words.BranchPlace(point)
		t.Rows = append(t.Rows, branchRow{Name: notation.Tied(frequency), Note: note})
	}
	for _, c := range words.BranchColumns {
		t.Columns = append(t.Columns, c.Name)
		for i, cell := range n.Cells(c.Unit, notation.Each(points, c.Of)...) {
			t.Rows[i].Cells = append(t.Rows[i].Cells, notation.Tied(cell))
		}
	}
	t.Reasons = n.Reasons()
	return t
}

func (p *coilPage) takeRows(r fit.Result) {
	var n notation.Notes
	shape, peak := make([][]string, len(r.Takes)), make([][]string, len(r.Takes))
	fill := func(columns []words.Column[fit.TakeResult], rows [][]string) (names []string) {
		for _, c := range columns {
			names = append(names, c.Name)
			for i, cell := range n.Cells(c.Unit, notation.Each(r.Takes, c.Of)...) {
				rows[i] = append(rows[i], cell)
			}
		}
		return names
	}
	p.ShapeColumns, p.PeakColumns = fill(words.ShapeColumns, shape), fill(words.PeakColumns, peak)
	p.Reasons = n.Reasons()
	meanings := map[string]bool{}
	for i, load := range words.Loads(r.Takes) {
		t := r.Takes[i]
		row := takeRow{named: newNamed(notation.Visible(t.Name), "", glyph(i)), Load: load, Used: t.Used,
			SN:    words.SN(t),
			Shape: shape[i], Peak: peak[i]}
		for _, name := range words.Flags(t) {
			means := words.FlagMeaning(name)
			row.Flags = append(row.Flags, flagged{name, means})
			if means != "" && !meanings[name] {
				meanings[name] = true
				p.FlagMeanings = append(p.FlagMeanings, flagged{name, means})
			}
		}
		p.Takes = append(p.Takes, row)
	}
}

func (p *coilPage) curves(takes []figure.Take, draw *drawing) {
	p.Magnitude = draw.both(func(s figure.Shape) *plot.Figure { return figure.Magnitude(takes, s) })
	p.Phase = draw.both(func(s figure.Shape) *plot.Figure { return figure.Phase(takes, s) })
	p.Delay = draw.both(func(s figure.Shape) *plot.Figure { return figure.Delay(takes, s) })
	p.Noise = draw.both(func(s figure.Shape) *plot.Figure { return figure.Noise(takes, s) })
	for n := range figure.Harmonics(takes, figure.Wide) {
		p.Harmonics += draw.both(func(s figure.Shape) *plot.Figure { return figure.Harmonics(takes, s)[n] })
	}
	p.KeyColumns = []string{"take", "measured", "U95", "fit", "phase", "U95", "noise floor"}
	p.Layers = []fact{{"curve", "fit"}, {"measured", "measured"}, {"band", "U95"}}
	x, bound := figure.FrequencyAxis(takes), figure.ResidualBound(takes)
	for _, t := range takes {
		c, of := t.Curve, &draw.columns
		name := notation.Visible(t.Take.Name)
		p.Keys = append(p.Keys, key{
			Group: t.Group, Name: shortName(name), Full: name, Glyph: glyph(t.Style), X: of.Number(c.FrequencyHz),
			Columns: []cursorColumn{{of.Number(c.MagnitudeDB), "dB"}, {of.Number(c.MagnitudeU95DB), "± dB"},
				{of.Number(c.FitMagnitudeDB), "dB"}, {of.Number(c.PhaseDeg), "°"}, {of.Number(c.PhaseU95Deg), "± °"},
				{of.Number(c.NoiseFloorDB), "dB"}},
		})
		if t.ResidualRe == nil {
			continue
		}
		outside, n := t.Outside()
		p.Residuals = append(p.Residuals, residual{
			Name: shortName(name), Glyph: glyph(t.Style), SVG: draw.small(figure.Residual(t, x, bound), "res"),
			Outside: fmt.Sprintf("%d of %d beyond 2 u (%s; 4.6 %% expected)", outside, n,
				notation.Percent(100*float64(outside)/float64(max(n, 1)))),
		})
	}
	p.Values = valueRows(takes)
}

// preferredHz are the preferred frequencies in steps of a third of an octave,
// ISO 266:1997, 20 Hz to 20 kHz (from memory).
var preferredHz = []float64{20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800,
	1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000}

// valueRows are the measured magnitudes in numbers, each at the measured
// point next to the preferred frequency; rows without any are left out.
func valueRows(takes []figure.Take) []benchRow {
	var rows []benchRow
	for _, hz := range preferredHz {
		row := benchRow{Name: notation.Nominal(hz, quantity.Hertz)}
		any := false
		for _, t := range takes {
			text := notation.None
			if i := nearest(t.Curve.FrequencyHz, hz); i >= 0 && i < len(t.Curve.MagnitudeDB) {
				text = quantity.Minus(strconv.FormatFloat(t.Curve.MagnitudeDB[i], 'f', 2, 64))
				any = true
			}
			row.Cells = append(row.Cells, text)
		}
		if any {
			rows = append(rows, row)
		}
	}
	return rows
}

// nearest is the index of the frequency nearest to hz, -1 where none lies
// within a twelfth of an octave.
func nearest(frequencies []float64, hz float64) int {
	best, at := 1.0/12, -1
	for i, f := range frequencies {
		if d := math.Abs(math.Log2(f / hz)); d < best {
			best, at = d, i
		}
	}
	return at
}

// OverBest is how far the BIC of a model lies over that of the best.
func (p *coilPage) OverBest(t fit.Tried) float64 {
	byBIC := func(a, b fit.Tried) int { return cmp.Compare(a.BIC, b.BIC) }
	return t.BIC - slices.MinFunc(p.Result.Model.Tried, byBIC).BIC
}

// partCells are a known part as stated and as fitted, and how far it was moved.
func partCells(q fit.Part) []string {
	unit := quantity.Unit(q.Unit)
	scale := quantity.ScaleWithU95(q.Nominal, quantity.Coverage95*q.U, unit)
	return []string{scale.FormatWithU95(q.Nominal, quantity.Coverage95*q.U, unit),
		scale.Format(q.Fitted, unit, notation.DigitsDownTo(q.Fitted, q.U)),
		quantity.Minus(fmt.Sprintf("%+.1f u", q.Pull))}
}

// readingCells are a meter's reading, what the fit expects of it, and their En number.
func readingCells(m fit.MeterResult) []string {
	unit := words.MeterUnit(m.What)
	return []string{quantity.FormatWithU95(m.Reading, m.U95, unit), orWhy(m.Expected, unit), notation.En(m.En)}
}

// NewCoilDocument is what the page of a coil is made from: an evaluation with its
// circuit; made is the date on it.
func NewCoilDocument(e *evaluation.Evaluation, made time.Time, program string) (CoilDocument, error) {
	d := CoilDocument{Result: *e.Result, Coil: e.Folder.Coil, Takes: e.Takes, Made: made, Program: program}
	var err error
	d.Account, err = e.Fitted().Account(fit.Terminals{})
	return d, err
}
