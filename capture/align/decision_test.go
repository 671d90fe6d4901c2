package align

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"coilsweep/excite"
)

// bogus makes n samples without the stimulus.
type bogus struct {
	name string
	make func(stim excite.Stimulus, random *rand.Rand, n int) []float64
	// plain: noise stays away from the threshold of the share alone.
	plain bool
}

func noise(random *rand.Rand, n int, colour float64) []float64 {
	y := make([]float64, n)
	v := 0.0
	for i := range y {
		v = colour*v + random.NormFloat64()
		y[i] = v
	}
	return y
}

var bogusKinds = []bogus{
	{"silence", func(_ excite.Stimulus, _ *rand.Rand, n int) []float64 { return make([]float64, n) }, true},
	{"offset", func(_ excite.Stimulus, _ *rand.Rand, n int) []float64 {
		y := make([]float64, n)
		for i := range y {
			y[i] = 0.01
		}
		return y
	}, false},
	{"white noise", func(_ excite.Stimulus, random *rand.Rand, n int) []float64 { return noise(random, n, 0) }, true},
	{"red noise", func(_ excite.Stimulus, random *rand.Rand, n int) []float64 { return noise(random, n, 0.99) }, true},
	{"hum", func(stim excite.Stimulus, random *rand.Rand, n int) []float64 {
		y := noise(random, n, 0)
		mains := 49.8 + 0.4*random.Float64()
		for i := range y {
			for h := 1.0; h < 12; h++ {
				y[i] += 100 / h * math.Sin(2*math.Pi*mains*h*float64(i)/float64(stim.RateHz)+h*h)
			}
		}
		return y
	}, false},
	// Notes of plucked strings: harmonics that decay, a new note each 0.2 s
	// to 0.6 s, out of tune as they please, some bent upwards.
	{"notes", func(stim excite.Stimulus, random *rand.Rand, n int) []float64 {
		y := noise(random, n, 0.9)
		rate := float64(stim.RateHz)
		for at := 0; at < n; at += int(rate * (0.2 + 0.4*random.Float64())) {
			f := 80 * math.Exp2(3*random.Float64())
			bend := 0.0
			if random.IntN(3) == 0 {
				bend = 0.1 * random.Float64()
			}
			phase := 0.0
			for i := at; i < min(n, at+int(rate)); i++ {
				t := float64(i-at) / rate
				phase += 2 * math.Pi * f * (1 + bend*t) / rate
				for h := 1.0; h < 5; h++ {
					y[i] += 1000 / h * math.Exp(-3*t*math.Sqrt(h)) * math.Sin(h*phase)
				}
			}
		}
		return y
	}, false},
	{"knocks", func(stim excite.Stimulus, random *rand.Rand, n int) []float64 {
		y := noise(random, n, 0)
		for range 10 {
			at := random.IntN(n)
			for i := at; i < min(n, at+2000); i++ {
				y[i] += 1000 * math.Exp(-float64(i-at)/300) * math.Sin(float64(i-at)*0.05)
			}
		}
		return y
	}, false},
	{"linear sweeps", func(stim excite.Stimulus, random *rand.Rand, n int) []float64 {
		y := noise(random, n, 0)
		at := random.IntN(stim.LeadInSamples)
		for i := at; i < n; i++ {
			t := float64((i-at)%stim.PeriodSamples) / float64(stim.SweepSamples)
			if t < 1 {
				span := float64(stim.SweepSamples)
				y[i] += 100 * math.Sin(2*math.Pi*span*(stim.FromHz*t+0.5*(stim.ToHz-stim.FromHz)*t*t)/float64(
					stim.RateHz))
			}
		}
		return y
	}, false},
	{"sweeps backwards", func(stim excite.Stimulus, random *rand.Rand, n int) []float64 {
		y := noise(random, n, 0)
		x := stim.Samples()
		for i := range min(n, len(x)) {
			y[i] += 400 * x[len(x)-1-i]
		}
		return y
	}, false},
}

// False alarms: none in any kind of recording without the stimulus.
func TestNoStimulus(t *testing.T) {
	seeds := 5
	if testing.Short() {
		seeds = 2
	}
	stim := design(t, short)
	c := newComparison(nil, stim)
	for _, kind := range bogusKinds {
		t.Run(kind.name, func(t *testing.T) {
			largest, together := 0.0, 0
			for seed := range seeds {
				random := rand.New(rand.NewPCG(uint64(seed), 2))
				y := kind.make(stim, random, stim.TotalSamples()+random.IntN(stim.RateHz))
				if _, err := Align(y, stim); !errors.Is(err, ErrNoStimulus) {
					t.Errorf("seed %d: error %v", seed, err)
				}
				c.samples = y
				for _, p := range findPulses(y, stim, c.course, 0) {
					largest = math.Max(largest, p.share)
					n, _ := c.agreement(c.transform(p))
					together = max(together, n)
				}
			}
			t.Logf("%d recordings: largest share %.4f (threshold %.2f), at most %d bands together (threshold %d)",
				seeds, largest, DecisionThreshold, together, leastBands)
			if kind.plain && largest > DecisionThreshold/2 {
				t.Errorf("largest share %.4f: no margin to the threshold", largest)
			}
		})
	}
}

// Sweeps of other designs, at an excellent signal-to-noise ratio.
func TestAnotherStimulus(t *testing.T) {
	edit := func(change func(*excite.Request)) func(*excite.Request) {
		return func(r *excite.Request) {
			short(r)
			change(r)
		}
	}
	tests := []struct {
		name   string
		played func(*excite.Request)
	}{
		{"half as long", edit(func(r *excite.Request) { r.SweepS *= 0.5 })},
		{"three quarters as long", edit(func(r *excite.Request) { r.SweepS *= 0.75 })},
		{"a third longer", edit(func(r *excite.Request) { r.SweepS *= 1.35 })},
		{"twice as long", edit(func(r *excite.Request) { r.SweepS *= 2 })},
		{"from 20 Hz", edit(func(r *excite.Request) { r.FromHz = 20 })},
		{"from 50 Hz", edit(func(r *excite.Request) { r.FromHz = 50 })},
		{"from 100 Hz", edit(func(r *excite.Request) { r.FromHz = 100 })},
		{"to 20 kHz, longer", edit(func(r *excite.Request) { r.ToHz = 20000; r.SweepS = 0.8 })},
		{"another gap", edit(func(r *excite.Request) { r.GapS += 0.1 })},
		{"the default", nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			played := design(t, tt.played)
			s := scene{request: short, played: &played, f0: 5000, q: 3, snrDB: 60, delay: 3000.3}
			s.length = 3000 + played.TotalSamples()
			y, stim, _ := s.record(t)
			a, err := Align(y, stim)
			t.Logf("rate %.4f s for %.4f s: quality %.3f, %v", played.SweepRateS(), stim.SweepRateS(), a.Quality, err)
			if !errors.Is(err, ErrNoStimulus) {
				t.Errorf("error %v, alignment %+v", err, a)
			}
		})
	}
}

// Misses: down to 10 dB below the noise of the whole band, and in hum 30 dB
// above, every repeat is found where it is.
func TestFaintStimulus(t *testing.T) {
	seeds := 8
	if testing.Short() {
		seeds = 2
	}
	missed, damaged, least := 0, 0, 1.0
	for seed := range seeds {
		random := rand.New(rand.NewPCG(uint64(seed), 3))
		s := scene{
			request: short, f0: 1000 * math.Pow(12, random.Float64()), q: math.Pow(30, random.Float64()),
			delay: 2e4 * random.Float64(), driftPPM: 1000*random.Float64() - 500,
			snrDB: -10 + 0.001, humDB: 30 * random.Float64(), seed: uint64(seed), inverted: seed%2 == 1,
		}
		y, stim, startOf := s.record(t)
		a, err := Align(y, stim)
		if err != nil {
			t.Logf("seed %d: %v (%+v)", seed, err, s)
			missed++
			continue
		}
		damaged += len(a.Damaged)
		least = math.Min(least, a.Quality)
		for k := range startOf {
			if !(math.Abs(a.StartSample[k]-startOf[k]) < 0.002*float64(stim.RateHz)) {
				t.Errorf("seed %d: repeat %d at %.1f, want %.1f", seed, k, a.StartSample[k], startOf[k])
			}
		}
	}
	t.Logf("%d of %d missed, %d repeats called damaged, least quality %.3f", missed, seeds, damaged, least)
	if missed > 0 || damaged > 0 {
		t.Errorf("%d of %d missed, %d repeats called damaged", missed, seeds, damaged)
	}
}

// randomScene is any coil, clock and delay.
func randomScene(random *rand.Rand, seed int) scene {
	s := scene{
		request: short, f0: 1000 * math.Pow(12, random.Float64()), q: math.Pow(30, random.Float64()),
		delay: 2e4 * random.Float64(), mainsHz: 50 + 10*float64(seed%2) + 0.1*random.Float64(), seed: uint64(seed),
	}
	if seed%4 > 1 {
		s.driftPPM = 1000*random.Float64() - 500
	}
	return s
}

// Repeats that are whole are not called damaged, whatever hum and noise.
func TestWholeRepeatsStayWhole(t *testing.T) {
	seeds := 8
	if testing.Short() {
		seeds = 2
	}
	between, drift := 0.0, 0.0
	for seed := range seeds {
		random := rand.New(rand.NewPCG(uint64(seed), 40))
		s := randomScene(random, seed)
		s.snrDB = 60 * random.Float64()
		if seed%3 > 0 {
			s.humDB = 30 * random.Float64()
		}
		y, _, startOf := s.record(t)
		a, err := Align(y, design(t, short))
		if err != nil || len(a.Damaged) > 0 || len(a.Jumps) > 0 {
			t.Errorf("seed %d: damaged %v, jumps %v, error %v (%+v)", seed, a.Damaged, a.Jumps, err, s)
			continue
		}
		if s.snrDB > 40 {
			between = math.Max(between, spread(a, startOf))
			drift = math.Max(drift, math.Abs(a.DriftPPM-s.driftPPM))
		}
	}
	t.Logf("above 40 dB: positions off by at most %.4f samples between repeats, drift by %.4f ppm", between, drift)
	if between > 0.01 || drift > 0.05 {
		t.Errorf("positions off by %.4f samples, drift by %.4f ppm", between, drift)
	}
}

// Losses and insertions of 5 to 700 samples anywhere from 110 Hz up are found,
// in the right repeat.
func TestRandomDamageIsFound(t *testing.T) {
	seeds := 8
	if testing.Short() {
		seeds = 2
	}
	for seed := range seeds {
		random := rand.New(rand.NewPCG(uint64(seed), 41))
		s := randomScene(random, seed)
		s.snrDB = 40 + 20*random.Float64()
		c := cut{repeat: random.IntN(4), at: 0.17 + 0.79*random.Float64(), n: int(5 * math.Exp(5*random.Float64()))}
		if random.IntN(2) == 0 {
			c.n = -c.n
		}
		s.cuts = []cut{c}
		y, _, _ := s.record(t)
		a, err := Align(y, design(t, short))
		if err != nil || len(a.Damaged) != 1 || a.Damaged[0] != c.repeat {
			t.Errorf("seed %d: damaged %v, want [%d], error %v (%+v)", seed, a.Damaged, c.repeat, err, s)
		}
	}
}
