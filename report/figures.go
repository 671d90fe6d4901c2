package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/plot"
)

// shape is where a figure is shown: wide on a screen or on paper, narrow on a
// phone or in a row of small ones.
type shape struct {
	name   string
	width  float64
	height float64 // of a figure of usual height
}

var (
	wide   = shape{"w", 860, 400}
	narrow = shape{"n", 380, 300}
)

// drawn is one take ready for drawing: its curve on at most maxPoints
// frequencies, and phases that do not jump.
type drawn struct {
	take  fit.TakeResult
	style int
	group string
	curve *fit.Curve
	// Residual parts and group delays are columns made here.
	residualRe, residualIm []float64
	delayUs                []float64
}

// maxPoints bounds what a page carries of one curve.
const maxPoints = 1000

func drawnTakes(r fit.Result) []drawn {
	var out []drawn
	for i, t := range r.Takes {
		if t.Curve == nil || len(t.Curve.FrequencyHz) == 0 {
			continue
		}
		c := thinned(t.Curve)
		unwrap(c)
		d := drawn{take: t, style: i, group: "t" + strconv.Itoa(i), curve: c}
		if len(c.Residual) > 0 {
			d.residualRe = make([]float64, len(c.Residual))
			d.residualIm = make([]float64, len(c.Residual))
			for k, z := range c.Residual {
				d.residualRe[k], d.residualIm[k] = real(z), imag(z)
			}
		}
		d.delayUs = groupDelayUs(c)
		out = append(out, d)
	}
	return out
}

// thinned is a copy of the curve with every n-th point, such that at most
// maxPoints remain.
func thinned(c *fit.Curve) *fit.Curve { return thinnedTo(c, maxPoints) }

// thinnedTo is thinned to at most most points.
func thinnedTo(c *fit.Curve, most int) *fit.Curve {
	step := (len(c.FrequencyHz) + most - 1) / most
	every := func(x []float64) []float64 {
		if x == nil {
			return nil
		}
		out := make([]float64, 0, len(x)/step+1)
		for i := 0; i < len(x); i += step {
			out = append(out, x[i])
		}
		return out
	}
	t := &fit.Curve{
		FrequencyHz: every(c.FrequencyHz), MagnitudeDB: every(c.MagnitudeDB), PhaseDeg: every(c.PhaseDeg),
		MagnitudeU95DB: every(c.MagnitudeU95DB), NoiseFloorDB: every(c.NoiseFloorDB),
		FitMagnitudeDB: every(c.FitMagnitudeDB), FitPhaseDeg: every(c.FitPhaseDeg), FitU95DB: every(c.FitU95DB),
		Harmonic2DB: every(c.Harmonic2DB), Harmonic3DB: every(c.Harmonic3DB),
	}
	for i := 0; i < len(c.Residual); i += step {
		t.Residual = append(t.Residual, c.Residual[i])
	}
	return t
}

// unwrap takes the jumps of whole turns out of the phases: the fitted phase
// follows itself, the measured one follows the fit where there is one.
func unwrap(c *fit.Curve) {
	follow(c.FitPhaseDeg)
	if len(c.FitPhaseDeg) != len(c.PhaseDeg) {
		follow(c.PhaseDeg)
		return
	}
	for i, p := range c.PhaseDeg {
		c.PhaseDeg[i] = p - 360*math.Round((p-c.FitPhaseDeg[i])/360)
	}
}

func follow(phase []float64) {
	last := math.NaN()
	for i, p := range phase {
		if math.IsNaN(p) {
			continue
		}
		if !math.IsNaN(last) {
			phase[i] = p - 360*math.Round((p-last)/360)
		}
		last = phase[i]
	}
}

// groupDelayUs is -d(phase)/d(angular frequency) in µs, of the fit where there
// is one, by differences between neighbours.
func groupDelayUs(c *fit.Curve) []float64 {
	phase := c.FitPhaseDeg
	if len(phase) == 0 {
		phase = c.PhaseDeg
	}
	n := min(len(phase), len(c.FrequencyHz))
	if n < 3 {
		return nil
	}
	out := make([]float64, n)
	for i := range out {
		a, b := max(i-1, 0), min(i+1, n-1)
		out[i] = -(phase[b] - phase[a]) / 360 / (c.FrequencyHz[b] - c.FrequencyHz[a]) * 1e6
	}
	return out
}

// frequencyAxis spans the frequencies of all takes, out to the next 1-2-5
// where that is near.
func frequencyAxis(takes []drawn) plot.Axis {
	lo, hi := math.Inf(1), 0.0
	for _, t := range takes {
		f := t.curve.FrequencyHz
		lo, hi = math.Min(lo, f[0]), math.Max(hi, f[len(f)-1])
	}
	for e := -1.0; e < 7; e++ {
		for _, m := range []float64{1, 2, 5} {
			nice := m * math.Pow(10, e)
			if lo > nice && lo < 1.15*nice {
				lo = nice
			}
			if hi < nice && hi > nice/1.15 {
				hi = nice
			}
		}
	}
	if !(lo > 0) || !(hi > lo) {
		lo, hi = 20, 20000
	}
	return plot.Axis{Label: "frequency, Hz", Log: true, Min: lo, Max: hi}
}

// extent is the range of all finite values of the columns.
type extent struct{ lo, hi float64 }

func (e *extent) take(columns ...[]float64) {
	for _, column := range columns {
		for _, x := range column {
			if !math.IsNaN(x) && !math.IsInf(x, 0) {
				e.lo, e.hi = math.Min(e.lo, x), math.Max(e.hi, x)
			}
		}
	}
}

func nothing() extent { return extent{math.Inf(1), math.Inf(-1)} }

// axis is a linear axis that holds the extent, at least least wide.
func (e extent) axis(label string, least float64) plot.Axis {
	if e.lo > e.hi {
		e.lo, e.hi = 0, 0
	}
	if e.hi-e.lo < least {
		mid := (e.hi + e.lo) / 2
		e.lo, e.hi = mid-least/2, mid+least/2
	}
	lo, hi := plot.Span(e.lo, e.hi)
	return plot.Axis{Label: label, Min: lo, Max: hi}
}

// measuredAndFitted adds a take's measured points and its fit; without a fit
// the measured points take the place of the curve.
func measuredAndFitted(f *plot.Figure, t drawn, measured, half, fitted, fittedHalf []float64) {
	common := plot.Series{Style: t.style, Group: t.group, X: t.curve.FrequencyHz}
	if len(fitted) == 0 {
		s := common
		s.Kind, s.Y, s.Half, s.Name = plot.Curve, measured, half, visible(t.take.Name)
		f.Series = append(f.Series, s)
	} else {
		s := common
		s.Kind, s.Y, s.Half = plot.Trace, measured, half
		f.Series = append(f.Series, s)
		s = common
		s.Kind, s.Y, s.Half, s.Name = plot.Curve, fitted, fittedHalf, visible(t.take.Name)
		f.Series = append(f.Series, s)
	}
	s := common
	s.Kind, s.Y = plot.Markers, measured
	f.Series = append(f.Series, s)
}

func frequencyFigure(id, title string, takes []drawn, s shape, height float64) *plot.Figure {
	return &plot.Figure{ID: id + "-" + s.name, Title: title, Width: s.width, Height: height, X: frequencyAxis(takes), Zoom: true}
}

// magnitudeFigure shows the response of all takes with their fits.
func magnitudeFigure(takes []drawn, s shape) *plot.Figure {
	f := frequencyFigure("magnitude", "Magnitude of the response", takes, s, s.height+20)
	e := nothing()
	said := []string{}
	for _, t := range takes {
		c := t.curve
		e.take(c.MagnitudeDB, c.FitMagnitudeDB)
		measuredAndFitted(f, t, c.MagnitudeDB, c.MagnitudeU95DB, c.FitMagnitudeDB, c.FitU95DB)
		if t.take.Peak.Known() && t.take.PeakDB.Known() {
			said = append(said, fmt.Sprintf("%s peaks at %s, %s above the plateau", visible(t.take.Name),
				valueOf(t.take.Peak, quantity.Hertz), valueOf(t.take.PeakDB, decibel)))
		}
	}
	e.lo = math.Max(e.lo, e.hi-90)
	f.Y = e.axis("magnitude, dB over the low-frequency plateau", 20)
	f.Description = sentence(fmt.Sprintf("Magnitude over frequency for %s. %s", countOf(len(takes), "take"), strings.Join(said, "; ")))
	return f
}

func phaseFigure(takes []drawn, s shape) *plot.Figure {
	f := frequencyFigure("phase", "Phase of the response", takes, s, 0.72*s.height)
	e := nothing()
	for _, t := range takes {
		c := t.curve
		if len(c.FitPhaseDeg) > 0 {
			e.take(c.FitPhaseDeg)
		} else {
			e.take(c.PhaseDeg)
		}
		measuredAndFitted(f, t, c.PhaseDeg, nil, c.FitPhaseDeg, nil)
	}
	f.Y = e.axis("phase, degrees", 90)
	f.Y.Degrees = true
	f.Description = sentence(fmt.Sprintf("Phase over frequency for %s; it turns fastest at the resonance", countOf(len(takes), "take")))
	return f
}

func delayFigure(takes []drawn, s shape) *plot.Figure {
	f := frequencyFigure("delay", "Group delay", takes, s, 0.72*s.height)
	e := nothing()
	for _, t := range takes {
		if t.delayUs == nil {
			continue
		}
		e.take(t.delayUs)
		f.Series = append(f.Series, plot.Series{Kind: plot.Curve, Style: t.style, Group: t.group, Name: visible(t.take.Name),
			X: t.curve.FrequencyHz, Y: t.delayUs})
	}
	if f.Series == nil {
		return nil
	}
	f.Y = e.axis("group delay, µs", 40)
	f.Description = sentence(fmt.Sprintf("Group delay over frequency for %s, from the slope of the fitted phase", countOf(len(takes), "take")))
	return f
}

// noiseFigure shows each take over its noise floor; nil where no floor is
// known.
func noiseFigure(takes []drawn, s shape) *plot.Figure {
	f := frequencyFigure("noise", "Response and noise floor", takes, s, 0.85*s.height)
	e := nothing()
	floors := 0
	for _, t := range takes {
		c := t.curve
		e.take(c.MagnitudeDB)
		f.Series = append(f.Series, plot.Series{Kind: plot.Trace, Style: t.style, Group: t.group, Name: visible(t.take.Name), X: c.FrequencyHz, Y: c.MagnitudeDB})
		if len(c.NoiseFloorDB) > 0 {
			floors++
			e.take(c.NoiseFloorDB)
			f.Series = append(f.Series, plot.Series{Kind: plot.Floor, Style: t.style, Group: t.group, X: c.FrequencyHz, Y: c.NoiseFloorDB})
		}
	}
	if floors == 0 {
		return nil
	}
	e.lo = math.Max(e.lo, e.hi-160)
	f.Y = e.axis("dB over the low-frequency plateau", 40)
	f.Description = sentence(fmt.Sprintf("Measured response of %s as thin lines, the noise floor of each dotted below it", countOf(len(takes), "take")))
	return f
}

// residualFigure shows one take's residuals in standard uncertainties.
func residualFigure(t drawn, x plot.Axis, bound float64) *plot.Figure {
	f := &plot.Figure{
		ID: "residual-" + t.group, Title: "Residuals of " + visible(t.take.Name), Width: 420, Height: 210, X: x,
		Y:        plot.Axis{Label: "(measured − fit) / u", Min: -bound, Max: bound},
		Expected: 2,
	}
	f.Series = []plot.Series{
		{Kind: plot.Dashes, Style: t.style, Group: t.group, X: t.curve.FrequencyHz, Y: t.residualIm},
		{Kind: plot.Dots, Style: t.style, Group: t.group, X: t.curve.FrequencyHz, Y: t.residualRe},
	}
	outside, n := t.outside()
	f.Description = sentence(fmt.Sprintf("Residuals over frequency, real part as dots and imaginary part as dashes; %s lie beyond 2 u, %.1f %% of all",
		countOf(outside, "value"), 100*float64(outside)/float64(max(n, 1))))
	return f
}

// outside counts the residual components beyond 2 u, and all of them.
func (t drawn) outside() (outside, n int) {
	for _, part := range [][]float64{t.residualRe, t.residualIm} {
		for _, v := range part {
			if math.IsNaN(v) {
				continue
			}
			n++
			if math.Abs(v) > 2 {
				outside++
			}
		}
	}
	return outside, n
}

// residualBound is a common scale for all residual figures: it holds 99.5 %
// of the values and at least ±4.
func residualBound(takes []drawn) float64 {
	const bins = 2000 // of 0.05 u
	var count [bins + 1]int
	n := 0
	for _, t := range takes {
		for _, part := range [][]float64{t.residualRe, t.residualIm} {
			for _, v := range part {
				if !math.IsNaN(v) {
					count[min(int(math.Abs(v)*20), bins)]++
					n++
				}
			}
		}
	}
	beyond := n / 200
	bin := bins
	for ; bin > 0 && beyond >= count[bin]; bin-- {
		beyond -= count[bin]
	}
	return math.Max(4, math.Ceil(float64(bin+1)/20))
}

// lineFigure shows 1/w² against added C, with -C where the line meets the
// axis; nil where there is no line.
func lineFigure(r fit.Result, styles map[string]int, s shape) *plot.Figure {
	l := r.Line
	if l == nil || len(l.Points) == 0 || !l.Slope.Known() || !l.AxisCrossing.Known() {
		return nil
	}
	const pico, micro2 = 1e12, 1e12 // F to pF, s² to µs²
	f := &plot.Figure{ID: "line-" + s.name, Title: "1/w² against added capacitance", Width: s.width, Height: s.height + 20}
	crossing, half := l.AxisCrossing.Value*pico, l.AxisCrossing.U95*pico
	right, top := 0.0, 0.0
	for _, p := range l.Points {
		style, seen := styles[p.Take]
		if !seen {
			style = -1
		}
		label := plot.Shortened(visible(p.Take), int(s.width/32))
		f.Marks = append(f.Marks, plot.Mark{X: p.AddedC * pico, Y: p.InverseW2 * micro2, YHalf: quantity.Coverage95 * p.UInverseW2 * micro2,
			Style: style, Label: label})
		right, top = math.Max(right, p.AddedC*pico), math.Max(top, p.InverseW2*micro2)
	}
	span := right - crossing
	x0, x1 := crossing-half-0.08*span, right+0.22*span
	slope := l.Slope.Value // 1 H = 1 µs²/pF · 1e0: 1e-12 s² / 1e-12 F
	f.Series = []plot.Series{
		{Kind: plot.Reach, X: []float64{crossing, 0}, Y: []float64{0, 0}},
		{Kind: plot.Guide, X: []float64{crossing, x1}, Y: []float64{0, slope * (x1 - crossing)}},
	}
	c := l.AxisCrossing
	c.Value, c.Low, c.High = -c.Value, -c.High, -c.Low
	f.Marks = append(f.Marks,
		plot.Mark{X: crossing, Y: 0, XHalf: half, Style: -1, Label: "−C", Place: plot.Above},
		plot.Mark{X: crossing / 2, Y: 0, Style: -2, Label: "C = " + withU95(c, quantity.Farad), Place: plot.Under})
	f.X = plot.Axis{Label: "added capacitance, pF", Min: x0, Max: x1}
	f.Y = plot.Axis{Label: "1/w², µs²", Min: -0.11 * top, Max: slope * (x1 - crossing), ExtraLabel: "LC frequency, kHz"}
	for _, kHz := range lcTicks(slope * (x1 - crossing) / micro2) {
		w := 2 * math.Pi * kHz * 1e3
		f.Y.Extra = append(f.Y.Extra, plot.Tick{Value: micro2 / (w * w), Label: strconv.FormatFloat(kHz, 'g', 4, 64)})
	}
	f.Description = sentence(fmt.Sprintf("%s lie along a line whose slope is L, %s; it meets the axis at minus C, %s",
		countOf(len(l.Points), "take"), withU95(l.Slope, quantity.Henry), withU95(l.AxisCrossing, quantity.Farad)))
	return f
}

// lcTicks are frequencies in kHz for the side axis up to 1/w² = top s²,
// chosen so that their labels do not crowd.
func lcTicks(top float64) []float64 {
	var out []float64
	last := math.Inf(1)
	for _, kHz := range []float64{0.5, 0.7, 1, 1.5, 2, 2.5, 3, 3.5, 4, 5, 6, 7, 8, 10, 12, 15, 20, 30} {
		w := 2 * math.Pi * kHz * 1e3
		v := 1 / (w * w)
		if v <= top && last-v > top/22 && v > top/30 {
			out = append(out, kHz)
			last = v
		}
	}
	return out
}

// harmonicsFigure shows second and third harmonic; nil where none are known.
func harmonicsFigure(takes []drawn, s shape) *plot.Figure {
	f := frequencyFigure("harmonics", "Harmonic distortion", takes, s, 0.85*s.height)
	e := nothing()
	for _, t := range takes {
		c := t.curve
		if len(c.Harmonic2DB) > 0 {
			e.take(c.Harmonic2DB)
			f.Series = append(f.Series, plot.Series{Kind: plot.Trace, Style: t.style, Group: t.group, Name: "2nd, " + visible(t.take.Name), X: c.FrequencyHz, Y: c.Harmonic2DB})
		}
		if len(c.Harmonic3DB) > 0 {
			e.take(c.Harmonic3DB)
			f.Series = append(f.Series, plot.Series{Kind: plot.Floor, Style: t.style, Group: t.group, Name: "3rd, " + visible(t.take.Name), X: c.FrequencyHz, Y: c.Harmonic3DB})
		}
	}
	if f.Series == nil {
		return nil
	}
	f.Y = e.axis("harmonic, dB re fundamental", 40)
	f.Description = sentence("Second and third harmonic over the excitation frequency, relative to the response itself")
	return f
}

// sentence ends s with a full stop.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if strings.HasSuffix(s, ".") {
		return s
	}
	return s + "."
}
