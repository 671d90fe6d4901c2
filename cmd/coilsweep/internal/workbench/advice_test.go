package workbench

import (
	"strings"
	"testing"

	"coilsweep/capture"
)

// Clipping and lost samples are told apart, and both from what a device merely
// reports.
func TestAdviceNamesTheCause(t *testing.T) {
	for _, tt := range []struct {
		flag    capture.Flag
		quality capture.Quality
		want    string
	}{
		{capture.ClippedRepeat, capture.Quality{DamagedRepeats: []int{1}, ClippedRepeats: []int{1}},
			"overdrove the input"},
		{capture.Dropout, capture.Quality{DamagedRepeats: []int{2}}, "the damaged sweeps are left out"},
		{capture.Dropout, capture.Quality{DamagedRepeats: []int{1, 2}, ClippedRepeats: []int{1}},
			"the damaged sweeps are left out"},
		{capture.Dropout, capture.Quality{DamagedRepeats: []int{1}, ClippedRepeats: []int{1},
			Xruns: make([]capture.Xrun, 3)}, "(3 times), but no sweep lacks any"},
		{capture.Dropout, capture.Quality{Xruns: make([]capture.Xrun, 1)}, "none is left out for that"},
		{capture.NoStimulus, capture.Quality{PeakDBFS: -90}, "check cables"},
		{capture.NoStimulus, capture.Quality{PeakDBFS: -200}, "Windows: Settings, Privacy & security, Microphone; macOS"},
	} {
		if got := FlagAdvice(tt.flag, tt.quality); !strings.Contains(got, tt.want) {
			t.Errorf("%s of %+v: %q, want %q", tt.flag, tt.quality, got, tt.want)
		}
	}
}
