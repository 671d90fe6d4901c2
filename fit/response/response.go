// Package response estimates a coil's complex frequency response, and its
// variance, from a recorded take.
package response

import (
	"math"
	"math/cmplx"
)

// Response is the response of one take on a logarithmic grid of frequencies.
// The s-slope of the drive is taken off, so that the low-frequency plateau is
// flat: H is proportional to v/e of the design, times an unknown gain, a small
// delay and the low-end corners of the sound card.
type Response struct {
	// FrequencyHz[i] is where H[i] holds, ascending.
	FrequencyHz []float64
	// H[i] is the response, dimensionless up to the unknown gain.
	H []complex128
	// Variance[i] is E|H[i]-E H[i]|^2, real and imaginary part together
	// (circular: each has half).
	Variance []float64
	// VarianceDoF is the effective number of degrees of freedom behind each
	// Variance (after smoothing over neighbours).
	VarianceDoF float64
	// NoiseFloor[i] is the magnitude of the noise in H[i] as found in the
	// lead-in silence: sqrt of its expected |.|^2.
	NoiseFloor []float64
	// Harmonic[n][i] is the magnitude of the harmonic n+2 relative to the
	// linear response, at excitation frequency FrequencyHz[i]; NaN where it
	// falls out of the band.
	Harmonic [][]float64
	// Repeats is the number of repeats used.
	Repeats int
	// SNRdB is the response over its noise at the plateau.
	SNRdB float64
	// HumLinesHz are the lines left out because hum stands on them.
	HumLinesHz []float64
	// ExtraDelayS was taken off H (bulk delay found by the alignment).
	ExtraDelayS float64
}

// MagnitudeDB is 20 log10 |H[i]|.
func (r *Response) MagnitudeDB(i int) float64 { return 20 * math.Log10(cmplx.Abs(r.H[i])) }
