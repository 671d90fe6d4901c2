// Package align finds a stimulus in a recording: where each repeat lies, how
// fast the recording clock ran against the playing one, where samples were
// lost, and whether there was a stimulus at all.
//
// The recording is deconvolved with the phase of the sweep, known in closed form
// (exponential: Novak, Lotton, Simon, J. Audio Eng. Soc. 63(10), 2015,
// eq. 33 ff.; shaped: excite.Course), after whitening by its own smoothed spectrum, as in the
// generalised cross-correlation with phase transform (Knapp and Carter, IEEE
// Trans. ASSP 24(4), 1976). Each repeat collapses into one short pulse,
// whatever the slope and the resonance of the coil; hum, noise, music and
// other sweeps stay spread out. The repeats are then compared with one another
// band by band: since the sweep passes each band at its own time, the delay as
// a function of frequency is the delay as a function of time, and a step in it
// is a place where samples were lost or inserted.
//
// Positions count samples of the recording from 0 and may have a fraction.
package align

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"coilsweep/excite"
)

// Alignment says where the repeats of a stimulus lie in a recording.
type Alignment struct {
	// Method is the number of the method that found it: see Method.
	Method int `toml:"method"`
	// StartSample[k] is where period k starts in the recording, in samples
	// (with fraction); the sweep of repeat k begins there. NaN where that
	// sweep is not wholly in the recording. The fraction between repeats is
	// exact to a few thousandths of a sample at a usual signal-to-noise ratio;
	// the delay common to all repeats is that of the path, the group delay of
	// the coil included, and exact to a fraction of a millisecond only.
	StartSample []float64 `toml:"start_sample"`
	// Quality is 0 … 1: the share of the whitened, deconvolved energy that
	// lies together as one impulse response (median over the repeats), which
	// is about S/(S+N) averaged over the band. Noise gives less than 0.02, a
	// good take more than 0.9; below DecisionThreshold there is no stimulus.
	Quality float64 `toml:"quality"`
	// Polarity is +1 where the response below the resonance has a phase of
	// 0 (flat path) to +90 degrees (current-driven coil), -1 where it is
	// turned over.
	Polarity int `toml:"polarity"`
	// DriftPPM is the recorded period against the played one, minus 1, in
	// parts per million; 0 with fewer than two whole repeats, and exactly 0
	// where it cannot be told from 0. DriftUPPM is its standard uncertainty;
	// +Inf with fewer than two whole repeats.
	DriftPPM  float64 `toml:"drift_ppm"`
	DriftUPPM float64 `toml:"drift_u_ppm"`
	// SweepDriftPPM is a coarse value of the drift from the sweeps alone (a
	// clock offset makes the group delay grow with the time of the sweep, for
	// the exponential one with log f), good to some 160 us
	// over the sweep rate (400 ppm in the default stimulus), since the coil's
	// own group delay enters it. It is all there
	// is to warn of two clocks where only one repeat was recorded. 0 where
	// noise leaves fewer than five bands clear.
	SweepDriftPPM float64 `toml:"sweep_drift_ppm"`
	// Damaged lists the repeats, from 0, in whose sweep samples were lost,
	// inserted or overwritten.
	Damaged []int `toml:"damaged,omitempty"`
	// Jumps lists the places where samples were lost or inserted, in order.
	Jumps []Jump `toml:"jumps,omitempty"`
	// Partial says that sweeps were found that are not wholly in the recording.
	Partial bool `toml:"partial"`
}

// Jump is a place in a recording where samples were lost or inserted.
type Jump struct {
	// Repeat is the repeat, from 0, in whose sweep it lies; -1 for the gap
	// between repeats, where it does no harm.
	Repeat int `toml:"repeat"`
	// Sample is about where it lies in the recording: inside a sweep good to
	// some milliseconds, in heavy hum to tenths of a second.
	Sample float64 `toml:"sample"`
	// Samples is how many samples too many there are; negative where samples
	// were lost, 0 where samples were overwritten without a shift.
	Samples float64 `toml:"samples"`
}

// Method is the number of the method by which repeats are found. It is raised
// with every change of what is found, so that an alignment that was kept with a
// take and made by another method is made anew.
const Method = 1

// DecisionThreshold is the smallest Quality that counts as a stimulus found.
// Noise of any colour stays below half of it, hum just below it; signals that
// glide (notes, linear sweeps) may pass it. What tells them apart is that the pulses of the
// sweep's half-octave bands must lie together in at least four bands, and at
// least in three of ten in which there are any. In some hundred simulated
// recordings of each kind (noise, hum, notes, knocks, other sweeps) there was
// no false alarm, and the nearest came to three bands; coils 10 dB below the
// noise of the whole band, in hum up to 30 dB above, came to five or more bands
// and a Quality of at least 0.1, and none was missed.
const DecisionThreshold = 0.05

var (
	// ErrNoStimulus says that the stimulus is not in the recording.
	ErrNoStimulus = errors.New("the stimulus is not in this recording: check that the right channel was recorded, " +
		"that the exciter was playing, and that the stimulus described is the one that was played")
	// ErrTooShort says that no sweep lies wholly in the recording.
	ErrTooShort = errors.New("no whole sweep lies in this recording: record from before the first sweep until after " +
		"the last one; one whole sweep is the least")
)

// Align finds the repeats of stim in one channel of a recording at stim's
// rate. It returns ErrNoStimulus where there is none and ErrTooShort where no
// sweep of it is whole (both possibly wrapped with what was seen instead).
func Align(samples []float64, stim excite.Stimulus) (Alignment, error) {
	a, err := New(stim)
	if err == nil {
		err = a.Extend(samples)
	}
	if err != nil {
		return Alignment{}, err
	}
	return a.Alignment()
}

// Fits tells whether a is an alignment by this Method, and can be that of a
// recording of n samples.
func (a Alignment) Fits(n int, stim excite.Stimulus) bool {
	edge := 2 * edgeS * float64(stim.RateHz)
	outside := func(s float64) bool { return s < -edge || s+float64(stim.SweepSamples) > float64(n)+edge }
	lost := func(j Jump) bool { return !(j.Sample >= 0 && j.Sample <= float64(n)) || j.Samples-j.Samples != 0 }
	return a.Method == Method && len(a.StartSample) == stim.Repeats && math.Abs(a.DriftPPM) <= 2*maxDriftPPM &&
		!slices.ContainsFunc(a.StartSample, outside) && !slices.ContainsFunc(a.Jumps, lost)
}

// Prefix is the alignment as if only the first n repeats had been played.
func (a Alignment) Prefix(n int) Alignment {
	a.StartSample = a.StartSample[:min(n, len(a.StartSample))]
	a.Damaged = slices.DeleteFunc(slices.Clone(a.Damaged), func(k int) bool { return k >= n })
	a.Jumps = slices.DeleteFunc(slices.Clone(a.Jumps), func(j Jump) bool { return j.Repeat >= n })
	return a
}

// number gives the repeats found their numbers in the stimulus. Where the
// recording started late, the first repeats are missing: that is taken to be
// so where parts of an earlier sweep are seen, or where an earlier sweep would
// lie before the recording and a later one would have been seen. found are
// their numbers from the first found, n the length of the recording.
func (a *Alignment) number(found []int, n int, before, after bool, stim excite.Stimulus) {
	a.Partial = before || after
	starts := a.StartSample
	a.StartSample = slices.Repeat([]float64{math.NaN()}, stim.Repeats)
	missing := max(0, stim.Repeats-1-found[len(found)-1])
	first := 0
	if missing > 0 {
		sweep, period := float64(stim.SweepSamples), float64(stim.PeriodSamples)
		// The last tenth of a sweep may go unseen.
		early := before || starts[0]-period+0.9*sweep <= 0
		late := after || starts[len(starts)-1]+period >= float64(n)
		switch {
		case before && after:
			first = 1
		case before, early && !late:
			first = missing
		}
	}
	number := func(i int) int { return first + found[i] }
	for i, s := range starts {
		if k := number(i); k < stim.Repeats {
			a.StartSample[k] = s
		}
	}
	for i, k := range a.Damaged {
		a.Damaged[i] = number(k)
	}
	for i := range a.Jumps {
		if k := a.Jumps[i].Repeat; k >= 0 {
			a.Jumps[i].Repeat = number(k)
		}
	}
}

// checkStimulus refuses descriptions that no sweep can be made from.
func checkStimulus(s excite.Stimulus) error {
	switch {
	case s.RateHz <= 0, s.SweepSamples <= 0, s.Cycles <= 0, s.Repeats <= 0,
		s.PeriodSamples < s.SweepSamples,
		!(s.FromHz > 0), !(s.ToHz > s.FromHz), s.ToHz > float64(s.RateHz)/2:
		return fmt.Errorf("the stimulus description makes no sweep: %d Hz, %g to %g Hz, %d cycles, sweep %d and period "+
			"%d samples, %d repeats",
			s.RateHz, s.FromHz, s.ToHz, s.Cycles, s.SweepSamples, s.PeriodSamples, s.Repeats)
	case !excite.IsTransform(s.PeriodSamples):
		return fmt.Errorf("the period of %d samples is a length that cannot be analysed: make the stimulus again",
			s.PeriodSamples)
	}
	return nil
}
