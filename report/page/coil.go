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

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/words"
)

// CoilDocument is what report.html is made from.
type CoilDocument struct {
	Result  fit.Result
	Coil    capture.Coil
	Takes   []capture.Take
	Account *fit.Account        // of all capacitance at the terminals; nil: not drawn up
	Harness *harness.Prediction // the coil in a guitar; nil: not asked for
	Made    time.Time           // zero: not stated
	Program string              // program and version that makes the page
}

//go:embed page.html
var coilHTML string

var coilTemplate = framed(coilHTML)

// Coil writes report.html: one file that needs nothing else, neither network
// nor script. A content security policy lets only the style and the script of
// the page itself through, by their checksums.
func Coil(w io.Writer, d CoilDocument) error {
	view, err := newCoilPage(d)
	if err != nil {
		return err
	}
	return writePage(w, coilTemplate, view, fmt.Sprintf("report page of coil %q", d.Result.Coil))
}

// coilPage is what the template shows: texts, ready.
type coilPage struct {
	frame
	Summary  []string
	Numbers  []keyNumber
	Basis    string
	Warnings []string
	Advice   []string

	AnySpread bool

	Magnitude, Phase template.HTML
	Delay            template.HTML
	Values           []valueRow

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

	Model   string
	Eddy    []eddyRow
	Tried   []triedRow
	Parts   []partRow
	Budgets []budget
	Meter   []meterRow

	Correlation *correlation
	MonteCarlo  *distributions
	Account     *account
	Harness     *inHarness

	CoilFacts []fact // what holds for all takes
	Bench     []fact // only the names: one column a take
	BenchRows []benchRow
	Checksums []checksum
}

type (
	keyNumber struct{ Name, Symbol, Value, Spread, What, Why string }
	flagged   struct{ Name, Means string }
	checksum  struct{ Name, Audio, Stimulus string }
	valueRow  struct {
		Frequency string
		Values    []string
	}
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
	eddyRow  struct{ Name, Share, Corner string }
	triedRow struct {
		Name, Parameters, BIC, Chi2, Runs, Note string
		Chosen                                  bool
	}
	partRow struct {
		What, Nominal, Fitted, Pull string
		Suspect                     bool
	}
	benchRow struct {
		Name  string
		Cells []string
	}
)

func newCoilPage(d CoilDocument) (*coilPage, error) {
	r := d.Result
	coil := notation.Visible(r.Coil)
	p := &coilPage{frame: newFrame("Coil report", coil, "")}
	p.Title = coil + ": coil report"
	p.about(d)
	for _, s := range words.Result(r) {
		p.Summary = append(p.Summary, notation.Tied(s))
	}
	p.keyNumbers(r)
	p.Basis = strings.Join(notation.TypesetAll(r.Basis), "; ")
	p.Warnings = notation.TypesetAll(r.Warnings)
	for _, a := range r.Advice {
		p.Advice = append(p.Advice, notation.Typeset(a.Text))
	}
	p.takeRows(r)

	var draw drawing
	if takes := figure.Takes(r); len(takes) > 0 {
		p.curves(takes, &draw)
	}
	styles := map[string]int{}
	for i, t := range r.Takes {
		styles[t.Name] = i
	}
	if r.Line != nil && r.Line.Slope.Known() && r.Line.AxisCrossing.Known() {
		p.Line = draw.both(func(s figure.Shape) *plot.Figure { return figure.Line(r, styles, s) })
		p.Slope = notation.Tied(notation.WithU95(r.Line.Slope, quantity.Henry))
		p.Crossing = notation.Tied(notation.WithU95(r.Line.AxisCrossing, quantity.Farad))
	}
	if d.Harness != nil {
		p.inHarness(*d.Harness, &draw)
	}
	if draw.err != nil {
		return nil, fmt.Errorf("figures of coil %q: %w", r.Coil, draw.err)
	}
	if p.Magnitude != "" {
		p.Data = template.JS(draw.columns.JSON())
	}

	p.circuit(r)
	p.budgets(r.Budget)
	p.correlation(r.Covariance)
	p.monteCarlo(r.MonteCarlo)
	p.meter(r.Meter)
	p.account(d.Account)
	p.bench(d)
	p.provenance(d)
	p.sections()
	return p, nil
}

func (p *coilPage) about(d CoilDocument) {
	add := func(s string) {
		if s = strings.TrimSpace(notation.Visible(s)); s != "" {
			p.About = append(p.About, s)
		}
	}
	add(d.Coil.Notes)
	if d.Coil.Wire != "" {
		add("wire: " + d.Coil.Wire)
	}
	if !d.Made.IsZero() {
		add("report of " + d.Made.Format("2 January 2006"))
	}
}

func (p *coilPage) keyNumbers(r fit.Result) {
	for _, number := range words.Numbers(r) {
		n := newKeyNumber(notation.UpperFirst(number.Name), number.Symbol, number.Quantity, number.Unit, number.Note)
		p.AnySpread = p.AnySpread || n.Spread != ""
		p.Numbers = append(p.Numbers, n)
	}
}

func newKeyNumber(name, symbol string, q fit.Quantity, unit quantity.Unit, what string) keyNumber {
	n := keyNumber{Name: name, Symbol: symbol, What: what}
	if !q.Known() {
		n.Why = notation.Typeset(q.Why)
		return n
	}
	parts := notation.PartsOf(q, unit)
	n.Value, n.Spread = strings.TrimSpace(parts.Value+" "+parts.Unit), parts.Spread
	if parts.Spread != "" && parts.Unit+parts.Value != "" && !strings.Contains(parts.Spread, "…") {
		n.Spread = strings.TrimSpace("± " + parts.Spread + " " + parts.Unit)
	}
	return n
}

func (p *coilPage) takeRows(r fit.Result) {
	var n notation.Notes
	shape, peak := make([][]string, len(r.Takes)), make([][]string, len(r.Takes))
	fill := func(columns []words.Column[fit.TakeResult], rows [][]string) (names []string) {
		for _, c := range columns {
			names = append(names, c.Name)
			for i, cell := range notation.CellsOf(&n, c.Unit, r.Takes, c.Of) {
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
			means := words.FlagMeanings[name]
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
	p.Harmonics = draw.both(func(s figure.Shape) *plot.Figure { return figure.Harmonics(takes, s) })
	p.KeyColumns = []string{"take", "measured", "U95", "fit", "phase", "noise floor"}
	p.Layers = []layer{{"curve", "fit"}, {"measured", "measured"}, {"band", "U95"}}
	x, bound := figure.FrequencyAxis(takes), figure.ResidualBound(takes)
	for _, t := range takes {
		c, of := t.Curve, &draw.columns
		name := notation.Visible(t.Take.Name)
		p.Keys = append(p.Keys, key{
			Group: t.Group, Name: shortName(name), Full: name, Glyph: glyph(t.Style), X: of.Number(c.FrequencyHz),
			Columns: []cursorColumn{{of.Number(c.MagnitudeDB), "dB"}, {of.Number(c.MagnitudeU95DB), "± dB"},
				{of.Number(c.FitMagnitudeDB), "dB"}, {of.Number(c.PhaseDeg), "°"}, {of.Number(c.NoiseFloorDB), "dB"}},
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
func valueRows(takes []figure.Take) []valueRow {
	var rows []valueRow
	for _, hz := range preferredHz {
		row := valueRow{Frequency: notation.Nominal(hz, quantity.Hertz)}
		any := false
		for _, t := range takes {
			text := notation.None
			if i := nearest(t.Curve.FrequencyHz, hz); i >= 0 && i < len(t.Curve.MagnitudeDB) {
				text = quantity.Minus(strconv.FormatFloat(t.Curve.MagnitudeDB[i], 'f', 2, 64))
				any = true
			}
			row.Values = append(row.Values, text)
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

func (p *coilPage) circuit(r fit.Result) {
	p.Model = notation.UpperFirst(words.Model(r.Model)) + "."
	for i, e := range r.Eddy {
		p.Eddy = append(p.Eddy, eddyRow{words.EddyName(e, i), orWhy(e.Share, quantity.Ratio),
			orWhy(e.Corner, quantity.Hertz)})
	}
	best := math.Inf(1)
	for _, t := range r.Model.Tried {
		best = math.Min(best, t.BIC)
	}
	for _, t := range r.Model.Tried {
		p.Tried = append(p.Tried, triedRow{
			Name: notation.Visible(t.Name), Parameters: strconv.Itoa(t.Parameters),
			BIC:  "+" + strconv.FormatFloat(t.BIC-best, 'f', 1, 64),
			Chi2: strconv.FormatFloat(t.Chi2Reduced, 'g', 3, 64),
			Runs: quantity.Minus(fmt.Sprintf("%+.1f", t.RunsZ)),
			Note: notation.Typeset(t.Note), Chosen: t.Name == r.Model.Name,
		})
	}
	for _, q := range r.Parts {
		unit := quantity.Unit(q.Unit)
		scale := quantity.ScaleWithU95(q.Nominal, quantity.Coverage95*q.U, unit)
		p.Parts = append(p.Parts, partRow{
			What: notation.Visible(q.What), Nominal: scale.FormatWithU95(q.Nominal, quantity.Coverage95*q.U, unit),
			Fitted: scale.Format(q.Fitted, unit, notation.DigitsDownTo(q.Fitted, q.U)),
			Pull:   quantity.Minus(fmt.Sprintf("%+.1f u", q.Pull)), Suspect: q.Suspect,
		})
	}
}

func orWhy(q fit.Quantity, unit quantity.Unit) string {
	if q.Known() {
		return notation.WithU95(q, unit)
	}
	return notation.None + " " + notation.Typeset(q.Why)
}

// sections lists what the page holds, for its navigation.
func (p *coilPage) sections() {
	for _, s := range []struct {
		there bool
		section
	}{
		{true, section{"numbers", "Summary"}},
		{p.Magnitude != "", section{"response", "Response"}},
		{len(p.Takes) > 0, section{"takes", "Takes"}},
		{p.Line != "", section{"line", "L and C"}},
		{len(p.Residuals) > 0, section{"residuals", "Residuals"}},
		{p.Noise != "", section{"noise", "Noise"}},
		{p.Harmonics != "", section{"harmonics", "Distortion"}},
		{true, section{"circuit", "Model"}},
		{p.HasUncertainty(), section{"budget", "Uncertainty"}},
		{p.Account != nil, section{"account", "Capacitance"}},
		{len(p.Meter) > 0, section{"meter", "Meter"}},
		{p.Harness != nil, section{"harness", "In a guitar"}},
		{len(p.CoilFacts)+len(p.BenchRows) > 0, section{"bench", "Bench"}},
		{true, section{"provenance", "Provenance"}},
	} {
		if s.there {
			p.Sections = append(p.Sections, s.section)
		}
	}
}
