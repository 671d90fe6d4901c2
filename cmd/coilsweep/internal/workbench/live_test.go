package workbench

import (
	"context"
	"errors"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"coilsweep/capture/record"
	"coilsweep/capture/virtual"
	"coilsweep/excite/quantity"
)

// Live mode shows the resonance and the Q that takes of the same bench show, begins
// quietly, and keeps nothing.
func TestLive(t *testing.T) {
	dir := t.TempDir()
	l := NewLive("test")
	l.Bench.Kind = Virtual
	if err := l.Fill(map[string]string{"level": "-15"}); err != nil {
		t.Fatal(err)
	}
	plan, err := l.Plan(dir)
	if err != nil {
		t.Fatal(err)
	}
	// The coil's resonance comes down when a part is connected in mid-work.
	more, err := quantity.ParseCapacitance("470p 1%")
	if err != nil {
		t.Fatal(err)
	}
	loaded := plan.take.Load
	loaded.AddedC = &more
	alone, err := virtual.Default().Recorder(plan.take.Load, plan.take.Stimulus.RateHz, 3)
	if err != nil {
		t.Fatal(err)
	}
	withPart, err := virtual.Default().Recorder(loaded, plan.take.Stimulus.RateHz, 3)
	if err != nil {
		t.Fatal(err)
	}
	bench := &changing{Recorder: alone}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var seen []Glance
	var levels []float64
	var waited time.Duration
	err = plan.Run(ctx, bench, Ears{}, func() float64 { return l.LevelDBFS }, func(g Glance) {
		seen, levels = append(seen, g), append(levels, g.LevelDBFS)
		waited = max(waited, time.Since(bench.ended))
		switch len(seen) {
		case 4:
			bench.Recorder = withPart
		case 5:
			stop()
		}
	})
	if err != nil {
		t.Fatalf("the end of live mode is an error: %v", err)
	}
	if want := []float64{-30, -24, -18, -15, -15}; !slices.Equal(levels, want) {
		t.Errorf("the sweeps are played at %g dBFS, want %g", levels, want)
	}
	for i, truth := range []virtual.Truth{alone.Truth(), withPart.Truth()} {
		g := seen[3+i]
		if g.Why != "" || g.Response == nil || g.Heard() != "" {
			t.Errorf("sweep %d says %q, %q", g.Sweep, g.Why, g.Heard())
		}
		t.Logf("%.2f ± %.2g Hz, Q %.4f ± %.2g; the bench has %.2f Hz, Q %.4f", g.Resonance.Value, g.Resonance.U95,
			g.Q.Value, g.Q.U95, truth.ResonanceHz, truth.Q)
		if math.Abs(g.Resonance.Value-truth.ResonanceHz) > 1.5*g.Resonance.U95 ||
			math.Abs(g.Q.Value-truth.Q) > 1.5*g.Q.U95 {
			t.Error("and that is not what live mode shows")
		}
	}
	t.Logf("shown %v after the sweep", waited)
	if entries, _ := os.ReadDir(dir); len(entries) != 0 {
		t.Errorf("live mode left %v", entries)
	}
}

// A sweep that cannot be used says why, and live mode goes on; so does a level that is
// not one.
func TestLiveOfBadSweeps(t *testing.T) {
	for _, tt := range []struct {
		gain float32
		says string
	}{{60, "overdriven"}, {0, "stimulus is not in the recording"}} {
		l := NewLive("test")
		l.Bench.Kind = Virtual
		plan, err := l.Plan(t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		bench, err := virtual.Default().Recorder(plan.take.Load, plan.take.Stimulus.RateHz, 3)
		if err != nil {
			t.Fatal(err)
		}
		loud := replugged{bench, func(coil, reference float32) (float32, float32) {
			return max(-1, min(1, tt.gain*coil)), reference
		}}
		ctx, stop := context.WithCancel(t.Context())
		var last Glance
		if err := plan.Run(ctx, loud, Ears{}, func() float64 { return -30 }, func(g Glance) {
			if last = g; g.Sweep == 2 {
				stop()
			}
		}); err != nil {
			t.Error(err)
		}
		stop()
		if !strings.Contains(last.Sentence(), tt.says) || last.Resonance.Known() {
			t.Errorf("gain %g: %q, %+v", tt.gain, last.Sentence(), last.Resonance)
		}
	}
	l := NewLive("test")
	l.Bench.Kind = Virtual
	if err := l.Fill(map[string]string{"level": "6"}); err != nil {
		t.Fatal(err)
	}
	var wrong *OptionError
	if _, err := l.Plan(t.TempDir()); !errors.As(err, &wrong) || wrong.Option != "level" {
		t.Errorf("a level above full scale: %v", err)
	}
}

// changing is a bench whose coil changes while it is swept.
type changing struct {
	record.Recorder
	ended time.Time // the last sweep
}

func (c *changing) Record(ctx context.Context, play []float32, frames int, sink func([]float32) error) (record.Session,
	error) {
	defer func() { c.ended = time.Now() }()
	return c.Recorder.Record(ctx, play, frames, sink)
}
