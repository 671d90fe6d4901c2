package quality

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"

	"coilsweep/excite"
)

const (
	// stepsPerOctave is how finely a passage is looked at, and cyclesOfStep the
	// least of a step.
	stepsPerOctave = 96
	cyclesOfStep   = 1.5
)

// passages tell what a channel makes of the stimulus while a sweep passes the
// band, step by step: a coarse response of each sweep by itself, in which a
// disturbance stays where it happened. A step's value is the mean of the recorded
// analytic signal over the played one (a heterodyne filter; the same as time
// delay spectrometry, R. C. Heyser, J. Audio Eng. Soc. 15(4), 1967), so that
// noise of any colour and hum count only where they lie near the sweep's own
// frequency.
type passages struct {
	hz     []float64 // of each step, ascending
	bounds []int     // of the steps, in samples of a period
	played []complex128
	plan   *fourier.FFT
	// What analytic works on and answers with.
	lines, signal []complex128
	work          []float64
}

// newPassages begins at fromHz or where the stimulus is loud. It is nil where the
// band of the stimulus leaves less than an octave.
func newPassages(stim excite.Stimulus, fromHz float64) *passages {
	course, rate := stim.Course(), float64(stim.RateHz)
	n := stim.PeriodSamples
	p := &passages{plan: fourier.NewFFT(n), lines: make([]complex128, n/2+1), signal: make([]complex128, n),
		work: make([]float64, n)}
	hz, top := max(fromHz, 2*stim.FromHz), 0.95*stim.ToHz
	for hz < top {
		from := course.TimeOf(hz) * rate
		to := max(course.TimeOf(hz*math.Exp2(1./stepsPerOctave))*rate, from+cyclesOfStep*rate/hz, from+8)
		next := course.FrequencyAt(to / rate)
		p.bounds = append(p.bounds, int(from))
		p.hz = append(p.hz, math.Sqrt(hz*next))
		hz = next
	}
	if len(p.hz) < 2*windowSteps || p.hz[len(p.hz)-1] < 2*p.hz[0] {
		return nil
	}
	p.bounds = append(p.bounds, int(course.TimeOf(hz)*rate))
	period := make([]float64, n)
	copy(period, stim.Sweep())
	p.played = slices.Clone(p.analytic(period))
	return p
}

// analytic is the analytic signal of a period, good until the next call: what is
// imaginary of it is its Hilbert transform, by transforms of real values, which take
// half the time of complex ones.
func (p *passages) analytic(period []float64) []complex128 {
	c := p.plan.Coefficients(p.lines, period)
	c[0] = 0
	if len(period)%2 == 0 {
		c[len(c)-1] = 0
	}
	n := float64(len(period))
	for l, v := range c {
		c[l] = complex(imag(v)/n, -real(v)/n)
	}
	for i, v := range p.plan.Sequence(p.work, c) {
		p.signal[i] = complex(period[i], v)
	}
	return p.signal
}

// of is the passage of a period.
func (p *passages) of(period []float64) []complex128 {
	z := p.analytic(period)
	out := make([]complex128, len(p.hz))
	for s := range out {
		var sum complex128
		square := 0.0
		for i := p.bounds[s]; i < p.bounds[s+1]; i++ {
			x := p.played[i]
			sum += z[i] * complex(real(x), -imag(x))
			square += real(x)*real(x) + imag(x)*imag(x)
		}
		out[s] = sum / complex(square, 0)
	}
	return out
}

// ofAll are the passages of several periods.
func (p *passages) ofAll(periods [][]float64) (all [][]complex128) {
	for _, period := range periods {
		all = append(all, p.of(period))
	}
	return all
}

// samples is how many samples a step has.
func (p *passages) samples(step int) float64 { return float64(p.bounds[step+1] - p.bounds[step]) }
