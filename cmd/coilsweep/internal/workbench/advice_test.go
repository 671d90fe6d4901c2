package workbench

import (
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/align"
)

// Clipping and lost samples are told apart, and both from what a device merely
// reports.
func TestAdviceNamesTheCause(t *testing.T) {
	unaligned := []align.Jump{{Repeat: -1}} // of a take in which no sweep was found
	for _, tt := range []struct {
		flag    capture.Flag
		quality capture.Quality
		source  string
		jumps   []align.Jump
		want    string
	}{
		{capture.ClippedRepeat, capture.Quality{DamagedRepeats: []int{1}, ClippedRepeats: []int{1}},
			"", nil, "overdrove the input"},
		{capture.Dropout, capture.Quality{DamagedRepeats: []int{2}}, "", []align.Jump{{Repeat: 2, Samples: -64}},
			"samples were lost: the damaged sweeps are left out; a larger buffer"},
		{capture.Dropout, capture.Quality{DamagedRepeats: []int{2}}, "", []align.Jump{{Repeat: 2}},
			"switch noise reduction"},
		{capture.Dropout, capture.Quality{DamagedRepeats: []int{2}}, "import", []align.Jump{{Repeat: 2, Samples: -64}},
			"lossy coding (MP3, AAC)"},
		{capture.Dropout, capture.Quality{DamagedRepeats: []int{2}, Flags: []capture.Flag{capture.Processed}}, "",
			[]align.Jump{{Repeat: 2, Samples: -64}}, "lossy coding (MP3, AAC)"},
		{capture.NoStimulus, capture.Quality{PeakDBFS: -200, RMSDBFS: -200}, "", nil, "digital silence"},
		{capture.NoStimulus, capture.Quality{PeakDBFS: -60, RMSDBFS: -66, HumDBFS: -67, MainsHz: 50}, "", nil,
			"the exciter is not connected"},
		{capture.NoStimulus, capture.Quality{PeakDBFS: -95, RMSDBFS: -104}, "", nil, "the input is shorted"},
		{capture.NoStimulus, capture.Quality{PeakDBFS: -10, RMSDBFS: -20}, "", nil, "check cables"},
		{capture.Changed, capture.Quality{}, "", nil, "not clear which of them are right"},
		{capture.Changed, capture.Quality{DamagedRepeats: []int{2}, ChangedRepeats: []int{2}}, "", nil,
			"sweep 3 differs from the others in its response and is left out"},
		{capture.Changed, capture.Quality{DamagedRepeats: []int{0, 2}, ChangedRepeats: []int{0, 2}}, "", nil,
			"sweeps 1, 3 differ"},
		{capture.Dropout, capture.Quality{DamagedRepeats: []int{1, 2}, ClippedRepeats: []int{1}}, "",
			[]align.Jump{{Repeat: 2, Samples: 3}}, "the damaged sweeps are left out"},
		{capture.Dropout, capture.Quality{DamagedRepeats: []int{1}, ClippedRepeats: []int{1},
			Xruns: make([]capture.Xrun, 3)}, "", nil, "(3 times), but no sweep lacks any"},
		{capture.Dropout, capture.Quality{Xruns: make([]capture.Xrun, 1)}, "", nil, "none is left out for that"},
		{capture.TooShort, capture.Quality{DamagedRepeats: []int{0, 1}}, "", []align.Jump{{Repeat: 0, Samples: -64}},
			"no sweep is left, since each lost samples or had some altered: mend that"},
		{capture.TooShort, capture.Quality{DamagedRepeats: []int{0, 1}, ClippedRepeats: []int{1}}, "",
			[]align.Jump{{Repeat: 0}}, "each lost samples or had some altered or overdrove the input: mend that"},
		{capture.TooShort, capture.Quality{}, "import", unaligned, "record from before the first sweep"},
		{capture.TooShort, capture.Quality{}, "portaudio", unaligned, "as where the device lost samples or stopped"},
		{capture.TooShort, capture.Quality{Xruns: make([]capture.Xrun, 1)}, "portaudio", unaligned,
			"the device reports lost samples: see that nothing else uses it"},
	} {
		take := capture.Take{Quality: tt.quality, Bench: capture.Bench{Source: tt.source},
			Alignment: &align.Alignment{Jumps: tt.jumps}}
		if len(tt.jumps) > 0 && tt.jumps[0] == unaligned[0] {
			take.Alignment = nil
		}
		if got := FlagAdvice(tt.flag, take); !strings.Contains(got, tt.want) || strings.Contains(got, "record longer") {
			t.Errorf("%s of %+v: %q, want %q", tt.flag, tt.quality, got, tt.want)
		}
	}
}
