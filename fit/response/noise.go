package response

import (
	"math"
	"math/cmplx"
	"slices"

	"coilsweep/excite"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mathext"
)

const (
	// wantedLines is how many independent (complex) values are averaged, at
	// least, for the variance of a point: enough that using it as a weight
	// costs next to nothing.
	wantedLines = 40
	// falseLine is the chance at which a line of plain noise is taken for
	// one that something stands on.
	falseLine = 1e-7
	// roundOff is the magnitude relative to the response below which scatter
	// is the arithmetic's.
	roundOff = 1e-9
)

// covariance is that of the coil and reference channels' deviations.
type covariance struct {
	yy, vv float64
	yv     complex128
}

func (c covariance) scaled(k float64) covariance {
	return covariance{c.yy * k, c.vv * k, c.yv * complex(k, 0)}
}

// lineNoise is the noise of the mean lines as it was in the recording, where it
// is smoothest: that of the deconvolved lines times the power of the stimulus.
type lineNoise struct {
	yy, vv []float64
	yv     []complex128
	// perLine is the number of independent complex values behind a line.
	perLine float64
	noisy   []bool // lines left out
	lo, hi  int

	// running sums over the lines not left out, from lo on; of vv and yv beside a
	// reference only
	sumYY, sumVV []float64
	sumYV        []complex128
	count        []int32
}

// maskedEnds is the mask below which the noise of a line says nothing.
const maskedEnds = 0.02

// newLineNoise takes over the noise of deconvolved lines, times k.
func newLineNoise(in *inverse, yy, vv []float64, yv []complex128, perLine, k float64) *lineNoise {
	n := &lineNoise{yy: yy, vv: vv, yv: yv, perLine: perLine, lo: in.lo, hi: in.hi}
	for n.lo < n.hi && in.mask[n.lo] < maskedEnds {
		n.lo++
	}
	for n.hi > n.lo && in.mask[n.hi-1] < maskedEnds {
		n.hi--
	}
	for l := n.lo; l < n.hi; l++ {
		k := k / (in.mask[l] * in.mask[l])
		yy[l] *= k * in.coilPower[l]
		if vv != nil {
			vv[l] *= k * in.power[l]
			yv[l] *= complex(k*math.Sqrt(in.coilPower[l]*in.power[l]), 0)
		}
	}
	return n
}

// repeatNoise is the noise of the mean from the scatter of the repeats.
func repeatNoise(in *inverse, s *spectra) *lineNoise {
	r := float64(s.repeats)
	return newLineNoise(in, s.yy, s.vv, s.yv, r-1, 1/(r*(r-1)))
}

// lagNoise is the noise of a single repeat from those lags of its impulse
// responses, from begin to end, that neither the linear response nor
// harmonics of low order reach.
func lagNoise(in *inverse, hy, hv []float64, begin, end int) *lineNoise {
	edge := float64(end-begin) / 8
	g := edgedGate(edge, 0, float64(end-begin)-2*edge, edge)
	perLine := g.energy / float64(in.samples)
	work := make([]float64, in.samples)
	spectrum := func(h []float64) []complex128 {
		clear(work)
		for i, w := range g.window {
			work[i] = w * h[modulo(begin+i, len(h))]
		}
		return in.lines(nil, work)
	}
	y := spectrum(hy)
	yy := make([]float64, len(y))
	for l, a := range y {
		yy[l] = square(a)
	}
	var vv []float64
	var yv []complex128
	if hv != nil {
		v := spectrum(hv)
		vv, yv = make([]float64, len(y)), make([]complex128, len(y))
		for l, b := range v {
			vv[l] = square(b)
			yv[l] = y[l] * cmplx.Conj(b)
		}
	}
	return newLineNoise(in, yy, vv, yv, perLine, 1/perLine)
}

// accumulate makes the running sums anew.
func (n *lineNoise) accumulate() {
	if size := n.hi - n.lo + 1; n.vv != nil {
		n.sumVV, n.sumYV = make([]float64, size), make([]complex128, size)
	}
	for l := n.lo; l < n.hi; l++ {
		var here covariance
		i, counts := l-n.lo, int32(0)
		if !n.noisy[l] {
			here.yy, counts = n.yy[l], 1
			if n.vv != nil {
				here.vv, here.yv = n.vv[l], n.yv[l]
			}
		}
		n.sumYY[i+1], n.count[i+1] = n.sumYY[i]+here.yy, n.count[i]+counts
		if n.vv != nil {
			n.sumVV[i+1], n.sumYV[i+1] = n.sumVV[i]+here.vv, n.sumYV[i]+here.yv
		}
	}
}

// around is the mean noise of a line near the (fractional) line at, over half
// lines to each side or as many as it takes, and the number of independent
// values behind it.
func (n *lineNoise) around(at, half float64) (mean covariance, values float64) {
	half = max(half, 0.5*wantedLines/n.perLine)
	for ; ; half *= 1.5 {
		from := min(max(int(math.Ceil(at-half)), n.lo), n.hi) - n.lo
		to := min(max(int(math.Floor(at+half))+1, n.lo), n.hi) - n.lo
		count := n.count[to] - n.count[from]
		values = float64(count) * n.perLine
		if values < wantedLines/2 && to-from < n.hi-n.lo {
			continue // most of it is left out, or it is the band's end
		}
		mean.yy = n.sumYY[to] - n.sumYY[from]
		if n.vv != nil {
			mean.vv, mean.yv = n.sumVV[to]-n.sumVV[from], n.sumYV[to]-n.sumYV[from]
		}
		return mean.scaled(1 / float64(max(count, 1))), values
	}
}

// leaveOut finds the lines that are far noisier than those about them (hum
// that wanders, other narrow interference), and fades them out of the spectra
// in inverse proportion to their noise. It returns the mask without them, nil where
// there are none.
func (n *lineNoise) leaveOut(in *inverse, s *spectra) (mask []float64) {
	n.noisy = make([]bool, len(n.yy))
	share := make([]float64, len(n.yy)) // what a noisy line keeps
	n.sumYY, n.count = make([]float64, n.hi-n.lo+1), make([]int32, n.hi-n.lo+1)
	n.findNoisy(in, n.yy, s.y, in.coilPower, share)
	if n.vv != nil {
		n.findNoisy(in, n.vv, s.v, in.power, share)
	}
	for l := n.lo; l < n.hi; l++ {
		if !n.noisy[l] {
			continue
		}
		if mask == nil {
			mask = slices.Clone(in.mask)
		}
		mask[l] *= share[l]
		s.y[l] *= complex(share[l], 0)
		if s.v != nil {
			s.v[l] *= complex(share[l], 0)
		}
	}
	n.accumulate()
	return mask
}

// findNoisy marks the lines of one channel that stand out of their
// neighbours, as they were in the recording.
func (n *lineNoise) findNoisy(in *inverse, noise []float64, signal []complex128, power, share []float64) {
	k := max(1, n.perLine)
	limit := mathext.GammaIncRegCompInv(k, falseLine) / k
	half := int(math.Ceil(2 * wantedLines / n.perLine))
	sum, count := n.sumYY, n.count // for now
	for range 4 {                  // each round sees lines that stronger ones hid
		for l := n.lo; l < n.hi; l++ {
			i := l - n.lo
			sum[i+1], count[i+1] = sum[i], count[i]
			if share[l] == 0 {
				sum[i+1] += noise[l]
				count[i+1]++
			}
		}
		found := false
		for l := n.lo; l < n.hi; l++ {
			if share[l] != 0 {
				continue
			}
			a, b := max(l-half, n.lo)-n.lo, min(l+half+1, n.hi)-n.lo
			mean := (sum[b] - sum[a]) / float64(count[b]-count[a])
			floor := roundOff * roundOff * square(signal[l]) * power[l]
			if noise[l] > limit*mean && noise[l] > floor {
				n.noisy[l], found = true, true
				share[l] = mean / noise[l]
			}
		}
		if !found {
			return
		}
	}
}

// leftOutHz are the middles of the runs of lines left out.
func (n *lineNoise) leftOutHz(lineHz float64) []float64 {
	var out []float64
	for l := n.lo; l < n.hi; l++ {
		if !n.noisy[l] {
			continue
		}
		first := l
		for l+1 < n.hi && n.noisy[l+1] {
			l++
		}
		out = append(out, 0.5*float64(first+l)*lineHz)
	}
	return out
}

// silence is the power density of the noise in a silent stretch.
type silence struct {
	lineHz float64
	sum    []float64 // running sum of the expected |transform|^2 of one sample
}

// newSilence takes the power density of samples under a raised cosine.
func newSilence(samples []float64, rateHz float64) *silence {
	n := excite.TransformUpTo(len(samples))
	if n < 256 {
		return nil
	}
	work := make([]float64, n)
	energy, mean := 0.0, 0.0
	for _, x := range samples[:n] {
		mean += x / float64(n)
	}
	for i, x := range samples[:n] {
		w := 1 - math.Cos(2*math.Pi*float64(i)/float64(n))
		energy += w * w
		work[i] = w * (x - mean)
	}
	c := fourier.NewFFT(n).Coefficients(nil, work)
	s := &silence{lineHz: rateHz / float64(n), sum: make([]float64, len(c)+1)}
	for l, a := range c {
		s.sum[l+1] = s.sum[l] + square(a)/energy
	}
	return s
}

// density is the expected |transform|^2 of the noise per sample near hz: the
// mean over a twelfth of an octave to each side, eight lines at least.
func (s *silence) density(hz float64) float64 {
	half := max(8, hz*(math.Exp2(1.0/12)-1)/s.lineHz)
	at := hz / s.lineHz
	from := min(max(int(math.Ceil(at-half)), 2), len(s.sum)-2)
	to := min(max(int(at+half)+1, from+1), len(s.sum)-1)
	return (s.sum[to] - s.sum[from]) / float64(to-from)
}

// recorded is the noise that the silence predicts near hz for a line of the
// mean over the repeats.
func (s *silence) recorded(in *inverse, hz float64, repeats int) float64 {
	return float64(in.samples) * s.density(hz) / float64(repeats)
}

// silenceNoise is the noise of the mean lines as the silence has it: what is
// left where a single repeat has no lags free of the response.
func silenceNoise(in *inverse, coil, reference *silence, repeats int) *lineNoise {
	n := &lineNoise{lo: in.lo, hi: in.hi, perLine: min(1, in.lineHz()/coil.lineHz)}
	fill := func(s *silence) []float64 {
		out := make([]float64, len(in.mask))
		for l := in.lo; l < in.hi; l++ {
			out[l] = s.recorded(in, float64(l)*in.lineHz(), repeats)
		}
		return out
	}
	n.yy = fill(coil)
	if reference != nil {
		n.vv, n.yv = fill(reference), make([]complex128, len(in.mask))
	}
	return n
}

// deconvolved is recorded noise as it is in the lines about the (fractional)
// line at, half lines to each side, without the mask.
func (in *inverse) deconvolved(c covariance, at, half float64) covariance {
	from := max(int(math.Ceil(at-half)), in.lo)
	to := min(max(int(at+half), from), in.hi-1)
	var y, v, yv float64
	for l := from; l <= to; l++ {
		y += 1 / in.coilPower[l]
		v += 1 / in.power[l]
		yv += 1 / math.Sqrt(in.coilPower[l]*in.power[l])
	}
	k := 1 / float64(to-from+1)
	return covariance{c.yy * y * k, c.vv * v * k, c.yv * complex(yv*k, 0)}
}
