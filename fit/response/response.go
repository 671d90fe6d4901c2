// Package response estimates a coil's complex frequency response, and its
// variance, from a recorded take.
//
// The road from a recording to points:
//
//  1. Mains hum is fitted in the silent parts of the recording and taken off
//     (mains.go).
//  2. Each whole, undamaged repeat is transformed over one period and divided
//     by the spectrum of the stimulus; mean and spread over the repeats are
//     kept for every line (lines.go).
//     The drive's slope is divided out of the coil's lines (drive.go).
//  3. The mean is an impulse response in which the harmonics of order n lie
//     L ln n before the linear part [1, 2]; those of a shaped sweep lie spread
//     out, each at least by the time between f and n f before it. A gate keeps the linear part. Its
//     length falls with frequency, so that one gate is one point of a
//     logarithmic grid (gate.go): within the flat part of the gate the
//     estimate has no bias, and points are a gate's resolution apart, hence
//     nearly uncorrelated.
//  4. The spread over the repeats, averaged over the lines that a point is
//     made of and their neighbours, gives the point's variance [3] (noise.go).
//  5. Where there is a reference, its points divide those of the coil; the
//     variance takes in both channels and their covariance.
//
// References:
//
//	[1] A. Farina, 108th AES Convention, 2000, preprint 5093.
//	[2] A. Novak, P. Lotton, L. Simon, J. Audio Eng. Soc. 63(10), 2015, 786-798.
//	[3] R. Pintelon, J. Schoukens, System Identification: A Frequency Domain
//	    Approach, 2nd ed., 2012, chapters 2 and 4 (from memory).
package response

import (
	"math"
	"math/cmplx"
)

// Response is the response of one take on a logarithmic grid of frequencies.
// The s-slope of the drive is taken off, so that the low-frequency plateau is
// flat: H is proportional to v/e of the design, times an unknown gain, a small
// delay and, without a reference, the low-end corners of the sound card.
type Response struct {
	// FrequencyHz[i] is where H[i] holds, ascending: about 80 points an octave,
	// equally spaced within a third of an octave, but never closer than the
	// longest gate resolves (about 1.7 Hz). It begins and ends where the
	// stimulus has power enough: 25 Hz to 19.4 kHz for 20 Hz to 20 kHz.
	FrequencyHz []float64
	// H[i] is the response, dimensionless up to the unknown gain.
	H []complex128
	// Variance[i] is E|H[i]-E H[i]|^2, real and imaginary part together
	// (circular: each has half). Not below (1e-5 |H[i]|)^2, about what the
	// gates leave out.
	Variance []float64
	// VarianceDoF is the effective number of real degrees of freedom behind
	// each Variance (after smoothing over neighbours): the harmonic mean over
	// the points, so that E(1/Variance) is DoF/(DoF-2) of the truth on average.
	VarianceDoF float64
	// NoiseFloor[i] is the magnitude of the noise in H[i] as found in the
	// lead-in silence: sqrt of its expected |.|^2. NaN where there was none.
	NoiseFloor []float64
	// Harmonic[n][i] is the magnitude of the harmonic n+2 relative to the
	// linear response, both as recorded in the coil channel, at excitation
	// frequency FrequencyHz[i]; NaN where it falls out of the band. Nil for a
	// shaped sweep.
	Harmonic [][]float64
	// HarmonicFloor[n][i] is the size of the noise in Harmonic[n][i]: sqrt of its
	// expected |.|^2.
	HarmonicFloor [][]float64
	// harmonicRatio has the phase as well.
	harmonicRatio [][]complex128
	// Repeats is the number of repeats used.
	Repeats int
	// SNRdB is the response over its noise at the plateau: the mean of |H|^2
	// over that of Variance, from 100 Hz to 1 kHz. NaN where the stimulus has
	// nothing there.
	SNRdB float64
	// MainsHz is the frequency of the mains hum that was taken off; 0 where
	// none was found.
	MainsHz float64
	// HumLinesHz are the harmonics of the mains that were taken off and other
	// narrow lines that were left out because they are far noisier than their
	// neighbours.
	HumLinesHz []float64
	// ExtraDelayS was taken off H: the delay of the response's main peak after
	// the start that the alignment gave (less that of the reference).
	ExtraDelayS float64
	// RepeatGain and RepeatDelayS are what was found, and taken off, of the
	// wander of each used repeat against the first (1 and 0: none that stands
	// out of the noise).
	RepeatGain   []float64
	RepeatDelayS []float64
}

// MagnitudeDB is 20 log10 |H[i]|.
func (r *Response) MagnitudeDB(i int) float64 { return 20 * math.Log10(cmplx.Abs(r.H[i])) }
