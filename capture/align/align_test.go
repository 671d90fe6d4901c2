package align

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"coilsweep/excite"
)

// short is a stimulus of 4 s for tests that need many recordings.
func short(r *excite.Request) {
	r.FromHz, r.ToHz, r.SweepS, r.Repeats = 40, 16000, 0.6, 4
	r.LeadInS, r.GapS, r.TailS = 0.5, 0.25, 0.1
}

// shaped has a sweep that stays near 3 kHz, as after a scout.
func shaped(r *excite.Request) {
	r.Shape = []excite.Knot{{FrequencyHz: 20, Weight: 0.25}, {FrequencyHz: 1500, Weight: 0.3},
		{FrequencyHz: 2200, Weight: 2},
		{FrequencyHz: 2700, Weight: 13}, {FrequencyHz: 3000, Weight: 7}, {FrequencyHz: 3300, Weight: 12},
		{FrequencyHz: 5000, Weight: 1.5}, {FrequencyHz: 9000, Weight: 0.25}, {FrequencyHz: 20000, Weight: 0.25}}
}

// spread is how far apart the errors of the positions lie, in samples: the
// delay of the path, common to all, does not count.
func spread(a Alignment, startOf []float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for k, s := range a.StartSample {
		if !math.IsNaN(s) && !slices.Contains(a.Damaged, k) {
			lo, hi = math.Min(lo, s-startOf[k]), math.Max(hi, s-startOf[k])
		}
	}
	return hi - lo
}

// Clean takes: every coil, clock, delay and disturbance that is still fine.
func TestAlign(t *testing.T) {
	tests := []struct {
		name  string
		scene scene
		// bounds, in samples: between repeats, of the whole, of the drift.
		between, offset, driftPPM float64
	}{
		{"loopback, no noise", scene{}, 1e-6, 1e-3, 0},
		{"loopback, fraction of a sample", scene{delay: 777.37, snrDB: 60}, 1e-3, 0.01, 0},
		{"coil 5 kHz", scene{f0: 5000, q: 3, delay: 1000.3, snrDB: 40}, 0.003, 3, 0},
		{"coil 5 kHz, turned over", scene{request: short, f0: 5000, q: 3, delay: 1000.3, snrDB: 40, inverted: true},
			0.003, 3, 0},
		{"faint", scene{request: short, f0: 5000, q: 3, delay: 1000.3, snrDB: 40, gain: 1e-5}, 0.003, 3, 0},
		{"coil 1 kHz, Q 1", scene{request: short, f0: 1000, q: 1, delay: 3e4, snrDB: 40}, 0.01, 10, 0},
		{"coil 1 kHz, Q 30", scene{f0: 1000, q: 30, delay: 3e4, snrDB: 40}, 0.01, 10, 0},
		{"coil 15 kHz, Q 30", scene{request: short, f0: 15000, q: 30, delay: 3e4, snrDB: 40}, 0.003, 3, 0},
		{"+500 ppm", scene{f0: 5000, q: 3, delay: 1000.3, snrDB: 40, driftPPM: 500}, 0.005, 3, 0.02},
		{"-500 ppm", scene{f0: 5000, q: 3, delay: 1000.3, snrDB: 40, driftPPM: -500}, 0.005, 3, 0.02},
		{"+1 ppm", scene{f0: 5000, q: 3, delay: 1000.3, snrDB: 40, driftPPM: 1}, 0.005, 3, 0.02},
		{"hum 20 dB above", scene{f0: 5000, q: 3, delay: 1000.3, snrDB: 40, humDB: 20}, 0.005, 3, 0},
		{"hum 20 dB above, 60 Hz, -200 ppm",
			scene{f0: 3000, q: 5, delay: 1000.3, snrDB: 40, humDB: 20, mainsHz: 59.97, driftPPM: -200}, 0.02, 3, 0.05},
		{"noise as loud as the sweep", scene{f0: 5000, q: 3, delay: 1000.3, snrDB: 1e-9}, 0.3, 5, 0},
		{"clipped", scene{request: short, f0: 5000, q: 3, delay: 1000.3, snrDB: 40, clip: 0.3}, 0.01, 3, 0},
		{"44.1 kHz", scene{request: func(r *excite.Request) { r.RateHz = 44100 }, f0: 5000, q: 3, delay: 1000.3,
			snrDB: 40}, 0.003, 3, 0},
		{"shaped, no noise", scene{request: shaped, delay: 777.37}, 1e-3, 0.02, 0},
		{"shaped, coil 3 kHz", scene{request: shaped, f0: 3000, q: 3, delay: 1000.3, snrDB: 40}, 0.003, 3, 0},
		{"shaped, coil 5 kHz, turned over",
			scene{request: shaped, f0: 5000, q: 3, delay: 1000.3, snrDB: 40, inverted: true}, 0.003, 3, 0},
		{"shaped, +500 ppm", scene{request: shaped, f0: 3000, q: 3, delay: 1000.3, snrDB: 40, driftPPM: 500}, 0.005, 3,
			0.02},
		{"shaped, -500 ppm, hum 20 dB above",
			scene{request: shaped, f0: 3000, q: 3, delay: 1000.3, snrDB: 40, driftPPM: -500, humDB: 20}, 0.005, 3,
			0.02},
		// Its lower octaves pass within some periods of the mains.
		{"shaped, 0.7 s, hum", scene{request: func(r *excite.Request) { shaped(r); r.SweepS = 0.7 }, f0: 4000, q: 4,
			delay: 1000.3, snrDB: 45, humDB: 1e-9}, 0.01, 3, 0},
		{"two short sweeps from 100 Hz", scene{request: func(r *excite.Request) {
			r.FromHz, r.ToHz, r.SweepS, r.Repeats, r.GapS = 100, 16000, 0.25, 2, 0.1
		}, f0: 5000, q: 3, delay: 1000.3, snrDB: 40}, 0.01, 3, 0},
	}
	if !testing.Short() {
		tests = append(tests, tests[2])
		tests[len(tests)-1].name = "96 kHz"
		tests[len(tests)-1].scene.request = func(r *excite.Request) { r.RateHz, r.Repeats = 96000, 2 }
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			y, stim, startOf := tt.scene.record(t)
			a, err := Align(y, stim)
			if err != nil {
				t.Fatal(err)
			}
			if len(a.StartSample) != stim.Repeats || len(a.Damaged) != 0 || len(a.Jumps) != 0 || a.Partial {
				t.Errorf("%d repeats, damaged %v, jumps %v, partial %v", len(a.StartSample), a.Damaged, a.Jumps,
					a.Partial)
			}
			if d := spread(a, startOf); !(d <= tt.between) {
				t.Errorf("positions of the repeats off by %.2g samples between each other, want %.2g", d, tt.between)
			}
			if d := a.StartSample[0] - startOf[0]; !(math.Abs(d) <= tt.offset) {
				t.Errorf("first repeat %.3g samples off, want %.2g", d, tt.offset)
			}
			if d := a.DriftPPM - tt.scene.driftPPM; !(math.Abs(d) <= tt.driftPPM) {
				t.Errorf("drift %.4f ppm, want %g ± %.2g", a.DriftPPM, tt.scene.driftPPM, tt.driftPPM)
			}
			// A coil's own delay changes by less than 0.16 ms over the band.
			if d := a.SweepDriftPPM - tt.scene.driftPPM; math.Abs(d) > 160/stim.SweepRateS() {
				t.Errorf("drift of the sweep alone %.0f ppm, want about %.0f", a.SweepDriftPPM, tt.scene.driftPPM)
			}
			want := 1
			if tt.scene.inverted {
				want = -1
			}
			if a.Polarity != want {
				t.Errorf("polarity %d, want %d", a.Polarity, want)
			}
			if a.Quality < 2*DecisionThreshold || a.Quality > 1 {
				t.Errorf("quality %.3f", a.Quality)
			}
		})
	}
}

// What of the stimulus lies in the recording.
func TestAlignPartOfStimulus(t *testing.T) {
	stim := design(t, short)
	second := stim.RepeatStart(1)
	end := func(k int) int { return stim.RepeatStart(k) + stim.SweepSamples }
	nan := math.NaN()
	tests := []struct {
		name    string
		delay   float64 // -n: the recording starts n samples into the stimulus
		length  int
		want    []float64
		partial bool
		err     error
	}{
		{"whole, long wait", 3e5, 6e5, []float64{0, 1, 2, 3}, false, nil},
		{"starts with the first sweep", -float64(stim.RepeatStart(0)), 0, []float64{0, 1, 2, 3}, false, nil},
		{"starts 10 ms into the first sweep", -float64(stim.RepeatStart(0) + 480), 0, []float64{nan, 1, 2, 3}, true,
			nil},
		{"starts in the first gap", -float64(second - 2000), 0, []float64{nan, 1, 2, 3}, false, nil},
		{"starts in the third sweep", -float64(stim.RepeatStart(2) + 12000), 0, []float64{nan, nan, nan, 3}, true, nil},
		{"ends in the last sweep", 500, 500 + end(3) - 4000, []float64{0, 1, 2, nan}, true, nil},
		{"ends with the last sweep", 500, 500 + end(3), []float64{0, 1, 2, 3}, false, nil},
		{"one whole sweep and no more", -float64(stim.RepeatStart(0)), stim.SweepSamples, []float64{0, nan, nan, nan},
			false, nil},
		{"cut at both ends", -float64(stim.RepeatStart(0) + 12000), 2*stim.PeriodSamples + 12000,
			[]float64{nan, 1, nan, nan}, true, nil},
		{"less than a sweep", -float64(stim.RepeatStart(0)), stim.SweepSamples - 480, nil, false, ErrTooShort},
		{"end of one sweep, begin of the next", -float64(second - stim.PeriodSamples/2), stim.PeriodSamples, nil, false,
			ErrTooShort},
		{"empty", 0, 1, nil, false, ErrTooShort},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			y, _, startOf := scene{request: short, f0: 4000, q: 4, snrDB: 50, delay: tt.delay,
				length: tt.length}.record(t)
			a, err := Align(y, stim)
			if !errors.Is(err, tt.err) {
				t.Fatalf("error %v, want %v", err, tt.err)
			}
			if err != nil {
				return
			}
			if a.Partial != tt.partial {
				t.Errorf("partial %v, want %v", a.Partial, tt.partial)
			}
			for k, want := range tt.want {
				if math.IsNaN(want) != math.IsNaN(a.StartSample[k]) || math.Abs(a.StartSample[k]-startOf[k]) > 3 {
					t.Errorf("repeat %d at %.2f, want %v (%.2f)", k, a.StartSample[k], want, startOf[k])
				}
			}
		})
	}
}

// Lost and inserted samples, of any size and at any place where the sweep can
// be heard.
func TestAlignDamage(t *testing.T) {
	at := func(repeat int, at float64, n int) cut { return cut{repeat: repeat, at: at, n: n} }
	silenced := func(repeat int, at float64, n int) cut { return cut{repeat, at, n, true} }
	tests := []struct {
		name    string
		scene   scene
		damaged []int
		long    bool // the default stimulus
	}{
		{"5 lost, default stimulus", scene{cuts: []cut{at(1, 0.5, -5)}}, []int{1}, true},
		{"5 lost, hum 20 dB above", scene{humDB: 20, cuts: []cut{at(1, 0.5, -5)}}, []int{1}, true},
		{"5 lost", scene{cuts: []cut{at(1, 0.5, -5)}}, []int{1}, false},
		{"5 lost, 300 ppm", scene{driftPPM: 300, cuts: []cut{at(2, 0.6, -5)}}, []int{2}, false},
		{"5 inserted", scene{cuts: []cut{at(2, 0.7, 5)}}, []int{2}, false},
		{"5 lost early in the sweep", scene{cuts: []cut{at(1, 0.2, -5)}}, []int{1}, false},
		{"5 lost at the end of the sweep", scene{cuts: []cut{at(1, 0.97, -5)}}, []int{1}, false},
		{"5 lost in the first repeat", scene{cuts: []cut{at(0, 0.5, -5)}}, []int{0}, false},
		{"5 lost in the last repeat", scene{cuts: []cut{at(3, 0.5, -5)}}, []int{3}, false},
		{"1 lost", scene{cuts: []cut{at(1, 0.5, -1)}}, []int{1}, false},
		{"a buffer lost", scene{cuts: []cut{at(1, 0.4, -1024)}}, []int{1}, false},
		{"a buffer inserted", scene{cuts: []cut{at(2, 0.4, 1024)}}, []int{2}, false},
		{"4096 lost", scene{cuts: []cut{at(1, 0.8, -4096)}}, []int{1}, false},
		{"lost in two repeats", scene{cuts: []cut{at(0, 0.5, -64), at(2, 0.3, -256)}}, []int{0, 2}, false},
		{"lost in the gap: no harm", scene{cuts: []cut{at(1, 1.1, -480)}}, nil, false},
		{"shaped, 5 lost near 3 kHz", scene{request: shaped, cuts: []cut{at(1, 0.5, -5)}}, []int{1}, true},
		{"shaped, a buffer silenced", scene{request: shaped, cuts: []cut{silenced(3, 0.5, 512)}}, []int{3}, true},
		{"64 silenced", scene{cuts: []cut{silenced(1, 0.6, 64)}}, []int{1}, false},
		{"a buffer silenced", scene{cuts: []cut{silenced(3, 0.5, 512)}}, []int{3}, false},
		{"silenced in the reference", scene{cuts: []cut{silenced(0, 0.5, 512)}}, []int{0}, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := tt.scene
			s.f0, s.q, s.snrDB, s.delay, s.seed = 5000, 4, 50, 1000.3, 5
			if !tt.long {
				s.request = short
			}
			y, stim, startOf := s.record(t)
			a, err := Align(y, stim)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(a.Damaged, tt.damaged) {
				t.Errorf("damaged %v, want %v", a.Damaged, tt.damaged)
			}
			if d := a.DriftPPM - s.driftPPM; math.Abs(d) > 0.05 {
				t.Errorf("drift %.4f ppm, want %g", a.DriftPPM, s.driftPPM)
			}
			// Positions shift by what was cut before them.
			shift := 0.0
			for k := range startOf {
				for _, c := range s.cuts {
					if c.repeat == k-1 && !c.zero {
						shift += float64(c.n)
					}
				}
				if slices.Contains(a.Damaged, k) {
					continue
				}
				if d := a.StartSample[k] - startOf[k] - shift; math.Abs(d) > 1.5 {
					t.Errorf("repeat %d off by %.2f samples", k, d)
				}
			}
			for _, c := range s.cuts {
				i := slices.IndexFunc(a.Jumps, func(j Jump) bool {
					where := startOf[c.repeat] + c.at*float64(stim.SweepSamples)
					reach := 0.02 * float64(stim.RateHz)
					if s.humDB != 0 {
						reach *= 10
					}
					near := math.Abs(j.Sample-where) < reach || j.Repeat < 0 && c.at > 1
					return near && (c.zero && j.Samples == 0 || !c.zero && math.Abs(j.Samples-float64(c.n)) < 0.3)
				})
				if i < 0 {
					t.Errorf("%+v not among the jumps %+v", c, a.Jumps)
				}
			}
		})
	}
}

// With two repeats the sweep itself decides which one is whole; with one, only
// large losses show.
func TestAlignDamageWithFewRepeats(t *testing.T) {
	tests := []struct {
		repeats int
		cut     cut
		damaged []int
	}{
		{2, cut{repeat: 0, at: 0.5, n: -64}, []int{0}},
		{2, cut{repeat: 1, at: 0.5, n: -64}, []int{1}},
		{2, cut{repeat: 1, at: 0.5, n: 64}, []int{1}},
		{2, cut{repeat: 0, at: 0.6, n: -1024}, []int{0}},
		{2, cut{repeat: 1, at: 0.6, n: 256, zero: true}, []int{1}},
		{2, cut{repeat: 0, at: 0.6, n: 256, zero: true}, []int{0}},
		{1, cut{repeat: 0, at: 0.5, n: -256}, []int{0}},
		{1, cut{repeat: 0, at: 0.5, n: -1024}, []int{0}},
		{1, cut{repeat: 0, at: 0.5}, nil},
	}
	for _, tt := range tests {
		t.Run(fmt.Sprintf("%d repeats %+v", tt.repeats, tt.cut), func(t *testing.T) {
			y, stim, _ := scene{request: func(r *excite.Request) { r.Repeats = tt.repeats },
				f0: 5000, q: 4, snrDB: 50, delay: 1000.3, driftPPM: 200, cuts: []cut{tt.cut}}.record(t)
			a, err := Align(y, stim)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(a.Damaged, tt.damaged) {
				t.Errorf("damaged %v, want %v (jumps %v)", a.Damaged, tt.damaged, a.Jumps)
			}
			if tt.repeats == 2 && math.Abs(a.DriftPPM-200) > 10 {
				t.Errorf("drift %.1f ppm, want 200", a.DriftPPM)
			}
			if tt.repeats == 1 && !math.IsInf(a.DriftUPPM, 1) {
				t.Errorf("drift of one repeat is said to be known to %g ppm", a.DriftUPPM)
			}
		})
	}
}

// Whatever stretch of a recording is handed in, what comes out lies in it.
func TestAlignAnyStretch(t *testing.T) {
	y, stim, startOf := scene{request: short, f0: 4000, q: 4, snrDB: 50, delay: 5000}.record(t)
	random := rand.New(rand.NewPCG(8, 8))
	for range 40 {
		from := random.IntN(len(y))
		to := from + random.IntN(len(y)-from)
		a, err := Align(y[from:to], stim)
		if err != nil {
			if !errors.Is(err, ErrTooShort) && !errors.Is(err, ErrNoStimulus) {
				t.Errorf("%d to %d: %v", from, to, err)
			}
			continue
		}
		for k, s := range a.StartSample {
			near := slices.ContainsFunc(startOf, func(x float64) bool { return math.Abs(s+float64(from)-x) < 3 })
			if !math.IsNaN(s) && (!near || s < -100 || s+float64(stim.SweepSamples) > float64(to-from)+100) {
				t.Errorf("%d to %d: repeat %d at %.2f", from, to, k, s)
			}
		}
		if _, _, err := Periods(y[from:to], stim, a); err != nil && len(a.Damaged) == 0 {
			t.Errorf("%d to %d: %v", from, to, err)
		}
	}
}

func TestAlignRefuses(t *testing.T) {
	stim := design(t, short)
	for _, bad := range []float64{math.NaN(), math.Inf(1)} {
		y := make([]float64, 2*stim.SweepSamples)
		y[100] = bad
		if _, err := Align(y, stim); err == nil || errors.Is(err, ErrNoStimulus) {
			t.Errorf("%v among the samples: error %v", bad, err)
		}
	}
	stim.PeriodSamples++ // 7 or another prime: transforms would take minutes
	for excite.IsTransform(stim.PeriodSamples) {
		stim.PeriodSamples++
	}
	for _, period := range []int{stim.PeriodSamples, 3188646} { // 2·3^13: too many factors
		stim.PeriodSamples = period
		if _, err := Align(make([]float64, 1e6), stim); err == nil {
			t.Errorf("a period of %d samples was taken", period)
		}
	}
	if _, err := Align(make([]float64, 1e6), excite.Stimulus{}); err == nil {
		t.Error("an empty stimulus was taken")
	}
}
