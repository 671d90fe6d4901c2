package align

import (
	"errors"
	"math"
	"slices"
	"testing"

	"coilsweep/excite"
)

// A recording without drift goes through bit for bit, at whole samples, also
// where an earlier loss has shifted the later repeats.
func TestPeriodsCopies(t *testing.T) {
	y, stim, startOf := scene{request: short, f0: 5000, q: 4, snrDB: 60, delay: 1000.3,
		cuts: []cut{{repeat: 1, at: 0.5, n: -100}}}.record(t)
	a, err := Align(y, stim)
	if err != nil {
		t.Fatal(err)
	}
	periods, repeats, err := Periods(y, stim, a)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(repeats, []int{0, 2, 3}) {
		t.Fatalf("repeats %v, want 0, 2, 3", repeats)
	}
	first := int(math.Round(a.StartSample[0]))
	if d := float64(first) - startOf[0]; math.Abs(d) > 2 {
		t.Errorf("first period starts %g samples off", d)
	}
	for i, k := range repeats {
		from := first + k*stim.PeriodSamples
		if k > 1 {
			from -= 100
		}
		if !slices.Equal(periods[i], y[from:from+stim.PeriodSamples]) {
			t.Errorf("repeat %d is not a copy of the recording from %d", k, from)
		}
	}
}

// With a drift the periods are those that were played: compared with the same
// scene recorded by the player's clock, where the fraction of a sample is the
// same in all.
func TestPeriodsFollowTheClock(t *testing.T) {
	for _, drift := range []float64{-500, -20, 3, 500} {
		y, stim, _ := scene{request: short, delay: 1000, driftPPM: drift}.record(t)
		a, err := Align(y, stim)
		if err != nil {
			t.Fatal(err)
		}
		periods, _, err := Periods(y, stim, a)
		if err != nil {
			t.Fatal(err)
		}
		amplitude := stim.Amplitude()
		for k, p := range periods {
			if len(p) != stim.PeriodSamples {
				t.Fatalf("period of %d samples", len(p))
			}
			worst := 0.0
			for n := range p {
				want := 0.0
				if n < stim.SweepSamples-200 { // the fade goes up to 16 kHz
					want = amplitude * sweepAt(stim, nil, float64(n))
				} else if n < stim.SweepSamples+200 {
					continue
				}
				worst = math.Max(worst, math.Abs(p[n]-want))
			}
			// 16 kHz moves by 2 pi/3 per sample: the delay common to all is
			// exact to 5 thousandths of a sample, between repeats to 0.1.
			if limit := 1e-2 * stim.Amplitude(); worst > limit {
				t.Errorf("%g ppm: repeat %d differs by %.2g of the amplitude", drift, k, worst/stim.Amplitude())
			}
			between := 0.0
			for n := range stim.SweepSamples - 200 {
				between = math.Max(between, math.Abs(p[n]-periods[0][n]))
			}
			if limit := 2e-4 * stim.Amplitude(); between > limit {
				t.Errorf("%g ppm: repeats 0 and %d differ by %.2g of the amplitude", drift, k, between/stim.Amplitude())
			}
		}
	}
}

// Interpolated sines: below 1e-5 up to 0.42 of the rate, as documented, and
// 20 kHz at 44.1 kHz within 0.01 dB.
func TestResampleSines(t *testing.T) {
	ip := newInterpolator()
	const n = 4000
	x, dst := make([]float64, n+200), make([]float64, n)
	for _, tt := range []struct{ f, limit float64 }{
		{0, 1e-12}, {0.001, 1e-5}, {0.1, 1e-5}, {0.25, 1e-5}, {0.4, 1e-5}, {0.42, 1e-5},
		{20000.0 / 44100, 1.2e-3}, {20000.0 / 48000, 1e-5},
	} {
		for i := range x {
			x[i] = math.Cos(2*math.Pi*tt.f*float64(i) + 0.5)
		}
		step := 1 + 1e-6*313.7
		ip.resample(dst, x, 100.37, step)
		worst := 0.0
		for m := range dst {
			worst = math.Max(worst, math.Abs(dst[m]-math.Cos(2*math.Pi*tt.f*(100.37+float64(m)*step)+0.5)))
		}
		t.Logf("%.4f of the rate: error %.2g", tt.f, worst)
		if worst > tt.limit {
			t.Errorf("%.4f of the rate: error %.2g, want %.2g", tt.f, worst, tt.limit)
		}
	}
}

// A fraction of a sample that differs from repeat to repeat needs
// interpolation even without drift.
func TestPeriodsInterpolatesFractions(t *testing.T) {
	stim := design(t, short)
	y := make([]float64, stim.TotalSamples())
	for i := range y {
		y[i] = math.Sin(0.1 * float64(i))
	}
	a := Alignment{StartSample: []float64{24000, 24000 + float64(stim.PeriodSamples) + 0.25}}
	periods, _, err := Periods(y, stim, a)
	if err != nil {
		t.Fatal(err)
	}
	for k, p := range periods {
		for n := 0; n < len(p); n += 997 {
			if want := math.Sin(0.1 * (a.StartSample[k] + float64(n))); math.Abs(p[n]-want) > 1e-5 {
				t.Fatalf("repeat %d, sample %d: %g, want %g", k, n, p[n], want)
			}
		}
	}
}

// The recording may end with the sweep.
func TestPeriodsFillTheGap(t *testing.T) {
	stim := design(t, short)
	for _, over := range []int{0, 10, 5000} {
		end := stim.RepeatStart(0) + stim.SweepSamples + over
		y := make([]float64, end)
		for i := range y {
			y[i] = 1
		}
		start := float64(stim.RepeatStart(0))
		for _, drift := range []float64{0, 100} {
			periods, repeats, err := Periods(y, stim,
				Alignment{StartSample: []float64{start, math.NaN()}, DriftPPM: drift})
			if err != nil || !slices.Equal(repeats, []int{0}) {
				t.Fatalf("repeats %v, %v", repeats, err)
			}
			p := periods[0]
			if len(p) != stim.PeriodSamples || p[len(p)-1] != 0 || math.Abs(p[stim.SweepSamples-200]-1) > 1e-12 {
				t.Errorf("%d samples over, %g ppm: length %d, end %g, sweep %g", over, drift, len(p), p[len(p)-1],
					p[stim.SweepSamples-200])
			}
			if over > 200 && math.Abs(p[stim.SweepSamples+over-10]-p[stim.SweepSamples+over-20]) > 0.1 {
				t.Error("the end of the recording is a step")
			}
		}
	}
}

func TestPeriodsOfNothing(t *testing.T) {
	stim := design(t, short)
	nan := math.NaN()
	for _, a := range []Alignment{{}, {StartSample: []float64{nan, nan}}, {StartSample: []float64{100, nan},
		Damaged: []int{0}}} {
		if p, _, err := Periods(make([]float64, 1000), stim, a); !errors.Is(err, ErrTooShort) {
			t.Errorf("%+v: %d periods, error %v", a, len(p), err)
		}
	}
	if _, _, err := Periods(nil, excite.Stimulus{}, Alignment{}); err == nil {
		t.Error("an empty stimulus was taken")
	}
}

// The silence holds nothing but noise, and no more than the lead-in.
func TestSilence(t *testing.T) {
	tests := []struct {
		name  string
		delay float64
		want  int // samples, about; 0: nil
	}{
		{"whole lead-in after a long wait", 50000, 24000 - 240},
		{"part of the lead-in", -10000, 14000 - 240},
		{"too little of it", -22000, 0},
		{"first repeat missing", -40000, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			y, stim, _ := scene{request: short, f0: 5000, q: 4, snrDB: 60, delay: tt.delay}.record(t)
			a, err := Align(y, stim)
			if err != nil {
				t.Fatal(err)
			}
			from, to := Silence(stim, a)
			s := y[from:to]
			if math.Abs(float64(len(s)-tt.want)) > 5 {
				t.Fatalf("%d samples, want about %d", len(s), tt.want)
			}
			sigma := stim.Amplitude() / math.Sqrt2 * 1e-3
			for i, v := range s {
				if math.Abs(v) > 6*sigma {
					t.Fatalf("sample %d of %d is %.2g, %.1f times the noise", i, len(s), v, v/sigma)
				}
			}
		})
	}
}
