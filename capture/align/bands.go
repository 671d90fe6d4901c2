package align

import (
	"math"
	"math/cmplx"
	"sort"

	"coilsweep/excite"

	"gonum.org/v1/gonum/dsp/fourier"
)

// band is half an octave of the spectrum of one period. The sweep passes it
// between two times, so a delay in a band is a delay at a time.
type band struct {
	lo, hi   int     // bins, hi excluded
	centreHz float64 // in the middle of the bins
	centre   float64 // the same in radians per sample
	n        int     // transform length, at least twice the bins
	plan     *fourier.CmplxFFT
}

// delay is a delay found in a band.
type delay struct {
	samples float64
	u       float64 // standard uncertainty, samples; +Inf where nothing was found
	// coherence is the share of the bins' amplitudes that add up in phase.
	coherence float64
	// phase is that left at centreHz after the delay is taken off, radians.
	phase float64
}

// newBands lays out half octaves from twice the lower end of the sweep (its
// first cycles are faded out against leakage of hum) to its upper end.
func newBands(stim excite.Stimulus) []band {
	bin := float64(stim.RateHz) / float64(stim.PeriodSamples)
	top := math.Min(0.97*stim.ToHz, 0.47*float64(stim.RateHz))
	var bands []band
	for lo := 2 * stim.FromHz; lo*1.2 < top; lo *= math.Sqrt2 {
		hi := math.Min(lo*math.Sqrt2, top)
		b := band{lo: int(math.Ceil(lo / bin)), hi: int(hi / bin)}
		if b.hi-b.lo < 32 {
			continue
		}
		b.centreHz = 0.5 * float64(b.lo+b.hi-1) * bin
		b.centre = 2 * math.Pi * b.centreHz / float64(stim.RateHz)
		b.n = smoothEven(2 * (b.hi - b.lo))
		b.plan = fourier.NewCmplxFFT(b.n)
		bands = append(bands, b)
	}
	return bands
}

// find returns the delay of cross, a cross-spectrum at b's bins of a period of
// period samples. First the peak of its envelope over all lags says about
// where it is, then the phase slope over the band says exactly.
func (b *band) find(cross, scratch []complex128, period int) delay {
	m := b.hi - b.lo
	z := scratch[:b.n]
	clear(z[copy(z, cross[:m]):])
	b.plan.Sequence(z, z)
	best, bestP := 0, 0.0
	for i, v := range z {
		if p := power(v); p > bestP {
			best, bestP = i, p
		}
	}
	if bestP == 0 {
		return delay{u: math.Inf(1)}
	}
	if best > b.n/2 {
		best -= b.n
	}
	// cross = exp(-j w tau): the inverse transform peaks at tau.
	lag := float64(best) * float64(period) / float64(b.n)

	shift := func(lag float64) { // multiply cross by exp(+j w lag)
		w := 2 * math.Pi * lag / float64(period)
		rot, turn := cmplx.Rect(1, w*float64(b.lo)), cmplx.Rect(1, w)
		for i := range cross[:m] {
			cross[i] *= rot
			rot *= turn
		}
	}
	shift(lag)
	for range 2 {
		var slope complex128
		h := m / 2
		for i := 0; i+h < m; i++ {
			slope += cross[i+h] * cmplx.Conj(cross[i])
		}
		more := -cmplx.Phase(slope) / float64(h) * float64(period) / (2 * math.Pi)
		shift(more)
		lag += more
	}
	var sum complex128
	abs := 0.0
	for _, v := range cross[:m] {
		sum += v
		abs += cmplx.Abs(v)
	}
	c := cmplx.Abs(sum) / abs
	d := delay{samples: lag, coherence: c, phase: cmplx.Phase(sum)}
	d.u = b.phaseU(c) / b.centre
	return d
}

// phaseU is the standard uncertainty of the mean phase of the band's bins at
// coherence c, in radians; +Inf where c is no better than noise or too small
// to tell one cycle from the next.
func (b *band) phaseU(c float64) float64 {
	m := float64(b.hi - b.lo)
	if c < 0.3 || c*math.Sqrt(m) < 5 {
		return math.Inf(1)
	}
	// Rounding leaves 1e-6.
	u := math.Max(1e-6, math.Sqrt(math.Max(0, 1-c*c)/(2*c*c*m)))
	if u > 0.05 {
		return math.Inf(1)
	}
	return u
}

// weightedMedian returns the x at which half the weight is reached; NaN
// without weight.
func weightedMedian(x, w []float64) float64 {
	order := make([]int, 0, len(x))
	total := 0.0
	for i := range x {
		if w[i] > 0 {
			order = append(order, i)
			total += w[i]
		}
	}
	sort.Slice(order, func(i, j int) bool { return x[order[i]] < x[order[j]] })
	sum := 0.0
	for _, i := range order {
		sum += w[i]
		if sum >= total/2 {
			return x[i]
		}
	}
	return math.NaN()
}
