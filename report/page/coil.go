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
		Name, Load, Resonance, Q, SNR string
		Peak, Height, Width, LC       string // in a table of their own
		Glyph                         template.HTML
		Flags                         []flagged
		Used, Long                    bool
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
	p.Basis = strings.Join(notation.VisibleAll(r.Basis), "; ")
	p.Warnings = notation.VisibleAll(r.Warnings)
	for _, a := range r.Advice {
		p.Advice = append(p.Advice, notation.Visible(words.Advice(a)))
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
	add := func(name, symbol string, q fit.Quantity, unit quantity.Unit, what string) {
		n := newKeyNumber(name, symbol, q, unit, what)
		p.AnySpread = p.AnySpread || n.Spread != ""
		p.Numbers = append(p.Numbers, n)
	}
	add("Resonance", "", r.BareResonance, quantity.Hertz, "coil alone, no cable")
	add("Sharpness", "Q", r.BareQ, notation.Ratio, "coil alone, no cable")
	add("Inductance", "L", r.Inductance, quantity.Henry, "at low frequency")
	add("Capacitance", "C", r.Capacitance, quantity.Farad, "coil and fixture, nothing added")
	add("Capacitance of the coil", "", r.CapacitanceCoil, quantity.Farad, "fixture taken off")
	add("Resistance", "R", r.Resistance, quantity.Ohm, "of the winding")
	if r.CoverCorner != nil {
		add("Cover", "", *r.CoverCorner, quantity.Hertz, "corner of its shielding")
	}
}

func newKeyNumber(name, symbol string, q fit.Quantity, unit quantity.Unit, what string) keyNumber {
	n := keyNumber{Name: name, Symbol: symbol, What: what}
	if q.Known() {
		n.Value, n.Spread = notation.ValueAndSpread(q, unit)
	} else {
		n.Why = notation.Visible(q.Why)
	}
	return n
}

func (p *coilPage) takeRows(r fit.Result) {
	var n notation.Notes
	meanings := map[string]bool{}
	for i, t := range r.Takes {
		row := takeRow{
			Name: notation.Tied(notation.Visible(t.Name)), Glyph: glyph(i), Load: words.Load(t), Used: t.Used, Long: len([]rune(t.Name)) > 24,
			Resonance: n.Cell(t.Resonance, quantity.Hertz), Peak: n.Cell(t.Peak, quantity.Hertz),
			Height: n.Cell(t.PeakDB, notation.Decibel), Width: n.Cell(t.WidthHz, quantity.Hertz), LC: n.Cell(t.LC, quantity.Hertz),
			Q: n.Cell(t.Q, notation.Ratio), SNR: fmt.Sprintf("%.0f dB", t.SNRdB),
		}
		for _, name := range words.Flags(t) {
			row.Flags = append(row.Flags, flagged{name, words.FlagMeanings[name]})
			if means := words.FlagMeanings[name]; means != "" && !meanings[name] {
				meanings[name] = true
				p.FlagMeanings = append(p.FlagMeanings, flagged{name, means})
			}
		}
		p.Takes = append(p.Takes, row)
	}
	for i, why := range n.Reasons {
		p.Reasons = append(p.Reasons, reasonWords(i, why))
	}
}

// reasonWords is the reason behind the sign "?n".
func reasonWords(i int, why string) string {
	return fmt.Sprintf("%s%d not known: %s", notation.Unknown, i+1, notation.Visible(why))
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
		p.Keys = append(p.Keys, key{
			Group: t.Group, Name: shortName(t.Take.Name), Full: notation.Visible(t.Take.Name), Glyph: glyph(t.Style), X: draw.columns.Number(t.Curve.FrequencyHz),
			Columns: []cursorColumn{
				{draw.columns.Number(t.Curve.MagnitudeDB), "dB"},
				{draw.columns.Number(t.Curve.MagnitudeU95DB), "± dB"},
				{draw.columns.Number(t.Curve.FitMagnitudeDB), "dB"},
				{draw.columns.Number(t.Curve.PhaseDeg), "°"},
				{draw.columns.Number(t.Curve.NoiseFloorDB), "dB"},
			},
		})
		if t.ResidualRe == nil {
			continue
		}
		outside, n := t.Outside()
		f := figure.Residual(t, x, bound)
		f.Class = "res"
		var b strings.Builder
		if draw.err == nil {
			// No columns: these figures are not drawn again.
			draw.err = f.WriteSVG(&b, nil)
		}
		p.Residuals = append(p.Residuals, residual{
			Name: shortName(t.Take.Name), Glyph: glyph(t.Style), SVG: template.HTML(b.String()),
			Outside: fmt.Sprintf("%d of %d beyond 2 u (%.1f %%; 4.6 %% expected)", outside, n, 100*float64(outside)/float64(max(n, 1))),
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
				text = notation.Minus(strconv.FormatFloat(t.Curve.MagnitudeDB[i], 'f', 2, 64))
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
		name := e.Form
		if name == "" {
			name = "term"
		}
		p.Eddy = append(p.Eddy, eddyRow{fmt.Sprintf("%s %d", notation.Visible(name), i+1), orWhy(e.Share, notation.Ratio), orWhy(e.Corner, quantity.Hertz)})
	}
	best := math.Inf(1)
	for _, t := range r.Model.Tried {
		best = math.Min(best, t.BIC)
	}
	for _, t := range r.Model.Tried {
		p.Tried = append(p.Tried, triedRow{
			Name: notation.Visible(t.Name), Parameters: strconv.Itoa(t.Parameters), BIC: "+" + strconv.FormatFloat(t.BIC-best, 'f', 1, 64),
			Chi2: strconv.FormatFloat(t.Chi2Reduced, 'g', 3, 64), Runs: notation.Minus(fmt.Sprintf("%+.1f", t.RunsZ)),
			Note: notation.Visible(t.Note), Chosen: t.Name == r.Model.Name,
		})
	}
	for _, q := range r.Parts {
		unit := quantity.Unit(q.Unit)
		p.Parts = append(p.Parts, partRow{
			What: notation.Visible(q.What), Nominal: notation.Number(q.Nominal, 2*q.U, unit), Fitted: notation.Plain(q.Fitted, unit, notation.DigitsDownTo(q.Fitted, q.U)),
			Pull: notation.Minus(fmt.Sprintf("%+.1f u", q.Pull)), Suspect: q.Suspect,
		})
	}
}

func orWhy(q fit.Quantity, unit quantity.Unit) string {
	if q.Known() {
		return notation.WithU95(q, unit)
	}
	return notation.Unknown + " " + notation.Visible(q.Why)
}

func (p *coilPage) bench(d CoilDocument) {
	fact1 := func(name, value string) {
		if value != "" {
			p.CoilFacts = append(p.CoilFacts, fact{name, notation.Visible(value)})
		}
	}
	if d.Coil.DCR != nil {
		fact1("DC resistance", d.Coil.DCR.String())
	}
	if t := d.Coil.CelsiusAtTakes; t != nil {
		fact1("coil during the takes", fmt.Sprintf("%g °C", *t))
	}
	for _, t := range d.Takes {
		p.Bench = append(p.Bench, fact{Name: shortName(t.Name)})
	}
	for _, c := range conditions {
		row := benchRow{Name: c.name}
		alike := true
		for _, t := range d.Takes {
			text := notation.Visible(c.of(t))
			alike = alike && text == notation.Visible(c.of(d.Takes[0]))
			if text == "" {
				text = notation.None
			}
			row.Cells = append(row.Cells, text)
		}
		switch {
		case !alike:
			p.BenchRows = append(p.BenchRows, row)
		case len(row.Cells) > 0 && row.Cells[0] != notation.None:
			p.CoilFacts = append(p.CoilFacts, fact{c.name, row.Cells[0]})
		}
	}
}

// conditions are what is told of the bench: once where all takes agree, else in
// a table.
var conditions = []struct {
	name string
	of   func(capture.Take) string
}{
	{"started", func(t capture.Take) string {
		if t.Started.IsZero() {
			return ""
		}
		return t.Started.Format("2006-01-02 15:04")
	}},
	{"source", func(t capture.Take) string {
		return map[string]string{"soundcard": "sound card", "virtual": "simulated bench", "import": "recording imported"}[t.Bench.Source]
	}},
	{"input", func(t capture.Take) string { return t.Bench.InputDevice }},
	{"output", func(t capture.Take) string { return t.Bench.OutputDevice }},
	{"file", func(t capture.Take) string { return t.Bench.File }},
	{"sample rate", func(t capture.Take) string { return notation.Nominal(float64(t.Audio.RateHz), quantity.Hertz) }},
	{"sweep", func(t capture.Take) string {
		s := t.Stimulus
		if s.RateHz == 0 {
			return ""
		}
		return fmt.Sprintf("%s to %s in %.3g s, %s, %s dBFS", notation.Nominal(s.FromHz, quantity.Hertz), notation.Nominal(s.ToHz, quantity.Hertz),
			float64(s.SweepSamples)/float64(s.RateHz), notation.Count(s.Repeats, "repeat"), notation.Minus(fmt.Sprintf("%.1f", s.LevelDBFS)))
	}},
	{"exciter drive", func(t capture.Take) string {
		kind := t.Drive.Kind
		if kind != "" && t.Drive.Assumed {
			kind += ", assumed"
		}
		return kind
	}},
	{"drive's fall", func(t capture.Take) string {
		f := t.Drive.Fall
		if f == nil {
			return ""
		}
		state := "not corrected"
		if f.Corrected {
			state = "corrected"
		}
		return fmt.Sprintf("%.2g dB at %s, %s", f.DB, notation.Nominal(f.AtHz, quantity.Hertz), state)
	}},
	{"reference", func(t capture.Take) string { return t.Reference.Kind }},
	{"fixture C", func(t capture.Take) string {
		if t.Load.FixtureC == nil {
			return "unknown"
		}
		return t.Load.FixtureC.String()
	}},
	{"fixture R", func(t capture.Take) string {
		if t.Load.FixtureR == nil {
			return "unknown"
		}
		return t.Load.FixtureR.String()
	}},
	{"added C", func(t capture.Take) string {
		if t.Load.AddedC == nil {
			return ""
		}
		return t.Load.AddedC.String()
	}},
	{"added R", func(t capture.Take) string {
		if t.Load.AddedR == nil {
			return ""
		}
		return t.Load.AddedR.String()
	}},
	{"peak level", func(t capture.Take) string { return level(t.Quality.PeakDBFS) }},
	{"noise, rms", func(t capture.Take) string { return level(t.Quality.NoiseDBFS) }},
	{"clipped samples", func(t capture.Take) string {
		if t.Quality.ClippedSamples == 0 {
			return ""
		}
		return strconv.Itoa(t.Quality.ClippedSamples)
	}},
	{"clock drift", func(t capture.Take) string { return notation.Minus(fmt.Sprintf("%+.1f ppm", t.Quality.DriftPPM)) }},
	{"polarity", func(t capture.Take) string {
		if t.Quality.Polarity < 0 {
			return "inverted"
		}
		return ""
	}},
	{"linearity", func(t capture.Take) string {
		l := t.Linearity
		if l == nil {
			return ""
		}
		verdict := "linear"
		if !l.Linear {
			verdict = "not linear"
		}
		return notation.Minus(fmt.Sprintf("%s between %g and %g dBFS: at most %.3f ± %.3f dB apart, about %s", verdict,
			l.LevelsDBFS[1], l.LevelsDBFS[0], math.Abs(l.DeviationDB), quantity.Coverage95*l.UDB, notation.Nominal(l.AtHz, quantity.Hertz)))
	}},
	{"damaged repeats", func(t capture.Take) string {
		var n []string
		for _, r := range t.Quality.DamagedRepeats {
			n = append(n, strconv.Itoa(r+1))
		}
		return strings.Join(n, ", ")
	}},
	{"notes", func(t capture.Take) string { return strings.Join(t.Bench.Notes, "; ") }},
}

func level(dbfs float64) string {
	if dbfs == 0 || math.IsNaN(dbfs) || math.IsInf(dbfs, 0) {
		return ""
	}
	return notation.Minus(fmt.Sprintf("%.1f dBFS", dbfs))
}

func (p *coilPage) provenance(d CoilDocument) {
	add := func(name, value string) {
		if value != "" {
			p.Provenance = append(p.Provenance, fact{name, notation.Visible(value)})
		}
	}
	add("fitted by", d.Result.Program)
	add("page made by", d.Program)
	if !d.Made.IsZero() {
		add("page made", d.Made.Format("2006-01-02 15:04:05 -07:00"))
	}
	add("result format", d.Result.Schema)
	recorders := map[string]bool{}
	for _, t := range d.Takes {
		if !recorders[t.Program] {
			recorders[t.Program] = true
			add("takes recorded by", t.Program)
		}
	}
	stimulus := map[string]string{}
	for _, t := range d.Takes {
		stimulus[t.Name] = t.Stimulus.SHA256
	}
	for _, t := range d.Result.Takes {
		if t.AudioSHA256 != "" {
			p.Checksums = append(p.Checksums, checksum{shortName(t.Name), notation.Visible(t.AudioSHA256), notation.Visible(stimulus[t.Name])})
		}
	}
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
		{true, section{"circuit", "Circuit"}},
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
