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
)

// Assess finds the stimulus of take in rec and says what the audio tells of
// its quality: the take with both, Alignment and Quality. See AssessAligned.
func Assess(rec capture.Recording, take capture.Take) (capture.Take, error) {
	if err := belongs(rec, take.Stimulus); err != nil {
		return take, err
	}
	at, err := align.Align(rec.Samples[0], take.Stimulus)
	return AssessAligned(rec, take, at, err)
}

// AssessAligned is Assess with the stimulus looked for already: at and failed
// are what align.Align says of the coil's channel. The quality is levels, noise,
// hum, clipping, clock, damaged repeats. Channel 1 is the coil, channel 2 (where
// take has a reference) is looked at for clipping only.
//
// A recording without the stimulus or without a whole sweep gets a flag and no
// error; errors are for recordings that do not belong to the take at all (no
// channel, another rate, not numbers). take.Quality.Xruns are kept, and flagged
// as drop-outs; only what the audio proves is damage, though.
func AssessAligned(rec capture.Recording, take capture.Take, at align.Alignment, failed error) (capture.Take, error) {
	return Assessor{}.AssessAligned(rec, take, at, failed)
}

// Assessor knows what takes of one stimulus, or of its first repeats, have in common;
// the zero value nothing. It assesses one at a time.
type Assessor struct{ passages *passages }

// NewAssessor is one for a stimulus.
func NewAssessor(stim excite.Stimulus) Assessor { return Assessor{newPassages(stim, steadyFromHz)} }

// AssessAligned is the function of that name.
func (of Assessor) AssessAligned(rec capture.Recording, take capture.Take, at align.Alignment, failed error) (
	capture.Take, error) {
	stim := take.Stimulus
	if err := belongs(rec, stim); err != nil {
		return take, err
	}
	q := capture.Quality{Xruns: take.Quality.Xruns, Polarity: 1}
	if len(q.Xruns) > 0 {
		q.Flag(capture.Dropout)
	}
	coil := rec.Samples[0]
	take.Alignment = nil
	switch {
	case errors.Is(failed, align.ErrNoStimulus):
		q.Flag(capture.NoStimulus)
	case errors.Is(failed, align.ErrTooShort):
		q.Flag(capture.TooShort)
	case failed != nil:
		return take, failed
	default:
		take.Alignment = &at
		of.assess(&q, rec, take)
		take.Quality = q
		return take, nil
	}
	whole := []Span{{0, len(coil)}}
	q.PeakDBFS, q.RMSDBFS = levels(coil, whole)
	if slices.Contains(q.Flags, capture.NoStimulus) {
		// What is heard instead tells what is not connected.
		silence := InSilence(coil, rec.RateHz)
		if q.NoiseDBFS = silence.NoiseDBFS; silence.MainsHz > 0 {
			q.HumDBFS, q.MainsHz = silence.HumDBFS, silence.MainsHz
		}
	}
	if q.ClippedSamples = sum(clippedIn(coil, whole)); q.ClippedSamples > 0 {
		q.Flag(capture.Clipped)
	}
	take.Quality = q
	return take, nil
}

// belongs returns an error for a recording that cannot be one of stim.
func belongs(rec capture.Recording, stim excite.Stimulus) error {
	if len(rec.Samples) == 0 {
		return errors.New("the recording has no channel")
	}
	if rec.RateHz != stim.RateHz {
		return fmt.Errorf("the recording has %d Hz, the stimulus %d Hz: record or export at %d Hz", rec.RateHz,
			stim.RateHz,
			stim.RateHz)
	}
	return nil
}

// assess fills q of a take in which whole repeats were found.
func (of Assessor) assess(q *capture.Quality, rec capture.Recording, take capture.Take) {
	coil, stim, a := rec.Samples[0], take.Stimulus, *take.Alignment
	q.AlignmentQuality, q.Polarity, q.DriftPPM = a.Quality, a.Polarity, a.DriftPPM
	if math.Abs(a.DriftPPM) > driftFlagPPM ||
		math.IsInf(a.DriftUPPM, 1) && math.Abs(a.SweepDriftPPM)*1e-6*stim.SweepRateS() > loneSweepDelayS {
		q.Flag(capture.Drift)
	}

	repeats, sweeps := sweepSpans(a, stim, len(coil))
	q.PeakDBFS, q.RMSDBFS = levels(coil, sweeps)
	q.DamagedRepeats = slices.Clone(a.Damaged)
	assessClipping(q, rec, take, repeats, sweeps, a.Jumps)
	hum := assessNoise(q, coil, stim, a, sweeps)
	if len(repeats) > 1 {
		of.assessSteadiness(q, rec, take, hum)
	}
	if len(q.LostRepeats()) > 0 {
		q.Flag(capture.Dropout)
	}
	if n := len(q.DamagedRepeats); n > 0 && n >= len(repeats) && !slices.Contains(q.Flags, capture.Clipped) {
		q.Flag(capture.TooShort) // no whole sweep is left
	}
}

// assessClipping counts clipped samples of both channels. Where all whole
// repeats are clipped the take is; where some are not, these are enough, and
// the others are flagged and count as damaged. jumps tell whether these lost
// samples, too.
func assessClipping(q *capture.Quality, rec capture.Recording, take capture.Take, repeats []int, sweeps []Span,
	jumps []align.Jump) {
	count := make([]int, len(sweeps))
	channels := rec.Samples[:1]
	if take.HasReference() && len(rec.Samples) > 1 {
		channels = rec.Samples[:2]
	}
	for _, samples := range channels {
		for i, n := range clippedIn(samples, sweeps) {
			count[i] += n
		}
	}
	q.ClippedSamples = sum(count)
	if !slices.Contains(count, 0) {
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
func assessNoise(q *capture.Quality, coil []float64, stim excite.Stimulus, a align.Alignment,
	sweeps []Span) (hum *Mains) {
	var quiet Span
	if quiet.From, quiet.To = align.Silence(stim, a); quiet.To == 0 {
		quiet = longestGap(stim, a, len(coil))
	}
	if quiet.To == 0 {
		return nil
	}
	noise := Variance(coil[quiet.From:quiet.To])
	q.NoiseDBFS = DBFS(noise)
	if Resampled(coil[quiet.From:quiet.To], stim.RateHz) {
		q.Flag(capture.Resampled)
	}
	rest := noise
	hum = FindMains(coil, stim.RateHz, Silences(stim, a, len(coil)), a.Jumps)
	if hum != nil {
		rest = Variance(hum.Removed(coil, quiet))
		q.HumDBFS, q.MainsHz = DBFS(hum.power()), hum.Hz()
	}

	from, to := 500.0, 2000.0
	if stim.FromHz > from || stim.ToHz < to {
		middle := math.Sqrt(stim.FromHz * stim.ToHz)
		from, to = math.Max(stim.FromHz, middle/2), math.Min(stim.ToHz, 2*middle)
	}
	rate := float64(stim.RateHz)
	signal := 0.0
	for _, s := range sweeps {
		lo, hi := s.From+int(stim.TimeOf(from)*rate), s.From+int(stim.TimeOf(to)*rate)
		if lo, hi = max(lo, 0), min(hi, len(coil)); hi > lo {
			signal += Variance(coil[lo:hi]) / float64(len(sweeps))
		}
	}
	signal = math.Max(signal-noise, 1e-30)
	q.SNRDB = math.Min(10*math.Log10(signal/math.Max(rest, 1e-30)), 200)
	if q.SNRDB < lowSNRDB {
		q.Flag(capture.LowSNR)
	}
	if hum != nil && 10*math.Log10(signal/hum.power()) < humFlagDB {
		q.Flag(capture.Hum)
	}
	return hum
}

// Span is the stretch [From, To) of samples.
type Span struct{ From, To int }

// sweepSpans are the sweeps of the whole repeats that were found, with the
// numbers of these.
func sweepSpans(a align.Alignment, stim excite.Stimulus, n int) (repeats []int, sweeps []Span) {
	for k, s := range a.StartSample {
		if math.IsNaN(s) {
			continue
		}
		from := max(0, int(s))
		repeats = append(repeats, k)
		sweeps = append(sweeps, Span{from, min(n, from+stim.SweepSamples)})
	}
	return repeats, sweeps
}

// longestGap is the end of the gap behind one of the sweeps in n samples, after
// half of it has let the coil ring out: the noise where the lead-in was not
// recorded. It is empty where less than 50 ms are there.
func longestGap(stim excite.Stimulus, a align.Alignment, n int) (longest Span) {
	for _, s := range a.StartSample {
		if math.IsNaN(s) {
			continue
		}
		lo := int(s) + (stim.SweepSamples+stim.PeriodSamples)/2
		hi := min(n, int(s)+stim.PeriodSamples-stim.RateHz/200)
		if hi-lo > max(longest.To-longest.From, stim.RateHz/20) {
			longest = Span{lo, hi}
		}
	}
	return longest
}

// levels are peak and rms over spans, in dBFS.
func levels(x []float64, spans []Span) (peakDBFS, rmsDBFS float64) {
	var l Level
	for _, s := range spans {
		l = l.With(LevelOf(x[s.From:s.To]))
	}
	return l.Kept()
}

func sum(counts []int) int {
	n := 0
	for _, c := range counts {
		n += c
	}
	return n
}
