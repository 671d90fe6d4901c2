package virtual

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// interpolator is the low-pass between the rate of the sound card and the
// internal rate, in both directions: a sinc under a Kaiser window (J. F. Kaiser
// and R. W. Schafer, IEEE Trans. ASSP 28, 1980), linear in phase, its delay
// taken off. Up to passHz of its rate it is flat within 0.0001 dB; above
// rate - passHz it stops by 100 dB and more.
type interpolator struct {
	half  int // half width in samples of the card's rate
	beta  float64
	scale float64 // 1/I0(beta)
}

const stopBandDB = 110

// passFraction is the upper edge of the flat band over the rate: 20 kHz where
// the rate is low, else 5/12 of the rate.
func passFraction(rateHz int) float64 {
	return math.Min(0.46, math.Max(5.0/12, 20000/float64(rateHz)))
}

func newInterpolator(rateHz int) interpolator {
	transition := 1 - 2*passFraction(rateHz)
	beta := 0.1102 * (stopBandDB - 8.7)
	return interpolator{
		half:  int(math.Ceil((stopBandDB - 7.95) / (14.36 * transition) / 2)),
		beta:  beta,
		scale: 1 / besselI0(beta),
	}
}

// at is the impulse response t samples of the card's rate from its middle.
func (p interpolator) at(t float64) float64 {
	r := t / float64(p.half)
	if math.Abs(r) >= 1 {
		return 0
	}
	sinc := 1.0
	if t != 0 {
		sinc = math.Sin(math.Pi*t) / (math.Pi * t)
	}
	return sinc * besselI0(p.beta*math.Sqrt(1-r*r)) * p.scale
}

// besselI0 is the modified Bessel function of order 0 by its power series
// (NIST Handbook of Mathematical Functions, 10.25.2).
func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= (x / (2 * k)) * (x / (2 * k))
		sum += term
	}
	return sum
}

// upsampler makes samples at factor times the rate.
type upsampler struct {
	factor int
	half   int
	phases [][]float64 // [phase]: weights of 2 half samples
	heard  []float64   // what the block at hand needs of the played samples
}

func newUpsampler(p interpolator, factor int) *upsampler {
	u := &upsampler{factor: factor, half: p.half, phases: make([][]float64, factor)}
	for phase := range u.phases {
		row := make([]float64, 2*p.half)
		for k := range row {
			// Sample k lies k-half+1 from the last sample at or before.
			row[k] = p.at(float64(phase)/float64(factor) - float64(k-p.half+1))
		}
		u.phases[phase] = row
	}
	return u
}

// fill writes the samples from, from+1, ... of the internal rate to dst; play
// is taken as silent before its start and after its end, and limited to full
// scale.
func (u *upsampler) fill(dst []float64, from int, play []float32) {
	first := floorDiv(from, u.factor) - u.half + 1
	last := floorDiv(from+len(dst)-1, u.factor) + u.half
	if need := last - first + 1; cap(u.heard) < need {
		u.heard = make([]float64, need+1) // the next block may need one more
	}
	heard := u.heard[:last-first+1]
	clear(heard)
	for i := max(first, 0); i <= min(last, len(play)-1); i++ {
		heard[i-first] = float64(min(max(play[i], -1), 1))
	}
	for i := range dst {
		base := floorDiv(from+i, u.factor)
		phase := u.phases[from+i-base*u.factor]
		start := base - u.half + 1 - first
		dst[i] = floats.Dot(phase, heard[start:start+len(phase)])
	}
}

// floorDiv is a/b rounded towards minus infinity.
func floorDiv(a, b int) int {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// decimator takes samples at any place of the internal rate, low-passed to the
// rate of the card.
type decimator struct {
	filter interpolator
	factor int
	width  int // weights of one output
	// table[i] holds the weights for the fraction i/fractions of an internal
	// sample, made when first needed; between neighbours they are interpolated
	// linearly, exact to (pi/fractions)^2/8 = 1e-6 of what lies at the internal
	// Nyquist frequency, and 16 times better in the audio band.
	table   [][]float64
	weights []float64 // for the fraction last asked for
	last    float64
}

const fractions = 1024

func newDecimator(p interpolator, factor int) *decimator {
	width := 2 * p.half * factor
	return &decimator{
		filter: p, factor: factor, width: width,
		table:   make([][]float64, fractions+1),
		weights: make([]float64, width),
		last:    math.NaN(),
	}
}

func (d *decimator) row(i int) []float64 {
	if d.table[i] == nil {
		row, sum := make([]float64, d.width), 0.0
		for k := range row {
			row[k] = d.filter.at((float64(i)/fractions - float64(k-d.width/2+1)) / float64(d.factor))
			sum += row[k]
		}
		for k := range row {
			row[k] /= sum // a constant passes unchanged
		}
		d.table[i] = row
	}
	return d.table[i]
}

// aim prepares for a place that lies fraction (0 … 1) of an internal sample
// behind one.
func (d *decimator) aim(fraction float64) {
	if fraction == d.last {
		return
	}
	d.last = fraction
	x := fraction * fractions
	i := min(int(x), fractions-1)
	r := x - float64(i)
	lower, upper := d.row(i), d.row(i+1)
	for k := range d.weights {
		d.weights[k] = lower[k] + r*(upper[k]-lower[k])
	}
}

// take is the value at the place aimed at; window holds the width/2 samples up
// to and with the one before the place, then the width/2 after it.
func (d *decimator) take(window []float64) float64 { return floats.Dot(d.weights, window) }
