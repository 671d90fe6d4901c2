package sound

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"

	"coilsweep/fit/harness"
	"coilsweep/report/loudness"
)

const (
	spectrumLength = 1 << 17
	perOctave      = 48
	lowestHz       = 20
	highestHz      = 20e3

	// weightsDB is how far an octave is off at most that is worked out by Weights, where a
	// resonance stands at its end: up to 0.03 dB were found.
	weightsDB = 0.05
)

// Weights is what a recording has at frequencies, 48 an octave, in the mean over its
// length, by the method of Welch: half overlapping stretches under a Hann window.
func Weights(x []float64, rateHz int) []harness.Weight {
	const n = spectrumLength
	plan := fourier.NewFFT(n)
	power := make([]float64, n/2+1)
	stretch := make([]float64, n)
	for at := -n / 2; at < len(x); at += n / 2 {
		for i := range stretch {
			stretch[i] = 0
			if k := at + i; k >= 0 && k < len(x) {
				stretch[i] = x[k] * (1 - math.Cos(2*math.Pi*(float64(i)+0.5)/n))
			}
		}
		for i, c := range plan.Coefficients(nil, stretch) {
			power[i] += real(c * cmplx.Conj(c))
		}
	}
	// Bins fall into bands, of which no one crosses the end of an octave of IEC 61260-1
	// (a factor of 10^0.3 about 1 kHz), each at the mean frequency of its power: low bands
	// have a bin at most, and are left out where they have none.
	var out []harness.Weight
	step := float64(rateHz) / n
	band := func(hz float64) int { return int(math.Floor(perOctave * (math.Log10(hz/1000)/0.3 + 0.5))) }
	last := math.MinInt
	for i := range power {
		hz := float64(i) * step
		if hz < lowestHz || hz >= min(highestHz, float64(rateHz)/2) || power[i] == 0 {
			continue
		}
		if b := band(hz); b != last {
			out, last = append(out, harness.Weight{}), b
		}
		w := &out[len(out)-1]
		w.Power += power[i]
		w.Hz += power[i] * hz
	}
	for i := range out {
		out[i].Hz /= out[i].Power
		k := loudness.Weighting(out[i].Hz, rateHz)
		out[i].Loudness = k * k
	}
	return out
}
