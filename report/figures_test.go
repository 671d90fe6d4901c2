package report

import (
	"math"
	"testing"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/plot"
)

// A pure delay has a phase of -360 f tau degrees and a group delay of tau,
// also where the phase came wrapped into ±180 degrees.
func TestPhaseAndDelayOfAPureDelay(t *testing.T) {
	const tau = 150e-6
	c := &fit.Curve{}
	for i := range 200 {
		f := 20 + 60*float64(i)
		turns := -f * tau
		c.FrequencyHz = append(c.FrequencyHz, f)
		c.FitPhaseDeg = append(c.FitPhaseDeg, 360*(turns-math.Round(turns)))
		c.PhaseDeg = append(c.PhaseDeg, c.FitPhaseDeg[i]+720)
	}
	unwrap(c)
	for i, f := range c.FrequencyHz {
		if want := -360 * f * tau; math.Abs(c.FitPhaseDeg[i]-want) > 1e-6 || math.Abs(c.PhaseDeg[i]-want) > 1e-6 {
			t.Fatalf("%g Hz: fitted %g, measured %g, want %g degrees", f, c.FitPhaseDeg[i], c.PhaseDeg[i], want)
		}
	}
	for i, d := range groupDelayUs(c) {
		if math.Abs(d-tau*1e6) > 1e-6 {
			t.Fatalf("%g Hz: group delay %g µs, want %g", c.FrequencyHz[i], d, tau*1e6)
		}
	}
}

// Drawing must not change the result it draws.
func TestDrawnTakesLeaveTheResult(t *testing.T) {
	r := inventedResult(threeLoads, 20)
	r.Takes[0].Curve.FitPhaseDeg[5] += 360
	before := append([]float64(nil), r.Takes[0].Curve.FitPhaseDeg...)
	drawnTakes(r)
	for i, p := range r.Takes[0].Curve.FitPhaseDeg {
		if p != before[i] {
			t.Fatalf("point %d changed from %g to %g", i, before[i], p)
		}
	}
}

func TestThinned(t *testing.T) {
	c := inventedResult(threeLoads[:1], 2600).Takes[0].Curve
	d := thinned(c)
	if n := len(d.FrequencyHz); n > maxPoints || n < maxPoints/2 {
		t.Errorf("%d points of 2600", n)
	}
	for i := range d.FrequencyHz {
		if d.MagnitudeDB[i] != c.MagnitudeDB[3*i] || d.Residual[i] != c.Residual[3*i] {
			t.Fatalf("point %d is not point %d of the curve", i, 3*i)
		}
	}
}

// Of normal residuals 4.55 % lie beyond 2 u (tables of the normal
// distribution); the scale holds all but a few.
func TestResidualCounts(t *testing.T) {
	takes := drawnTakes(inventedResult(eightLoads, 900))
	outside, n := 0, 0
	for _, take := range takes {
		o, k := take.outside()
		outside, n = outside+o, n+k
	}
	if n != 8*2*900 {
		t.Fatalf("%d residuals, want %d", n, 8*2*900)
	}
	// Three standard deviations of a binomial count.
	if share := float64(outside) / float64(n); math.Abs(share-0.0455) > 3*math.Sqrt(0.0455*0.9545/float64(n)) {
		t.Errorf("%.2f %% beyond 2 u, want 4.55 %%", 100*share)
	}
	takes[0].residualRe[3] = -900 // one wild value does not set the scale
	if b := residualBound(takes); b != 4 {
		t.Errorf("scale of ±%g for normal residuals, want ±4", b)
	}
	for i := range takes[0].residualRe {
		takes[0].residualRe[i] = -7.5
	}
	if b := residualBound(takes); b != 8 {
		t.Errorf("scale of ±%g for residuals of 7.5, want ±8", b)
	}
}

// The figure of 1/w² draws L as the slope, -C as the crossing, U95 as bars.
func TestLineFigure(t *testing.T) {
	r := inventedResult(threeLoads, 20)
	f := lineFigure(r, map[string]int{"bare": 0, "plus 220 pF": 1, "plus 470 pF": 2}, wide)
	var guide *plot.Series
	for i := range f.Series {
		if f.Series[i].Kind == plot.Guide {
			guide = &f.Series[i]
		}
	}
	// µs² over pF is H.
	if slope := (guide.Y[1] - guide.Y[0]) / (guide.X[1] - guide.X[0]); math.Abs(slope-r.Line.Slope.Value) > 1e-9 {
		t.Errorf("slope drawn is %g H, want %g", slope, r.Line.Slope.Value)
	}
	if guide.X[0] != r.Line.AxisCrossing.Value*1e12 || guide.Y[0] != 0 {
		t.Errorf("the line starts at %g pF, %g µs²; want %g, 0", guide.X[0], guide.Y[0], r.Line.AxisCrossing.Value*1e12)
	}
	for i, p := range r.Line.Points {
		m := f.Marks[i]
		if math.Abs(m.YHalf-quantity.Coverage95*1e12*p.UInverseW2) > 1e-9*m.YHalf || m.Y != p.InverseW2*1e12 || m.Style != i {
			t.Errorf("point %d drawn as %+v of %+v", i, m, p)
		}
	}
	if m := f.Marks[3]; m.XHalf != r.Line.AxisCrossing.U95*1e12 {
		t.Errorf("bar of ±%g pF at the crossing, want ±%g", m.XHalf, r.Line.AxisCrossing.U95*1e12)
	}
	// 1/(2 pi 5 kHz)² is 1013.2 µs².
	for _, tick := range f.Y.Extra {
		if tick.Label == "5" && math.Abs(tick.Value-1013.2) > 0.1 {
			t.Errorf("5 kHz at %g µs², want 1013.2", tick.Value)
		}
	}
	if len(f.Y.Extra) < 3 {
		t.Errorf("%d frequencies at the side", len(f.Y.Extra))
	}
	r.Line.Slope = fit.Unknown("too few takes")
	if lineFigure(r, nil, wide) != nil {
		t.Error("a line is drawn where its slope is not known")
	}
}
