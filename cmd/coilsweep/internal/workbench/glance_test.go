package workbench

import (
	"context"
	"math"
	"path/filepath"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/quality"
	"coilsweep/capture/record"
	"coilsweep/capture/virtual"
	"coilsweep/excite"
	"coilsweep/fit"
	"coilsweep/fit/response"
)

// attentive is a bench that plays on when its watcher has caught up.
type attentive struct {
	record.Recorder
	stimulus excite.Stimulus
	seen     atomic.Int64
}

func (a *attentive) Record(ctx context.Context, play []float32, frames int, sink func([]float32) error) (
	record.Session, error) {
	recorded := 0
	return a.Recorder.Record(ctx, play, frames, func(block []float32) error {
		recorded += len(block) / a.Format().Channels
		// A quarter of a second behind the end of a sweep it must have been seen.
		ended := (recorded - a.stimulus.RepeatStart(0) - a.stimulus.SweepSamples - a.stimulus.RateHz/4)
		for ended >= 0 && a.seen.Load() <= int64(min(ended/a.stimulus.PeriodSamples, a.stimulus.Repeats-1)) &&
			ctx.Err() == nil {
			time.Sleep(time.Millisecond)
		}
		return sink(block)
	})
}

// The numbers that a sweep shows before the gap behind it is in are those that it shows
// with the gap, and known as well.
func TestNumbersBeforeTheGap(t *testing.T) {
	for name, bench := range map[string]struct {
		change    func(*virtual.Bench)
		reference string
		added     string
		level     string
	}{
		"as it is":      {func(*virtual.Bench) {}, "none", "", "-12"},
		"a reference":   {func(*virtual.Bench) {}, "current", "470p 1%", "-12"},
		"hum and noise": {loudly, "none", "470p 1%", "-12"},
		"a high Q":      {sharply, "none", "", "-30"},
	} {
		t.Run(name, func(t *testing.T) {
			b := virtual.Default()
			bench.change(&b)
			dir := filepath.Join(t.TempDir(), "coil")
			if err := capture.CreateFolder(dir, capture.Coil{Name: "coil"}); err != nil {
				t.Fatal(err)
			}
			m := NewMeasurement("test")
			m.Bench.Kind = Virtual
			if err := m.Fill(map[string]string{"take": "t", "reference": bench.reference,
				"added-c": bench.added, "level": bench.level}); err != nil {
				t.Fatal(err)
			}
			plan, err := m.Plan(dir)
			if err != nil {
				t.Fatal(err)
			}
			simulated, err := b.Recorder(plan.Take.Load, plan.Take.Stimulus.RateHz, 3)
			if err != nil {
				t.Fatal(err)
			}
			slow := &attentive{Recorder: simulated, stimulus: plan.Take.Stimulus}
			var shown []Glance
			take, _, err := plan.Run(t.Context(), slow, Ears{}, func(g Glance, _ capture.Take) {
				shown = append(shown, g)
				slow.seen.Add(1)
			})
			if err != nil {
				t.Fatal(err)
			}
			recording, err := plan.Folder.Audio(take)
			if err != nil {
				t.Fatal(err)
			}
			if len(shown) != take.Stimulus.Repeats {
				t.Fatalf("%d sweeps were shown of %d", len(shown), take.Stimulus.Repeats)
			}
			for i, early := range shown {
				whole := withGap(t, recording, take, i+1)
				for what, q := range map[string][2]fit.Quantity{
					"resonance": {early.Resonance, whole.Resonance}, "Q": {early.Q, whole.Q},
				} {
					apart, wide := (q[0].Value-q[1].Value)/q[1].U95, q[0].U95/q[1].U95
					t.Logf("%d: %s %g, by %.4f of U95 %.2g; U95 is %.3f times as large", i+1, what, q[1].Value, apart,
						q[1].U95, wide)
					if !q[0].Known() || !q[1].Known() || !(math.Abs(apart) < 0.1) || !(math.Abs(wide-1) < 0.05) {
						t.Errorf("%d: %s %+v, with the gap %+v", i+1, what, q[0], q[1])
					}
				}
			}
		})
	}
}

// withGap is what the first n sweeps of a take show with the gap behind them.
func withGap(t *testing.T, r capture.Recording, take capture.Take, n int) (g Glance) {
	t.Helper()
	end := int(math.Ceil(take.Alignment.StartSample[n-1])) + take.Stimulus.PeriodSamples
	r.Samples = slices.Clone(r.Samples)
	for c, x := range r.Samples {
		r.Samples[c] = x[:end]
	}
	var err error
	if take.Stimulus, err = take.Stimulus.Prefix(n); err != nil {
		t.Fatal(err)
	}
	take.Quality = capture.Quality{}
	if take, err = quality.Assess(r, take); err != nil {
		t.Fatal(err)
	}
	g.say(t.Context(), capture.Coil{}, take, estimating(t.Context(), new(response.Estimator), r, take))
	return g
}

// loudly has ten times the hum, and much noise.
func loudly(b *virtual.Bench) {
	for i := range b.Hum.Lines {
		b.Hum.Lines[i].EMFRMSV *= 10
	}
	b.Noise.InputVPerRtHz = 1e-6
}

// sharply has a coil without rings, at an input that hardly loads it.
func sharply(b *virtual.Bench) {
	b.Coil.Rings = nil
	b.Fixture.Resistance.SI = 10e6
}
