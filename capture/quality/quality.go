// Package quality says what the audio of a take tells of itself: levels,
// noise, hum, clipping, lost samples and clocks. Levels are in dBFS by AES17: a
// full-scale sine has 0 dBFS.
package quality

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"coilsweep/capture"
	"coilsweep/capture/align"
	"coilsweep/excite"
)

const (
	// driftFlagPPM: two clocks; one clock has no drift at all.
	driftFlagPPM = 20
	// loneSweepDelayS is how much the delay of a lone sweep may grow over a
	// factor e in frequency before a second clock is suspected: a coil's own
	// delay makes up to 0.16 ms.
	loneSweepDelayS = 0.2e-3
	// lowSNRDB is the least level of the sweep between 500 Hz and 2 kHz over
	// the broadband noise; the deconvolution gains some 40 dB on it.
	lowSNRDB = 20
	// humFlagDB: hum less than this far below the sweep between 500 Hz and
	// 2 kHz reaches the lower end of the response, where a coil answers less.
	humFlagDB = 20
	// floorDBFS stands for digital silence.
	floorDBFS = -200
)

// Assess finds the stimulus of take in rec and says what the audio tells of
// its quality: levels, noise, hum, clipping, clock, damaged repeats. Channel 1
// is the coil, channel 2 (where take has a reference) is looked at for
// clipping only. Level is that of AES17: a full-scale sine has 0 dBFS.
//
// A recording without the stimulus or without a whole sweep gets a flag and no
// error; errors are for recordings that do not belong to the take at all (no
// channel, another rate, not numbers). take.Quality.Xruns are kept, and flagged
// as drop-outs; only what the audio proves is damage, though.
func Assess(rec capture.Recording, take capture.Take) (capture.Quality, error) {
	q := capture.Quality{Xruns: take.Quality.Xruns, Polarity: 1}
	if len(rec.Samples) == 0 {
		return q, errors.New("the recording has no channel")
	}
	stim := take.Stimulus
	if rec.RateHz != stim.RateHz {
		return q, fmt.Errorf("the recording has %d Hz, the stimulus %d Hz: record or export at %d Hz", rec.RateHz, stim.RateHz, stim.RateHz)
	}
	coil := rec.Samples[0]
	if len(q.Xruns) > 0 {
		q.Flag(capture.Dropout)
	}

	a, err := align.Align(coil, stim)
	switch {
	case errors.Is(err, align.ErrNoStimulus):
		q.Flag(capture.NoStimulus)
	case errors.Is(err, align.ErrTooShort):
		q.Flag(capture.TooShort)
	case err != nil:
		return q, err
	}
	if err != nil {
		whole := []span{{0, len(coil)}}
		q.PeakDBFS, q.RMSDBFS = levels(coil, whole)
		if q.ClippedSamples = sum(clippedIn(coil, whole)); q.ClippedSamples > 0 {
			q.Flag(capture.Clipped)
		}
		return q, nil
	}
	q.AlignmentQuality, q.Polarity, q.DriftPPM = a.Quality, a.Polarity, a.DriftPPM
	if math.Abs(a.DriftPPM) > driftFlagPPM || math.IsInf(a.DriftUPPM, 1) && math.Abs(a.SweepDriftPPM)*1e-6*stim.SweepRateS() > loneSweepDelayS {
		q.Flag(capture.Drift)
	}

	repeats, sweeps := sweepSpans(a, stim, len(coil))
	q.PeakDBFS, q.RMSDBFS = levels(coil, sweeps)
	q.DamagedRepeats = a.Damaged
	assessClipping(&q, rec, take, repeats, sweeps, a.Jumps)
	if len(q.LostRepeats()) > 0 {
		q.Flag(capture.Dropout)
	}
	if n := len(q.DamagedRepeats); n > 0 && n >= len(repeats) && !slices.Contains(q.Flags, capture.Clipped) {
		q.Flag(capture.TooShort) // no whole sweep is left
	}
	assessNoise(&q, coil, stim, a, sweeps)
	return q, nil
}

// assessClipping counts clipped samples of both channels. Where all whole
// repeats are clipped the take is; where some are not, these are enough, and
// the others are flagged and count as damaged. jumps tell whether these lost
// samples, too.
func assessClipping(q *capture.Quality, rec capture.Recording, take capture.Take, repeats []int, sweeps []span, jumps []align.Jump) {
	count := make([]int, len(sweeps))
	channels := rec.Samples[:1]
	if kind := take.Reference.Kind; kind != "" && kind != "none" && len(rec.Samples) > 1 {
		channels = rec.Samples[:2]
	}
	for _, samples := range channels {
		for i, n := range clippedIn(samples, sweeps) {
			count[i] += n
		}
	}
	q.ClippedSamples = sum(count)
	clipped := 0
	for _, n := range count {
		if n > 0 {
			clipped++
		}
	}
	if clipped == len(count) {
		q.Flag(capture.Clipped)
		return
	}
	for i, n := range count {
		if n == 0 {
			continue
		}
		k := repeats[i]
		if !slices.Contains(q.DamagedRepeats, k) {
			q.DamagedRepeats = append(q.DamagedRepeats, k)
		}
		// Clipping looks like samples that were overwritten; only a shift in
		// time shows that some are lost as well.
		if !slices.ContainsFunc(jumps, func(j align.Jump) bool { return j.Repeat == k && j.Samples != 0 }) {
			q.ClippedRepeats = append(q.ClippedRepeats, k)
		}
		q.Flag(capture.ClippedRepeat)
	}
	slices.Sort(q.DamagedRepeats)
}

// assessNoise measures noise and hum where nothing was played, and sets them
// against the sweep between 500 Hz and 2 kHz.
func assessNoise(q *capture.Quality, coil []float64, stim excite.Stimulus, a align.Alignment, sweeps []span) {
	silence := align.Silence(coil, stim, a)
	if silence == nil {
		silence = longestGap(coil, stim, a)
	}
	if silence == nil {
		return
	}
	noise := variance(silence)
	q.NoiseDBFS = dbfs(noise)
	hum := findHum(silence, stim.RateHz)
	if hum.mainsHz > 0 {
		q.HumDBFS, q.MainsHz = dbfs(hum.power), hum.mainsHz
	}

	from, to := 500.0, 2000.0
	if stim.FromHz > from || stim.ToHz < to {
		middle := math.Sqrt(stim.FromHz * stim.ToHz)
		from, to = math.Max(stim.FromHz, middle/2), math.Min(stim.ToHz, 2*middle)
	}
	rate := float64(stim.RateHz)
	signal := 0.0
	for _, s := range sweeps {
		lo, hi := s.from+int(stim.TimeOf(from)*rate), s.from+int(stim.TimeOf(to)*rate)
		if lo, hi = max(lo, 0), min(hi, len(coil)); hi > lo {
			signal += variance(coil[lo:hi]) / float64(len(sweeps))
		}
	}
	signal = math.Max(signal-noise, 1e-30)
	q.SNRDB = math.Min(10*math.Log10(signal/math.Max(hum.rest, 1e-30)), 200)
	if q.SNRDB < lowSNRDB {
		q.Flag(capture.LowSNR)
	}
	if hum.mainsHz > 0 && 10*math.Log10(signal/hum.power) < humFlagDB {
		q.Flag(capture.Hum)
	}
}

// span is a stretch of samples.
type span struct{ from, to int }

// sweepSpans are the sweeps of the whole repeats that were found, with the
// numbers of these.
func sweepSpans(a align.Alignment, stim excite.Stimulus, n int) (repeats []int, sweeps []span) {
	for k, s := range a.StartSample {
		if math.IsNaN(s) {
			continue
		}
		from := max(0, int(s))
		repeats = append(repeats, k)
		sweeps = append(sweeps, span{from, min(n, from+stim.SweepSamples)})
	}
	return repeats, sweeps
}

// longestGap is the end of the gap behind one of the sweeps, after half of it
// has let the coil ring out: the noise where the lead-in was not recorded. It
// is nil where less than 50 ms are there.
func longestGap(x []float64, stim excite.Stimulus, a align.Alignment) []float64 {
	var longest []float64
	for _, s := range a.StartSample {
		if math.IsNaN(s) {
			continue
		}
		lo := int(s) + (stim.SweepSamples+stim.PeriodSamples)/2
		hi := min(len(x), int(s)+stim.PeriodSamples-stim.RateHz/200)
		if hi-lo > max(len(longest), stim.RateHz/20) {
			longest = x[lo:hi]
		}
	}
	return longest
}

// levels are peak and rms over spans, in dBFS.
func levels(x []float64, spans []span) (peakDBFS, rmsDBFS float64) {
	peak, square, n := 0.0, 0.0, 0
	for _, s := range spans {
		for _, v := range x[s.from:s.to] {
			peak = math.Max(peak, math.Abs(v))
			square += v * v
			n++
		}
	}
	return dbfs(peak * peak / 2), dbfs(square / float64(max(1, n)))
}

// dbfs is the level of a mean square; a full-scale sine has ½.
func dbfs(meanSquare float64) float64 {
	return math.Max(10*math.Log10(2*meanSquare), floorDBFS)
}

// variance is the mean square about the mean: inputs have an offset.
func variance(x []float64) float64 {
	mean, square := 0.0, 0.0
	for _, v := range x {
		mean += v
	}
	mean /= float64(len(x))
	for _, v := range x {
		square += (v - mean) * (v - mean)
	}
	return square / float64(len(x))
}

func sum(counts []int) int {
	n := 0
	for _, c := range counts {
		n += c
	}
	return n
}
