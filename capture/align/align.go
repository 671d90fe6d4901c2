// Package align finds a stimulus in a recording: where each repeat lies, how
// fast the recording clock ran against the playing one, and whether there was
// a stimulus at all.
package align

import "coilsweep/excite"

// Alignment says where the repeats of a stimulus lie in a recording.
type Alignment struct {
	// StartSample[k] is where period k starts in the recording, in samples
	// (with fraction); the sweep of repeat k begins there. NaN where that
	// repeat is not wholly in the recording.
	StartSample []float64
	// Quality is 0 … 1: how much of the deconvolved energy lies together as
	// one impulse response. Noise gives a value near 0.
	Quality  float64
	Polarity int // +1 or -1
	// DriftPPM is the recorded period against the played one, minus 1, in
	// parts per million; 0 with fewer than two whole repeats.
	DriftPPM float64
	// Damaged lists repeats in which samples were lost.
	Damaged []int
}

// Align finds the repeats of stim in one channel of a recording by
// correlation. ErrNoStimulus where there is none.
func Align(samples []float64, stim excite.Stimulus) (Alignment, error) {
	return Alignment{}, nil
}
