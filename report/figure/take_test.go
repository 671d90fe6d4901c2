package figure

import (
	"math"
	"testing"

	"coilsweep/fit"
	"coilsweep/report/internal/invented"
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
	r := invented.Result(invented.ThreeLoads, 20)
	r.Takes[0].Curve.FitPhaseDeg[5] += 360
	before := append([]float64(nil), r.Takes[0].Curve.FitPhaseDeg...)
	Takes(r)
	for i, p := range r.Takes[0].Curve.FitPhaseDeg {
		if p != before[i] {
			t.Fatalf("point %d changed from %g to %g", i, before[i], p)
		}
	}
}

func TestThinned(t *testing.T) {
	c := invented.Result(invented.ThreeLoads[:1], 2600).Takes[0].Curve
	d := ThinnedTo(c, maxPoints)
	if n := len(d.FrequencyHz); n > maxPoints || n < maxPoints/2 {
		t.Errorf("%d points of 2600", n)
	}
	for i := range d.FrequencyHz {
		if d.MagnitudeDB[i] != c.MagnitudeDB[3*i] || d.Residual[i] != c.Residual[3*i] {
			t.Fatalf("point %d is not point %d of the curve", i, 3*i)
		}
	}
}
