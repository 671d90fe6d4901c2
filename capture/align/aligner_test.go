package align

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"coilsweep/capture/internal/effort"
	"coilsweep/excite"
)

// wholeAlignment is the alignment with one search over the whole recording.
func wholeAlignment(samples []float64, stim excite.Stimulus) (Alignment, error) {
	a, err := New(stim)
	if err != nil {
		return Alignment{}, err
	}
	a.samples = samples
	return a.align(a.search(-stim.SweepSamples, len(samples), len(samples)), stim.Repeats)
}

// same tells how two alignments differ by more than tolerance samples between
// repeats, or by more than path samples in the delay common to all, whose noise
// is that of the repeat chosen as reference.
func same(got, want Alignment, tolerance, path float64) error {
	near := func(a, b, tolerance float64) bool {
		return a == b || math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= tolerance
	}
	first := slices.IndexFunc(got.StartSample, func(s float64) bool { return !math.IsNaN(s) })
	common := got.StartSample[first] - want.StartSample[first]
	starts := slices.EqualFunc(got.StartSample, want.StartSample, func(a, b float64) bool {
		return near(a-common, b, tolerance)
	})
	if !starts || !(math.Abs(common) <= path) {
		return fmt.Errorf("starts %.4f, want %.4f", got.StartSample, want.StartSample)
	}
	steps := slices.EqualFunc(got.Jumps, want.Jumps, func(a, b Jump) bool {
		return a.Repeat == b.Repeat && near(a.Samples, b.Samples, 0.05+tolerance) && near(a.Sample, b.Sample, 100)
	})
	if !steps || !slices.Equal(got.Damaged, want.Damaged) || got.Polarity != want.Polarity ||
		got.Partial != want.Partial {
		return fmt.Errorf("%+v, want %+v", got, want)
	}
	if !near(got.DriftPPM, want.DriftPPM, 0.003) || !near(got.Quality, want.Quality, 0.15) ||
		!near(got.SweepDriftPPM, want.SweepDriftPPM, 200*path) {
		return fmt.Errorf("drift %g ppm, quality %.3f, drift of the sweep %.2f ppm; want %g, %.3f, %.2f",
			got.DriftPPM, got.Quality, got.SweepDriftPPM, want.DriftPPM, want.Quality, want.SweepDriftPPM)
	}
	return nil
}

// A recording that comes in by blocks is aligned exactly as in one go, however
// often it was looked at meanwhile, and as by one search over all of it.
func TestAligner(t *testing.T) {
	lost := func(repeat int, at float64, n int) []cut { return []cut{{repeat: repeat, at: at, n: n}} }
	one := func(r *excite.Request) { short(r); r.Repeats = 1 }
	stim := design(t, short)
	tests := []struct {
		name      string
		scene     scene
		tolerance float64 // samples; 0: 0.005
	}{
		{"loopback", scene{}, 0},
		{"default stimulus", scene{request: func(*excite.Request) {}, snrDB: 40}, 0},
		{"turned over", scene{inverted: true, snrDB: 40}, 0},
		{"+500 ppm", scene{snrDB: 40, driftPPM: 500}, 0.01},
		{"-500 ppm", scene{snrDB: 40, driftPPM: -500}, 0.01},
		{"hum 20 dB above", scene{request: func(*excite.Request) {}, snrDB: 40, humDB: 20}, 0},
		{"hum 20 dB above, 60 Hz, -200 ppm",
			scene{request: func(*excite.Request) {}, snrDB: 40, humDB: 20, mainsHz: 59.97,
				driftPPM: -200}, 0.02},
		{"noise as loud as the sweep", scene{snrDB: 1e-9}, 0.1},
		{"shaped", scene{request: shaped, snrDB: 40}, 0},
		{"single repeat", scene{request: one, snrDB: 40}, 0},
		{"single repeat, 1024 lost", scene{request: one, snrDB: 50, cuts: lost(0, 0.5, -1024)}, 0.05},
		{"5 lost", scene{snrDB: 50, cuts: lost(1, 0.5, -5)}, 0},
		{"4096 lost", scene{snrDB: 50, cuts: lost(1, 0.8, -4096)}, 0},
		{"lost in the gap", scene{snrDB: 50, cuts: lost(1, 1.1, -480)}, 0},
		{"a second inserted", scene{snrDB: 50, cuts: lost(1, 1.1, 48000)}, 0},
		{"a sweep lost", scene{snrDB: 50, cuts: lost(1, 0, -stim.PeriodSamples)}, 0},
		{"silenced", scene{snrDB: 50, cuts: []cut{{1, 0.6, 512, true}}}, 0},
		{"starts late", scene{snrDB: 50, delay: -float64(stim.RepeatStart(0) + 480)}, 0},
		{"starts in the third sweep", scene{snrDB: 50, delay: -float64(stim.RepeatStart(2) + 12000)}, 0},
		{"ends in the last sweep", scene{snrDB: 50, delay: 500, length: stim.RepeatStart(3) + stim.SweepSamples - 4000},
			0},
		{"ends with the last sweep", scene{snrDB: 50, delay: 500, length: 500 + stim.RepeatStart(3) +
			stim.SweepSamples}, 0},
		{"cut at both ends", scene{snrDB: 50, delay: -float64(stim.RepeatStart(0) + 12000),
			length: 2*stim.PeriodSamples + 12000}, 0},
		{"half a minute of waiting", scene{snrDB: 50, delay: 1.5e6}, 0},
		{"nothing whole", scene{delay: -float64(stim.RepeatStart(0)), length: stim.SweepSamples - 480}, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := tt.scene
			s.f0, s.q, s.seed = 5000, 4, 5
			if s.request == nil {
				s.request = short
			}
			if s.delay == 0 {
				s.delay = 1000.3
			}
			y, stim, _ := s.record(t)
			want, wantErr := Align(y, stim)
			whole, err := wholeAlignment(y, stim)
			if wantErr == nil {
				if tt.tolerance == 0 {
					tt.tolerance = 0.005
				}
				if err != nil {
					t.Fatal(err)
				}
				if err := same(want, whole, tt.tolerance, 0.1); err != nil {
					t.Errorf("against one search: %v", err)
				}
			}
			random := rand.New(rand.NewPCG(9, 9))
			a, err := New(stim)
			if err != nil {
				t.Fatal(err)
			}
			for n := 0; n < len(y); {
				n = min(n+1+random.IntN(stim.PeriodSamples), len(y))
				if err := a.Extend(y[:n]); err != nil {
					t.Fatal(err)
				}
				if random.IntN(2) == 0 && n < len(y) {
					a.Playing()
				}
			}
			got, err := a.Alignment()
			if (err == nil) != (wantErr == nil) || err != nil && !errors.Is(err, errors.Unwrap(wantErr)) {
				t.Fatalf("error %v, want %v", err, wantErr)
			}
			if err == nil {
				if err := same(got, want, 0, 0); err != nil {
					t.Error(err)
				}
			}
		})
	}
}

// Each sweep is searched for and transformed once, however often the recording
// is looked at; a look searches what came after it.
func TestAlignerWorksOnce(t *testing.T) {
	y, stim, startOf := scene{f0: 5000, q: 3, snrDB: 40, humDB: 10, delay: 1000.3}.record(t)
	a, err := New(stim)
	if err != nil {
		t.Fatal(err)
	}
	looks := 0
	searches, sweeps, comparisons := effort.Searches.Load(), effort.Sweeps.Load(), effort.Comparisons.Load()
	for n := 0; n < len(y); n = min(n+4800, len(y)) {
		if err := a.Extend(y[:n]); err != nil {
			t.Fatal(err)
		}
		if looks < stim.Repeats && n >= int(startOf[looks])+stim.PeriodSamples+4800 {
			looks++
			if at, err := a.Playing(); err != nil || len(at.StartSample) != looks {
				t.Errorf("repeat %d is not found when it is whole: %v", looks, err)
			}
		}
	}
	a.Alignment()
	searches, sweeps, comparisons = effort.Searches.Load()-searches, effort.Sweeps.Load()-sweeps,
		effort.Comparisons.Load()-comparisons
	t.Logf("%d looks at %d repeats: %d searches, %d sweeps transformed, %d compared", looks, stim.Repeats, searches,
		sweeps, comparisons)
	if n := int64(stim.Repeats); int64(looks) != n || sweeps != n || searches > n+1 || comparisons > 2*n {
		t.Errorf("work was done over")
	}
}

// BenchmarkAligner looks at the recording of BenchmarkAlign after each repeat.
func BenchmarkAligner(b *testing.B) {
	y, stim, startOf := scene{f0: 5000, q: 3, snrDB: 40, humDB: 10, delay: 4000.3}.record(b)
	for b.Loop() {
		a, _ := New(stim)
		for _, s := range startOf {
			a.Extend(y[:min(len(y), int(s)+stim.PeriodSamples+9600)])
			if _, err := a.Playing(); err != nil {
				b.Fatal(err)
			}
		}
	}
}
