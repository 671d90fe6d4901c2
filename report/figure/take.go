package figure

import (
	"math"
	"strconv"

	"coilsweep/fit"
	"coilsweep/report/plot"
)

// Take is a take ready for drawing: its curve on at most maxPoints
// frequencies, and phases that do not jump.
type Take struct {
	Take  fit.TakeResult
	Style int
	Group string
	Curve *fit.Curve
	// Residual parts and group delays are columns made here.
	ResidualRe, ResidualIm []float64
	DelayUs                []float64
}

// Styles are the styles of a result's takes by their names.
func Styles(r fit.Result) map[string]int {
	styles := map[string]int{}
	for i, t := range r.Takes {
		styles[t.Name] = i
	}
	return styles
}

// maxPoints bounds what a page carries of one curve.
const maxPoints = 1000

// Takes are the takes of a result that have a response.
func Takes(r fit.Result) []Take {
	var out []Take
	for i, t := range r.Takes {
		if t.Curve == nil || len(t.Curve.FrequencyHz) == 0 {
			continue
		}
		c := ThinnedTo(t.Curve, maxPoints)
		unwrap(c)
		d := Take{Take: t, Style: i, Group: "t" + strconv.Itoa(i), Curve: c}
		for _, z := range c.Residual {
			d.ResidualRe, d.ResidualIm = append(d.ResidualRe, real(z)), append(d.ResidualIm, imag(z))
		}
		d.DelayUs = groupDelayUs(c)
		out = append(out, d)
	}
	return out
}

// ThinnedTo is a copy of the curve with every n-th point, such that at most
// most remain.
func ThinnedTo(c *fit.Curve, most int) *fit.Curve {
	step := (len(c.FrequencyHz) + most - 1) / most
	return &fit.Curve{
		FrequencyHz: every(c.FrequencyHz, step), MagnitudeDB: every(c.MagnitudeDB, step),
		PhaseDeg: every(c.PhaseDeg, step), MagnitudeU95DB: every(c.MagnitudeU95DB, step),
		PhaseU95Deg: every(c.PhaseU95Deg, step), FitPhaseU95Deg: every(c.FitPhaseU95Deg, step),
		NoiseFloorDB: every(c.NoiseFloorDB, step), FitMagnitudeDB: every(c.FitMagnitudeDB, step),
		FitPhaseDeg: every(c.FitPhaseDeg, step), FitU95DB: every(c.FitU95DB, step),
		Harmonic2DB: every(c.Harmonic2DB, step), Harmonic3DB: every(c.Harmonic3DB, step),
		Harmonic2FloorDB: every(c.Harmonic2FloorDB, step), Harmonic3FloorDB: every(c.Harmonic3FloorDB, step),
		Residual: every(c.Residual, step),
	}
}

func every[T any](list []T, step int) (out []T) {
	for i := 0; i < len(list); i += step {
		out = append(out, list[i])
	}
	return out
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

// FrequencyAxis spans the frequencies of all takes, out to the next 1-2-5
// where that is near.
func FrequencyAxis(takes []Take) plot.Axis {
	lo, hi := math.Inf(1), 0.0
	for _, t := range takes {
		f := t.Curve.FrequencyHz
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

// Outside counts the residual components beyond 2 u, and all of them.
func (t Take) Outside() (outside, n int) {
	for _, part := range [][]float64{t.ResidualRe, t.ResidualIm} {
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
