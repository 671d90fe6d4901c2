// Package sound lets the difference between coils be heard: it sends a recording
// through responses, brings what comes out to the same loudness, and tells of the
// recording what a comparison of its octaves needs.
//
// A response is applied as the filter of minimum phase with its magnitude, which a coil
// with cable and controls is: nothing sounds before it is played. The phase follows
// from the logarithm of the magnitude by the Hilbert transform, here by way of the
// cepstrum [1].
//
// References:
//
//	[1] A. V. Oppenheim, R. W. Schafer: Discrete-Time Signal Processing, chapter
//	    "Cepstrum analysis and homomorphic deconvolution". (From memory.)
package sound

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Lengths of the transforms, powers of 2: those of gonum are quick then, and exact.
const (
	filterLength = 1 << 16 // of the frequency response
	taps         = 1 << 14 // of the filter; what is later has faded out
	blockLength  = 1 << 16 // of the convolution
)

// Frequencies are those at which a Filter wants the magnitudes, in Hz, from 0 to half
// the rate.
func Frequencies(rateHz int) []float64 {
	hz := make([]float64, filterLength/2+1)
	for i := range hz {
		hz[i] = float64(i) * float64(rateHz) / filterLength
	}
	return hz
}

// Filter is a filter of minimum phase, as its impulse response.
type Filter []float64

// NewFilter is the filter with these magnitudes at Frequencies.
func NewFilter(magnitude []float64) Filter {
	const n = filterLength
	plan := fourier.NewFFT(n)
	floor := 1e-9 * slices.Max(magnitude) // no logarithm of zero
	spectrum := make([]complex128, n/2+1)
	for i, m := range magnitude {
		spectrum[i] = complex(math.Log(max(m, floor)), 0)
	}
	// The even cepstrum, folded into its causal half.
	cepstrum := plan.Sequence(nil, spectrum)
	for i := range cepstrum {
		switch {
		case i == 0 || i == n/2:
			cepstrum[i] /= n
		case i < n/2:
			cepstrum[i] *= 2.0 / n
		default:
			cepstrum[i] = 0
		}
	}
	plan.Coefficients(spectrum, cepstrum)
	for i, c := range spectrum {
		spectrum[i] = cmplx.Exp(c) / n
	}
	return Filter(plan.Sequence(nil, spectrum)[:taps:taps])
}

// Apply is x through the filter, as long as x: overlap and add, by FFT.
func (f Filter) Apply(x []float64) []float64 {
	const n = blockLength
	plan := fourier.NewFFT(n)
	padded := make([]float64, n)
	copy(padded, f)
	response := plan.Coefficients(nil, padded)
	spectrum := make([]complex128, len(response))
	out := make([]float64, len(x))
	for at := 0; at < len(x); at += n - len(f) + 1 {
		clear(padded)
		copy(padded, x[at:min(at+n-len(f)+1, len(x))])
		plan.Coefficients(spectrum, padded)
		for i := range spectrum {
			spectrum[i] *= response[i] / n
		}
		plan.Sequence(padded, spectrum)
		for i := range min(n, len(x)-at) {
			out[at+i] += padded[i]
		}
	}
	return out
}
