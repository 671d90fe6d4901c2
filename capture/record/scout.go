package record

import (
	"context"
	"fmt"
	"math"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/quality"
)

// Meter is the level of a channel since the last report, in dBFS; -Inf for
// silence.
type Meter struct{ PeakDBFS, RMSDBFS float64 }

// Scout plays the stimulus of t through rec and returns what came back, in
// memory only, with t completed by the bench and by the quality that the audio
// shows. t need not have a name. meters may be nil; it hears the levels of all
// channels ten times per second of audio.
func Scout(ctx context.Context, rec Recorder, t capture.Take, meters func([]Meter)) (capture.Recording, capture.Take, error) {
	format := rec.Format()
	if format.RateHz != t.Stimulus.RateHz {
		return capture.Recording{}, t, fmt.Errorf("the bench runs at %d Hz, the stimulus at %d Hz: make both the same", format.RateHz, t.Stimulus.RateHz)
	}
	if t.Reference.Kind != "" && t.Reference.Kind != "none" && format.Channels < 2 {
		return capture.Recording{}, t, fmt.Errorf("the bench records %s: a %s reference needs a second one", capture.ChannelCount(format.Channels), t.Reference.Kind)
	}
	play := playback(t.Stimulus)
	frames := len(play) + int(math.Ceil(tailMarginS*float64(format.RateHz)))
	r := capture.Recording{RateHz: format.RateHz, FullScale: math.Inf(1), Samples: make([][]float64, format.Channels)}
	for c := range r.Samples {
		r.Samples[c] = make([]float64, 0, frames+format.RateHz)
	}
	t.Started, t.Bench = time.Now().Truncate(time.Millisecond), rec.Describe()
	reported := 0
	session, err := rec.Record(ctx, play, frames, func(block []float32) error {
		for i, v := range block {
			c := i % format.Channels
			r.Samples[c] = append(r.Samples[c], float64(v))
		}
		if n := r.Frames(); meters != nil && n-reported >= format.RateHz/10 {
			meters(metersFrom(r, reported))
			reported = n
		}
		return nil
	})
	if err != nil {
		return r, t, err
	}
	if err := r.CheckNumbers(); err != nil {
		return r, t, err
	}
	t.Quality.Xruns = session.Xruns
	t.Quality, err = quality.Assess(r, t)
	return r, t, err
}

// metersFrom are the levels of all channels from a frame on.
func metersFrom(r capture.Recording, from int) []Meter {
	var m []Meter
	for _, x := range r.Samples {
		peak, square := 0.0, 0.0
		for _, v := range x[from:] {
			peak = math.Max(peak, math.Abs(v))
			square += v * v
		}
		m = append(m, Meter{20 * math.Log10(peak), 10 * math.Log10(2*square/float64(max(1, len(x)-from)))})
	}
	return m
}
