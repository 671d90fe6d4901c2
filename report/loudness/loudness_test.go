package loudness

import (
	"errors"
	"math"
	"testing"
)

// passage is a stretch of a sine.
type passage struct{ dBFS, seconds float64 }

// sine is the same sine in so many channels, its peak at each passage's level.
func sine(hz float64, rateHz, channels int, passages ...passage) [][]float64 {
	var x []float64
	for _, p := range passages {
		peak := math.Pow(10, p.dBFS/20)
		for range int(math.Round(p.seconds * float64(rateHz))) {
			x = append(x, peak*math.Sin(2*math.Pi*hz*float64(len(x))/float64(rateHz)))
		}
	}
	out := make([][]float64, channels)
	for c := range out {
		out[c] = x
	}
	return out
}

// The test signals 1 to 5 of EBU Tech 3341 (table 1), which are described there
// completely: stereo sines of 1 kHz with peaks at these levels, and what a meter has to
// show to 0.1 LU. And ITU-R BS.1770, annex 1: a sine of 997 Hz at full scale in one
// channel is −3.01 LKFS. Levels and durations are from memory; that they are those of the
// EBU's files follows from what an independent meter is published to read of its files 3,
// 4 and 5 at 48 kHz, to the last digit: reads, where it is not 0.
func TestPublishedCases(t *testing.T) {
	for _, tt := range []struct {
		name     string
		hz       float64
		channels int
		passages []passage
		want     float64
		within   float64
		reads    float64
	}{
		{"BS.1770", 997, 1, []passage{{0, 5}}, -3.01, 0.005, 0},
		{"3341-1", 1000, 2, []passage{{-23, 20}}, -23, 0.1, 0},
		{"3341-2", 1000, 2, []passage{{-33, 20}}, -33, 0.1, 0},
		{"3341-3", 1000, 2, []passage{{-36, 10}, {-23, 60}, {-36, 10}}, -23, 0.1, -23.014},
		{"3341-4", 1000, 2, []passage{{-72, 10}, {-36, 10}, {-23, 60}, {-36, 10}, {-72, 10}}, -23, 0.1, -23.014},
		{"3341-5", 1000, 2, []passage{{-26, 20}, {-20, 20.1}, {-26, 20}}, -23, 0.1, -22.979},
	} {
		for _, rate := range []int{44100, 48000, 96000} {
			got, err := Integrated(sine(tt.hz, rate, tt.channels, tt.passages...), rate)
			if err != nil || math.Abs(got-tt.want) > tt.within {
				t.Errorf("%s at %d Hz: %.3f LUFS (%v), want %g", tt.name, rate, got, err, tt.want)
			}
			if rate == 48000 && tt.reads != 0 && math.Abs(got-tt.reads) > 0.0006 {
				t.Errorf("%s: %.4f LUFS, another meter reads %.3f", tt.name, got, tt.reads)
			}
		}
	}
}

// The gates are there: a pause as long as the sound changes nothing, where a plain mean
// would lose 3 dB.
func TestPause(t *testing.T) {
	whole, _ := Integrated(sine(1000, 48000, 1, passage{-20, 10}), 48000)
	paused, err := Integrated(sine(1000, 48000, 1, passage{-20, 10}, passage{-90, 10}), 48000)
	if err != nil || math.Abs(whole-paused) > 0.1 {
		t.Errorf("%.3f LUFS, with a pause %.3f LUFS (%v)", whole, paused, err)
	}
	if _, err := Integrated(sine(1000, 48000, 1, passage{-90, 10}), 48000); !errors.Is(err, ErrSilent) {
		t.Errorf("silence: %v", err)
	}
	if _, err := Integrated(sine(1000, 48000, 1, passage{-20, 0.39}), 48000); !errors.Is(err, ErrSilent) {
		t.Errorf("less than a block: %v", err)
	}
}

// Weighting says what the filters do, at every rate the same within the reach of
// hearing that BS.1770 is about: half the way to where the lowest rate ends.
func TestWeighting(t *testing.T) {
	for _, hz := range []float64{40, 100, 997, 2000, 5000, 10000} {
		for _, rate := range []int{44100, 48000, 96000} {
			got, err := Integrated(sine(hz, rate, 1, passage{-20, 5}), rate)
			want := -20 - 3.0103 + offset + 20*math.Log10(Weighting(hz, rate))
			if err != nil || math.Abs(got-want) > 0.01 {
				t.Errorf("%g Hz at %d Hz: %.4f LUFS, by the weighting %.4f", hz, rate, got, want)
			}
			if d := 20 * math.Log10(Weighting(hz, rate)/Weighting(hz, 48000)); math.Abs(d) > 0.05 {
				t.Errorf("%g Hz at %d Hz: %.3f dB from the weighting at 48 kHz", hz, rate, d)
			}
		}
	}
}
