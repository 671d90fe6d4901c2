package align

import (
	"math"
	"math/cmplx"
	"sort"

	"coilsweep/excite"

	"gonum.org/v1/gonum/dsp/fourier"
)

// band is a part of the spectrum of one period, 0.7 octaves wide. The sweep
// passes it between two times, so a delay in a band is a delay at a time.
type band struct {
	lo, hi   int     // bins, hi excluded
	centreHz float64 // in the middle of the bins
	centre   float64 // the same in radians per sample
	weight   []float64
	sweep    []complex128 // conjugate phase of the sweep
	lags     int          // the band is transformed to so many lags ...
	lag      float64      // ... of so many samples each
	plan     *fourier.CmplxFFT
	gate     int // half the length of a pulse, in lags
	reach    int // largest lag of a pulse
	// A pulse is cut out and transformed back: coarser bins, as many as the
	// pulse has lags, each this many bins of the period wide.
	pulsePlan *fourier.CmplxFFT
	binStep   float64
}

// pulseBand is what a repeat holds in a band: the spectrum of its pulse, cut
// out of all that does not follow the sweep.
type pulseBand struct {
	bins  []complex128
	start float64 // what the bins' delays count from, in samples
	// noise is the energy of the disturbance in one independent value over
	// that of the pulse: the variance of the phase is half of it.
	noise float64
}

// delay is a delay found in a band.
type delay struct {
	samples float64
	u       float64 // standard uncertainty, samples; +Inf where the cycle is not sure
	phase   float64 // left at centreHz after the delay is taken off, radians
	phaseU  float64 // +Inf where no pulse was found
}

// known: there is a pulse, and its phase tells the delay within a cycle.
func (d delay) known() bool { return !math.IsInf(d.u, 1) }

// seen: there is a pulse.
func (d delay) seen() bool { return !math.IsInf(d.phaseU, 1) }

// weight of a band among others: more or less equal, so that the upper bands,
// which know delays best, do not outvote the others.
func (d delay) weight() float64 {
	if !d.seen() {
		return 0
	}
	return 1 / (d.phaseU + 0.02)
}

const (
	bandHop, bandWidth = 0.5, 0.7 // octaves
	// gateS is half the least length of a pulse.
	gateS = 0.010
	// reachS is how far a pulse may lie from where the search saw its repeat.
	reachS = 0.2
	// maxPhaseU is the largest uncertainty of a phase at which one cycle is
	// still told from the next by the slope of the phase in the band.
	maxPhaseU = 0.035
	// maxPulseNoise is the largest pulseBand.noise of a pulse that counts
	// without its phase: the largest of 1000 values of noise reaches half.
	maxPulseNoise = 0.05
)

// newBands lays out bands from twice the lower end of the sweep (its first
// cycles are faded out against leakage of hum) to its upper end.
func newBands(stim excite.Stimulus) []band {
	course := stim.Course()
	bin := float64(stim.RateHz) / float64(stim.PeriodSamples)
	top := math.Min(0.97*stim.ToHz, 0.47*float64(stim.RateHz))
	var edges [][2]float64
	lo := 2 * stim.FromHz
	for ; lo*1.3 < top; lo *= math.Exp2(bandHop) {
		edges = append(edges, [2]float64{lo, math.Min(lo*math.Exp2(bandWidth), top)})
	}
	// A narrow one for the very end of the sweep.
	if end := top / math.Exp2(bandWidth/2); end > 2*stim.FromHz {
		edges = append(edges, [2]float64{end, top})
	}
	var bands []band
	for _, e := range edges {
		b := band{lo: int(math.Ceil(e[0] / bin)), hi: int(e[1] / bin)}
		m := b.hi - b.lo
		if m < 32 {
			continue
		}
		b.centreHz = 0.5 * float64(b.lo+b.hi-1) * bin
		b.centre = 2 * math.Pi * b.centreHz / float64(stim.RateHz)
		b.lags = excite.TransformFrom(m)
		b.lag = float64(stim.PeriodSamples) / float64(b.lags)
		b.plan = fourier.NewCmplxFFT(b.lags)
		perS := float64(stim.RateHz) / b.lag
		b.gate = min(b.lags/4, int(math.Ceil(math.Max(gateS*perS, 3*float64(b.lags)/float64(m)))))
		b.reach = min(b.lags/2, int(math.Ceil(reachS*perS)))
		b.pulsePlan = fourier.NewCmplxFFT(excite.TransformFrom(2*b.gate + 1))
		b.binStep = float64(b.lags) / float64(b.pulsePlan.Len())
		b.weight = make([]float64, m)
		b.sweep = make([]complex128, m)
		for i := range m {
			b.weight[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(m))
			sin, cos := math.Sincos(course.SpectrumPhase(float64(b.lo+i)*bin) - math.Pi/4)
			b.sweep[i] = complex(cos, -sin)
		}
		bands = append(bands, b)
	}
	return bands
}

// extract deconvolves band b of a whitened spectrum and keeps its pulse. What
// else there is (hum, noise, harmonics) lies at all other lags and is a
// measure of the disturbance.
func (b *band) extract(white, scratch []complex128) pulseBand {
	m := b.hi - b.lo
	z := scratch[:b.lags]
	for i := range m {
		z[i] = white[b.lo+i] * b.sweep[i] * complex(b.weight[i], 0)
	}
	clear(z[m:])
	b.plan.Sequence(z, z)
	peak, peakP, total := 0, 0.0, 0.0
	for i, v := range z {
		p := power(v)
		total += p
		if near := i < b.reach || i > b.lags-b.reach; near && p > peakP {
			peak, peakP = i, p
		}
	}
	if peak > b.lags/2 {
		peak -= b.lags
	}
	p := pulseBand{
		bins:  make([]complex128, b.pulsePlan.Len()),
		start: float64(peak-b.gate) * b.lag,
		noise: math.Inf(1),
	}
	inside := 0.0
	edge := max(1, b.gate/2)
	for d := -b.gate; d <= b.gate; d++ {
		v := z[(peak+d+b.lags)%b.lags]
		inside += power(v)
		w := 1.0
		if over := max(d, -d) - (b.gate - edge); over > 0 {
			w = 0.5 + 0.5*math.Cos(math.Pi*float64(over)/float64(edge+1))
		}
		p.bins[b.gate+d] = v * complex(w, 0)
	}
	b.pulsePlan.Coefficients(p.bins, p.bins)
	// Lags count from bin lo, delays from zero frequency.
	turn := cmplx.Rect(1, 2*math.Pi*float64(b.lo)*p.start/(b.lag*float64(b.lags)))
	for i := range p.bins {
		p.bins[i] *= turn
	}
	gate := float64(2*b.gate + 1)
	density := (total - inside) / (float64(b.lags) - gate)
	if signal := inside - density*gate; signal > 0 {
		// lags/m lags hold one independent value.
		p.noise = density * float64(b.lags) / float64(m) / signal
	}
	return p
}

// find returns the delay in a cross-spectrum at the bins of a pulse, counted
// from start, by the slope of its phase over the band. noise is that of both
// factors. cross is overwritten.
func (b *band) find(cross []complex128, start, noise float64) delay {
	d := delay{u: math.Inf(1), phaseU: math.Inf(1)}
	if !(noise < maxPulseNoise) {
		return d
	}
	period := b.lag * float64(b.lags)
	d.samples = start
	// cross = exp(-j w tau). Neighbouring bins are sure of tau within the
	// length of a pulse, distant ones then know it better.
	far := max(1, int(float64(b.hi-b.lo)/b.binStep/4))
	for _, apart := range []int{1, far, far} {
		var slope complex128
		for i := 0; i+apart < len(cross); i++ {
			slope += cross[i+apart] * cmplx.Conj(cross[i])
		}
		more := -cmplx.Phase(slope) * period / (2 * math.Pi * float64(apart) * b.binStep)
		d.samples += more
		w := 2 * math.Pi * more / period
		rot, turn := cmplx.Rect(1, w*float64(b.lo)), cmplx.Rect(1, w*b.binStep)
		for i := range cross {
			cross[i] *= rot
			rot *= turn
		}
	}
	var sum complex128
	for _, v := range cross {
		sum += v
	}
	d.phase = cmplx.Phase(sum)
	d.phaseU = math.Sqrt(math.Max(noise/2, 1e-12))
	if d.phaseU < maxPhaseU {
		d.u = d.phaseU / b.centre
	}
	return d
}

// groupU is the standard uncertainty, in samples, of a group delay where the
// phase of the band has phaseU: the band's effective width is about a quarter
// of its frequency.
func (b *band) groupU(phaseU float64) float64 { return phaseU * math.Sqrt(12) / (b.centre / 4) }

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
