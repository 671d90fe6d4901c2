package record

import (
	"context"
	"fmt"
	"math"

	"coilsweep/capture"
	"coilsweep/capture/quality"
	"coilsweep/excite"
)

// tailMarginS is recorded beyond the stimulus: the way through the buffers of
// the sound card and back takes time.
const tailMarginS = 0.5

// checkFormat returns an error unless a bench that records in a format can make
// t.
func checkFormat(f Format, t capture.Take) error {
	if f.RateHz != t.Stimulus.RateHz {
		return fmt.Errorf("the bench runs at %d Hz, the stimulus at %d Hz: make both the same", f.RateHz,
			t.Stimulus.RateHz)
	}
	if k := t.Reference.Kind; k != "" && k != "none" && f.Channels < 2 {
		return fmt.Errorf("the bench records %s: a %s reference needs a second one", capture.ChannelCount(f.Channels),
			k)
	}
	return nil
}

// playing is a stimulus on its way through a bench.
type playing struct {
	stimulus excite.Stimulus
	format   Format
	frames   int // to be recorded
	recorded int
	// report hears the levels of all channels since the last report, ten times
	// per second of audio and at the end; may be nil.
	report   func([]quality.Level)
	reported int
	levels   []quality.Level
}

func newPlaying(s excite.Stimulus, f Format) *playing {
	frames := s.TotalSamples() + int(math.Ceil(tailMarginS*float64(f.RateHz)))
	return &playing{stimulus: s, format: f, frames: frames, levels: make([]quality.Level, f.Channels)}
}

// through plays and records by rec. sink is to count the blocks.
func (p *playing) through(ctx context.Context, rec Recorder, sink func(block []float32) error) (Session, error) {
	samples := p.stimulus.Samples()
	play := make([]float32, len(samples))
	for i, v := range samples {
		play[i] = float32(v) // 24 bits are exact
	}
	return rec.Record(ctx, play, p.frames, sink)
}

// count takes in a recorded block.
func (p *playing) count(block []float32) {
	p.recorded += len(block) / p.format.Channels
	if p.report == nil {
		return
	}
	for i, v := range block {
		p.levels[i%p.format.Channels].Add(float64(v))
	}
	if p.recorded-p.reported >= p.format.RateHz/10 || p.recorded >= p.frames {
		p.report(p.levels)
		p.reported = p.recorded
		clear(p.levels)
	}
}
