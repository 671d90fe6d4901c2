package quality

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/stat"

	"coilsweep/capture/align"
	"coilsweep/excite"
)

// Silence is what a channel holds while nothing is played, in dBFS (AES17),
// -200 at least.
type Silence struct {
	// NoiseDBFS is the rms about the mean, hum included. HumDBFS is the part of
	// it at multiples of MainsHz, with MainsHz 0 where none stands out.
	NoiseDBFS, HumDBFS, MainsHz float64
	Octaves                     []Band // see Octaves
}

// Band is the noise in one octave, in dBFS.
type Band struct {
	FromHz float64 `json:"from_hz"`
	ToHz   float64 `json:"to_hz"`
	DBFS   float64 `json:"dbfs"`
}

// InSilence measures x, some tenths of a second or more in which nothing was
// played.
func InSilence(x []float64, rateHz int) Silence {
	if len(x) == 0 {
		return Silence{NoiseDBFS: FloorDBFS, HumDBFS: FloorDBFS}
	}
	s := Silence{NoiseDBFS: DBFS(Variance(x)), HumDBFS: FloorDBFS, Octaves: Octaves(x, rateHz)}
	if hum := FindMains(x, rateHz, []Span{{0, len(x)}}, nil); hum != nil {
		s.HumDBFS, s.MainsHz = DBFS(hum.power()), hum.Hz()
	}
	return s
}

// Octaves is the power of x in octaves from 20 Hz on to half the rate, by its
// transform under a raised cosine; none for less than 256 samples.
func Octaves(x []float64, rateHz int) []Band {
	lines, hz := spectrum(x, rateHz)
	var bands []Band
	for from := 20.0; lines != nil && from < float64(rateHz)/2; from *= 2 {
		b := Band{FromHz: from, ToHz: math.Min(2*from, float64(rateHz)/2)}
		power := 0.0
		for l := int(math.Ceil(b.FromHz / hz)); l < len(lines) && float64(l)*hz < b.ToHz; l++ {
			power += lines[l]
		}
		b.DBFS = DBFS(power)
		bands = append(bands, b)
	}
	return bands
}

// spectrum is the power of each line of x, about its mean, under a raised cosine, and the
// distance of the lines in Hz; nil for less than 256 samples.
func spectrum(x []float64, rateHz int) (lines []float64, hz float64) {
	n := excite.TransformUpTo(len(x))
	if n < 256 {
		return nil, 0
	}
	mean := 0.0
	for _, v := range x[:n] {
		mean += v / float64(n)
	}
	work, energy := make([]float64, n), 0.0
	for i, v := range x[:n] {
		w := 1 - math.Cos(2*math.Pi*float64(i)/float64(n))
		work[i] = w * (v - mean)
		energy += w * w
	}
	for _, c := range fourier.NewFFT(n).Coefficients(nil, work) {
		lines = append(lines, 2*(real(c)*real(c)+imag(c)*imag(c))/(energy*float64(n)))
	}
	return lines, float64(rateHz) / float64(n)
}

// ceilingDB is how far noise falls within a few tenths of an octave where the band of a lower
// sampling rate ends, and stays below: simple resamplers leave an image of some -15 dB.
const ceilingDB = 10

// Ceiling is about the frequency in Hz above which the noise x has next to nothing, well below
// half the sampling rate, as where it was resampled from a lower one; 0: there is none.
func Ceiling(x []float64, rateHz int) float64 {
	lines, hz := spectrum(x, rateHz)
	if lines == nil {
		return 0
	}
	top := float64(rateHz) / 2
	density := func(from, to float64) float64 {
		return stat.Mean(lines[int(from/hz):min(int(to/hz), len(lines))], nil)
	}
	for f := top / 8; f < 0.95*top; f += top / 96 {
		nothing := density(0.7*f, 0.9*f) * math.Pow(10, -ceilingDB/10.0)
		if density(1.02*f, min(1.3*f, top)) < nothing && density(1.02*f, top) < nothing {
			return f
		}
	}
	return 0
}

const (
	// resampledDB is how far noise falls within an eighth where a resampler's filter ends it:
	// more than beyond the resonance of any coil.
	resampledDB = 20
	// clearlyBelow is the largest share of half the sampling rate at which such an end counts.
	// Above it a sound card's own filter ends the band, and may do so as steeply; a band of
	// 22.05 kHz at 48 kHz is not told from that.
	clearlyBelow = 0.8
	// leastLines are those of a spectrum in which the end of a band is looked for.
	leastLines = 2048
)

// Resampled tells whether the band of the noise x ends as by the filter of a resampler,
// clearly below half the sampling rate. Unlike Ceiling it takes neither a coil's resonance
// nor a tone for such an end.
func Resampled(x []float64, rateHz int) bool {
	lines, hz := spectrum(x, rateHz)
	if len(lines) < leastLines {
		return false
	}
	top := float64(rateHz) / 2
	band := func(from, to float64) []float64 { return lines[int(from/hz):min(int(to/hz), len(lines))] }
	median := func(from, to float64) float64 {
		sorted := slices.Sorted(slices.Values(band(from, to)))
		return sorted[len(sorted)/2]
	}
	for f := top / 8; f < clearlyBelow*top; f += top / 96 {
		edge := median(0.9*f, 0.97*f)
		nothing := edge * math.Pow(10, -resampledDB/10.0)
		if stat.Mean(band(1.05*f, min(1.3*f, top)), nil) < nothing && stat.Mean(band(1.05*f, top), nil) < nothing &&
			median(0.5*f, 0.9*f) > edge/10 {
			return true
		}
	}
	return false
}

const (
	// guardS is how much earlier than the alignment's start the sweep may have
	// begun: the alignment counts the coil's own delay.
	guardS = 0.005
	// ringOutS is how long after a sweep the coil may still be heard.
	ringOutS = 0.03
)

// Silences are the parts of a recording of n samples in which nothing of
// the stimulus is heard: the lead-in, the gaps, the tail.
func Silences(stim excite.Stimulus, at align.Alignment, n int) []Span {
	rate := float64(stim.RateHz)
	guard, ring := int(guardS*rate), int(ringOutS*rate)
	var out []Span
	add := func(begin, end int) {
		begin, end = max(begin, 0), min(end, n)
		for _, j := range at.Jumps {
			if s := int(j.Sample); s > begin-ring && s < end+ring {
				return // where just it lies is not known
			}
		}
		if end > begin {
			out = append(out, Span{begin, end})
		}
	}
	first := true
	for k, start := range at.StartSample {
		if math.IsNaN(start) {
			continue
		}
		if first && k == 0 {
			add(int(start)-stim.LeadInSamples, int(start)-guard)
		}
		first = false
		end := int(start) + stim.PeriodSamples - guard
		if k == len(at.StartSample)-1 || k == stim.Repeats-1 {
			end += stim.TailSamples
		}
		add(int(start)+stim.SweepSamples+ring, end)
	}
	return out
}
