package response

import (
	"math"
	"slices"
)

// DistortionLimit is the ratio of a harmonic to the fundamental from which on
// the exciter, its amplifier, an input or a core is driven out of its linear
// range (common practice: 1 %).
const DistortionLimit = 0.01

// HarmonicRatio is the size of the harmonic of that order (2, 3) over the
// fundamental as recorded: the median between 300 Hz and 1.2 kHz, below the
// resonance of usual coils. seen as in HarmonicRatioWithin.
func (r *Response) HarmonicRatio(order int) (ratio float64, seen bool) {
	return r.HarmonicRatioWithin(order, 300, 1200)
}

// HarmonicRatioWithin is the median size of the harmonic of that order over the
// fundamental, for fundamentals from lowHz to highHz. It is seen where its size
// hardly varies: of noise, whose magnitude has a Rayleigh distribution, the
// quartiles are 0.77 medians apart.
func (r *Response) HarmonicRatioWithin(order int, lowHz, highHz float64) (ratio float64, seen bool) {
	if order < 2 || order-2 >= len(r.Harmonic) {
		return 0, false
	}
	var x []float64
	for i, v := range r.Harmonic[order-2] {
		if hz := r.FrequencyHz[i]; hz >= lowHz && hz <= highHz && !math.IsNaN(v) {
			x = append(x, v)
		}
	}
	if len(x) < 5 {
		return 0, false
	}
	slices.Sort(x)
	middle := x[len(x)/2]
	return middle, x[3*len(x)/4]-x[len(x)/4] < 0.5*middle
}
