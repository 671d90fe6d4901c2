package record

import (
	"context"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/quality"
)

// Meter is the level of a channel since the last report, in dBFS; -Inf for
// silence.
type Meter struct{ PeakDBFS, RMSDBFS float64 }

// Meters are levels as they are shown.
func Meters(levels []quality.Level) []Meter {
	m := make([]Meter, len(levels))
	for c, l := range levels {
		m[c] = Meter{l.PeakDBFS(), l.RMSDBFS()}
	}
	return m
}

// Scout plays the stimulus of t through rec and returns what came back, in
// memory only, with t completed by the bench, the alignment and the quality that
// the audio shows. t need not have a name. meters may be nil; it hears the levels
// of all channels ten times per second of audio.
func Scout(ctx context.Context, rec Recorder, t capture.Take, meters func([]Meter)) (capture.Recording, capture.Take,
	error) {
	format := rec.Format()
	if err := checkFormat(format, t); err != nil {
		return capture.Recording{}, t, err
	}
	play := newPlaying(t.Stimulus, format)
	if meters != nil {
		play.report = func(levels []quality.Level) { meters(Meters(levels)) }
	}
	g := make(growth, format.Channels)
	t.Started, t.Bench = time.Now().Truncate(time.Millisecond), rec.Describe()
	session, err := play.through(ctx, rec, func(block []float32) error {
		g.add(block)
		play.count(block)
		return nil
	})
	r := g.recording(format.RateHz)
	if err == nil {
		err = r.CheckNumbers()
	}
	if err != nil {
		return r, t, err
	}
	t.Quality.Xruns = session.Xruns
	t, err = quality.Assess(r, t)
	return r, t, err
}
