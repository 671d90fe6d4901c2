package response

import (
	"errors"
	"math"
	"math/cmplx"
	"sync"

	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	// enoughPower is the power of the stimulus over that of the ideal sweep
	// (proportional to dwell/f) down to which its lines are used.
	enoughPower = 0.03
	// The mask rises over bottomTaper times the lowest frequency and falls
	// over topTaper times the highest. Wide edges cost nothing, as the mask
	// divides out of each point; they keep what the ends of the band do to the
	// impulse response short, within the gates.
	bottomTaper = 2
	topTaper    = 0.3
	// clearOfBottom and clearOfTop are how many gate resolutions a point stays
	// clear of the mask's ends.
	clearOfBottom = 4
	clearOfTop    = 10
)

// masked is the stimulus's masked inverse, line by line of one period; it does not
// change any more once it is made, but for its transform.
type masked struct {
	transform
	samples int // of a period
	rateHz  float64
	lo, hi  int // lines lo … hi-1 carry stimulus
	// weight is m conj(X)/|X|^2, m the mask.
	weight []complex128
	// mask fades from 1 in the band to 0 at its ends. All spectra are kept
	// times the mask, and divided by the gated mask at the end.
	mask []float64
	// power is |X|^2: white noise in the recording is in inverse proportion to it in
	// the lines.
	power []float64

	once      sync.Once
	maskWhole []float64 // inverse.maskImpulse of mask
}

// inverse is masked for a take.
type inverse struct {
	*masked
	// coilWeight and coilPower are weight and power with the drive's slope divided out
	// as well, which makes the coil's response flat at the low end and so free of bias
	// by the gate there.
	coilWeight []complex128
	coilPower  []float64
}

// transform is that of a period, for one at a time: its tables are as large as two
// periods.
type transform struct {
	guard sync.Mutex
	plan  *fourier.FFT
}

// lines is the transform of a period, in dst where that is not nil.
func (t *transform) lines(dst []complex128, period []float64) []complex128 {
	t.guard.Lock()
	defer t.guard.Unlock()
	return t.plan.Coefficients(dst, period)
}

// period is its inverse, times the number of samples.
func (t *transform) period(dst []float64, lines []complex128) []float64 {
	t.guard.Lock()
	defer t.guard.Unlock()
	return t.plan.Sequence(dst, lines)
}

// newMasked makes the inverse of one period of the stimulus, in which an octave
// takes the time dwell (1: as long as the mean of all) at a frequency.
func newMasked(period []float64, rateHz, fromHz, toHz float64,
	dwell func(hz float64) float64) (*masked, error) {
	in := &masked{samples: len(period), rateHz: rateHz}
	in.plan = fourier.NewFFT(len(period))
	in.weight = in.lines(nil, period)
	lines := len(in.weight)
	in.mask, in.power = make([]float64, lines), make([]float64, lines)
	line := in.lineHz()
	var law float64 // |X|^2 f/dwell of the ideal sweep
	middle := int(math.Sqrt(fromHz*toHz) / line)
	for l, x := range in.weight {
		in.power[l] = square(x)
		if l > middle/2 && l <= 2*middle {
			law += in.power[l] * float64(l) / dwell(float64(l)*line) / (1.5 * float64(middle))
		}
	}
	enough := func(l int) bool { return in.power[l]*float64(l) > enoughPower*law*dwell(float64(l)*line) }
	if middle < 1 || middle >= lines || !enough(middle) {
		return nil, errors.New("the stimulus has no power in its own band")
	}
	for in.lo = middle; in.lo > 1 && enough(in.lo-1); in.lo-- {
	}
	for in.hi = middle; in.hi < lines-1 && enough(in.hi); in.hi++ {
	}
	for l, x := range in.weight {
		if l < in.lo || l >= in.hi {
			in.weight[l] = 0
			continue
		}
		f := float64(l) * line
		in.mask[l] = smoothStep((f-in.bottomHz())/(bottomTaper*fromHz)) * smoothStep((in.topHz()-f)/(topTaper*toHz))
		in.weight[l] = cmplx.Conj(x) * complex(in.mask[l]/in.power[l], 0)
	}
	return in, nil
}

// sloped puts into in what masked is with the slope of a take's drive.
func (in *inverse) sloped(m *masked, slope func(hz float64) complex128) {
	in.masked = m
	for l := in.lo; l < in.hi; l++ {
		e := slope(float64(l) * in.lineHz())
		in.coilWeight[l] = in.weight[l] / e
		in.coilPower[l] = in.power[l] * square(e)
	}
}

// bottomHz and topHz are where the mask ends.
func (in *masked) bottomHz() float64 { return float64(in.lo-1) * in.lineHz() }
func (in *masked) topHz() float64    { return float64(in.hi) * in.lineHz() }

// lineHz is the distance of the lines.
func (in *masked) lineHz() float64 { return in.rateHz / float64(in.samples) }

// spectra are the deconvolved lines of the coil channel (y) and the reference
// channel (v, nil without one), the coil's with the drive's slope divided out:
// their mean over the repeats and the sums of squared deviations from it, all
// times the mask.
type spectra struct {
	repeats int
	y, v    []complex128
	yy, vv  []float64
	yv      []complex128 // of dy conj(dv)
	gain    []float64
	delayS  []float64

	y1, v1 []complex128 // work: the repeat at hand
}

// add takes in one repeat: a period of the coil channel and, where the
// spectra have one, of the reference.
func (s *spectra) add(in *inverse, coil, reference []float64) {
	in.lines(s.y1, coil)
	for l := in.lo; l < in.hi; l++ {
		s.y1[l] *= in.coilWeight[l]
	}
	if s.v != nil {
		in.lines(s.v1, reference)
		for l := in.lo; l < in.hi; l++ {
			s.v1[l] *= in.weight[l]
		}
	}
	gain, delay := 1.0, 0.0
	if s.repeats > 0 && s.v == nil {
		// With a reference, what moves both channels cancels out of the ratio.
		gain, delay = s.together(in)
	}
	s.gain = append(s.gain, gain)
	s.delayS = append(s.delayS, delay)

	// Mean and squared deviations by B. P. Welford's update (Technometrics 4,
	// 1962).
	s.repeats++
	k := 1 / float64(s.repeats)
	for l := in.lo; l < in.hi; l++ {
		d := s.y1[l] - s.y[l]
		s.y[l] += complex(k, 0) * d
		s.yy[l] += (1 - k) * square(d)
		if s.v != nil {
			e := s.v1[l] - s.v[l]
			s.v[l] += complex(k, 0) * e
			s.vv[l] += (1 - k) * square(e)
			s.yv[l] += complex(1-k, 0) * d * cmplx.Conj(e)
		}
	}
}

// together takes the wander off the repeat at hand. Each round sees what a
// straight line in gain and delay left.
func (s *spectra) together(in *inverse) (gain, delayS float64) {
	gain = 1
	for range 3 {
		g, d := s.wander(in)
		if g == 1 && d == 0 {
			break
		}
		s.undo(in, g, d)
		gain, delayS = gain*g, delayS+d
	}
	return gain, delayS
}

// wander finds by least squares the gain and the delay of the repeat at hand
// against the mean so far: an exciter that warms up, two clocks. Lines weigh
// as for white noise at the recorder; the uncertainty allows for any colour
// (H. White, Econometrica 48(4), 1980). What does not stand out of the noise
// is 1 and 0.
func (s *spectra) wander(in *inverse) (gain, delayS float64) {
	var auto, cross, slope, curve, uCross, uSlope float64
	for l := in.lo; l < in.hi; l++ {
		m, d := s.y[l], s.y1[l]-s.y[l]
		w := 2 * math.Pi * float64(l) * in.lineHz()
		p := in.coilPower[l] * square(m)
		auto += p
		curve += p * w * w
		z := d * cmplx.Conj(m) * complex(in.coilPower[l], 0)
		cross += real(z)
		slope -= w * imag(z)
		u := square(z) / 2
		uCross += u
		uSlope += u * w * w
	}
	if auto == 0 {
		return 1, 0
	}
	gain = 1
	if math.Abs(cross) > 5*math.Sqrt(uCross) {
		gain += cross / auto
	}
	if math.Abs(slope) > 5*math.Sqrt(uSlope) && math.Abs(slope/curve)*in.rateHz < 0.5 {
		delayS = slope / curve
	}
	return gain, delayS
}

func (s *spectra) undo(in *inverse, gain, delayS float64) {
	if gain == 1 && delayS == 0 {
		return
	}
	for l := in.lo; l < in.hi; l++ {
		sin, cos := math.Sincos(2 * math.Pi * float64(l) * in.lineHz() * delayS)
		s.y1[l] *= complex(cos/gain, sin/gain)
	}
}
