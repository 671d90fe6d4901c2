package response

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// DistortionLimit is the ratio of a harmonic to the fundamental from which on
// the exciter, its amplifier, an input or a core is driven out of its linear
// range (common practice: 1 %).
const DistortionLimit = 0.01

// harmonicScatter is how much the logarithm of a harmonic's size scatters about a
// straight line over that of the frequency. That of noise, whose size has a
// Rayleigh distribution, has a standard deviation of pi/sqrt(24) = 0.64.
const harmonicScatter = 0.3

// HarmonicRatio is the size of the harmonic of that order (2, 3) over the
// fundamental as recorded: the median between 300 Hz and 1.2 kHz, below the
// resonance of usual coils. seen as in HarmonicRatioWithin.
func (r *Response) HarmonicRatio(order int) (ratio float64, seen bool) {
	return r.HarmonicRatioWithin(order, 300, 1200)
}

// HarmonicRatioWithin is the median size of the harmonic of that order over the
// fundamental, for fundamentals from lowHz to highHz. It is seen where its size
// follows a line, rising or falling, as that of noise does not.
func (r *Response) HarmonicRatioWithin(order int, lowHz, highHz float64) (ratio float64, seen bool) {
	if order < 2 || order-2 >= len(r.Harmonic) {
		return 0, false
	}
	var size, x, y []float64
	for i, v := range r.Harmonic[order-2] {
		if hz := r.FrequencyHz[i]; hz >= lowHz && hz <= highHz && v > 0 {
			size, x, y = append(size, v), append(x, math.Log(hz)), append(y, math.Log(v))
		}
	}
	if len(size) < 4 {
		return 0, false
	}
	offset, slope := stat.LinearRegression(x, y, nil, false)
	square := 0.0
	for i := range x {
		off := y[i] - offset - slope*x[i]
		square += off * off
	}
	slices.Sort(size)
	return size[len(size)/2], math.Sqrt(square/float64(len(size)-2)) < harmonicScatter
}

// HarmonicRatioAt is HarmonicRatioWithin for a sixth of an octave about hz. Where the
// harmonic lies beyond the band there, it is that of the highest sixth of an octave
// where it does not, at most an octave below, carried to hz with the level: a
// harmonic of order n goes with its power of n-1 at least.
func (r *Response) HarmonicRatioAt(order int, hz float64) (ratio float64, seen bool) {
	const twelfth = 1.0595 // of an octave
	if order < 2 || order-2 >= len(r.Harmonic) {
		return 0, false
	}
	top := 0.0
	for i, f := range r.FrequencyHz {
		if f <= hz && r.Harmonic[order-2][i] > 0 {
			top = f
		}
	}
	about := func(hz float64) (ratio float64, seen bool) {
		// Of a coarse grid at least two points to each side.
		i := r.nearest(hz)
		low, high := r.FrequencyHz[max(0, i-2)], r.FrequencyHz[min(i+2, len(r.FrequencyHz)-1)]
		return r.HarmonicRatioWithin(order, min(hz/twelfth, low), max(hz*twelfth, high))
	}
	if top >= hz/twelfth {
		return about(hz)
	}
	if top < hz/2 {
		return 0, false
	}
	rise := cmplx.Abs(r.H[r.nearest(hz)] / r.H[r.nearest(top/twelfth)])
	ratio, seen = about(top / twelfth)
	return ratio * math.Pow(math.Max(1, rise), float64(order-1)), seen
}

// nearest is the first point at or above hz, the last where there is none.
func (r *Response) nearest(hz float64) int {
	i, _ := slices.BinarySearch(r.FrequencyHz, hz)
	return min(i, len(r.FrequencyHz)-1)
}
