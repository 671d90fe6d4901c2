package quality

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"coilsweep/capture"
	"coilsweep/excite"
)

// testTake is a take with a short stimulus of three repeats.
func testTake(t testing.TB) capture.Take {
	t.Helper()
	r := excite.DefaultRequest()
	r.FromHz, r.ToHz, r.SweepS, r.Repeats = 40, 16000, 0.6, 3
	r.LeadInS, r.GapS, r.TailS = 0.6, 0.25, 0.1
	s, err := excite.Design(r)
	if err != nil {
		t.Fatal(err)
	}
	return capture.Take{Stimulus: s, Reference: capture.Reference{Kind: "none"}}
}

// recorded is the stimulus through a coil (a difference and a pole pair, gain 1
// at 1 kHz), delay samples later.
func recorded(s excite.Stimulus, f0, q float64, delay int) []float64 {
	y := append(make([]float64, delay), s.Samples()...)
	if f0 == 0 {
		return y
	}
	w := 2 * math.Pi * f0 / float64(s.RateHz)
	r := math.Exp(-w / (2 * q))
	a1, a2 := 2*r*math.Cos(w*math.Sqrt(1-1/(4*q*q))), -r*r
	b := (1 - a1 - a2) * float64(s.RateHz) / (2 * math.Pi * 1000)
	var x1, y1, y2 float64
	for i, x := range y {
		v := b*(x-x1) + a1*y1 + a2*y2
		x1, y2, y1 = x, y1, v
		y[i] = v
	}
	return y
}

func assessed(rec capture.Recording, take capture.Take) (capture.Quality, error) {
	take, err := Assess(rec, take)
	return take.Quality, err
}

func addNoise(y []float64, rmsDBFS float64, seed uint64) {
	random := rand.New(rand.NewPCG(seed, 7))
	sigma := math.Pow(10, rmsDBFS/20) / math.Sqrt2
	for i := range y {
		y[i] += sigma * random.NormFloat64()
	}
}

// addHum adds mains with some harmonics; the level is that of their sum.
func addHum(y []float64, rate, mainsHz, levelDBFS float64) {
	parts := []float64{1, 0.3, 0.5, 0.1, 0.3}
	square := 0.0
	for _, p := range parts {
		square += p * p
	}
	a := math.Pow(10, levelDBFS/20) / math.Sqrt(square)
	for h, p := range parts {
		for i := range y {
			y[i] += a * p * math.Sin(2*math.Pi*mainsHz*float64(h+1)*float64(i)/rate+float64(h*h))
		}
	}
}

func gain(y []float64, g float64) {
	for i := range y {
		y[i] *= g
	}
}

func clip(y []float64, limit float64) {
	for i := range y {
		y[i] = math.Max(-limit, math.Min(limit, y[i]))
	}
}

func round(y []float64, bits int) {
	steps := math.Exp2(float64(bits - 1))
	for i := range y {
		y[i] = math.Max(-1, math.Min(1-1/steps, math.Round(y[i]*steps)/steps))
	}
}

// Which fault gets which flag, and none gets another.
func TestAssessFlags(t *testing.T) {
	take := testTake(t)
	s := take.Stimulus
	rate := float64(s.RateHz)
	sweep := func(k int, part float64) int { return 2000 + s.RepeatStart(k) + int(part*float64(s.SweepSamples)) }
	// The peak of the recording, for limits relative to it.
	loudest := 0.0
	for _, v := range recorded(s, 4000, 4, 0) {
		loudest = math.Max(loudest, math.Abs(v))
	}
	const peak = 0.7
	tests := []struct {
		name string
		edit func(y []float64) []float64
		want []capture.Flag
	}{
		{"good", nil, nil},
		{"good, 16 bits", func(y []float64) []float64 { round(y, 16); return y }, nil},
		{"faint, 16 bits", func(y []float64) []float64 { gain(y, 0.01); round(y, 16); return y }, nil},
		{"offset", func(y []float64) []float64 {
			for i := range y {
				y[i] += 0.02
			}
			return y
		}, nil},
		{"as loud as can be", func(y []float64) []float64 { gain(y, 0.9999/peak); round(y, 24); return y }, nil},
		{"clipped at full scale", func(y []float64) []float64 { gain(y, 1.2/peak); round(y, 24); return y },
			[]capture.Flag{capture.Clipped}},
		{"clipped at full scale, 16 bits", func(y []float64) []float64 { gain(y, 1.2/peak); round(y, 16); return y },
			[]capture.Flag{capture.Clipped}},
		{"float, beyond full scale", func(y []float64) []float64 { gain(y, 1.2/peak); return y }, nil},
		{"clipped below full scale", func(y []float64) []float64 { clip(y, 0.6*peak); gain(y, 0.3); return y },
			[]capture.Flag{capture.Clipped}},
		{"clipped on one side before a noisy stage", func(y []float64) []float64 {
			for i := range y {
				y[i] = math.Min(y[i], 0.7*peak)
			}
			addNoise(y, -85, 2)
			return y
		}, []capture.Flag{capture.Clipped}},
		{"one repeat clipped", func(y []float64) []float64 {
			gain(y, 0.8/peak)
			for i := sweep(1, 0.7); i < sweep(1, 0.75); i++ {
				y[i] = 1
			}
			return y
		}, []capture.Flag{capture.ClippedRepeat}},
		{"one repeat clipped, samples lost in another", func(y []float64) []float64 {
			gain(y, 0.8/peak)
			for i := sweep(1, 0.7); i < sweep(1, 0.75); i++ {
				y[i] = 1
			}
			return slices.Delete(y, sweep(2, 0.6), sweep(2, 0.6)+50)
		}, []capture.Flag{capture.ClippedRepeat, capture.Dropout}},
		{"silent", func(y []float64) []float64 { clear(y); return y }, []capture.Flag{capture.NoStimulus}},
		{"noise alone", func(y []float64) []float64 { clear(y); addNoise(y, -40, 3); return y },
			[]capture.Flag{capture.NoStimulus}},
		{"hum alone", func(y []float64) []float64 { clear(y); addHum(y, rate, 50, -20); return y },
			[]capture.Flag{capture.NoStimulus}},
		{"clipped hum alone", func(y []float64) []float64 { clear(y); addHum(y, rate, 50, 6); round(y, 24); return y },
			[]capture.Flag{capture.NoStimulus, capture.Clipped}},
		{"half a sweep", func(y []float64) []float64 { return y[:sweep(0, 0.7)] }, []capture.Flag{capture.TooShort}},
		{"a second", func(y []float64) []float64 { return y[:s.SweepSamples/2] }, []capture.Flag{capture.TooShort}},
		{"samples lost in one repeat", func(y []float64) []float64 {
			return slices.Delete(y, sweep(1, 0.6), sweep(1, 0.6)+50)
		}, []capture.Flag{capture.Dropout}},
		{"hum", func(y []float64) []float64 { addHum(y, rate, 60.03, -18); return y }, []capture.Flag{capture.Hum}},
		{"a little hum", func(y []float64) []float64 { addHum(y, rate, 49.97, -45); return y }, nil},
		{"little signal", func(y []float64) []float64 { addNoise(y, -25, 4); return y },
			[]capture.Flag{capture.LowSNR}},
		{"noise 30 dB below", func(y []float64) []float64 { addNoise(y, -57, 4); return y }, nil},
		{"turned over", func(y []float64) []float64 { gain(y, -1); return y }, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			y := recorded(s, 4000, 4, 2000)
			gain(y, peak/loudest)
			addNoise(y, -90, 1)
			if tt.edit != nil {
				y = tt.edit(y)
			}
			q, err := assessed(capture.Recording{RateHz: s.RateHz, Samples: [][]float64{y}}, take)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(q.Flags, tt.want) {
				t.Errorf("flags %v, want %v (%+v)", q.Flags, tt.want, q)
			}
			if clipped := q.ClippedSamples > 0; clipped != (slices.Contains(tt.want, capture.Clipped) ||
				slices.Contains(tt.want, capture.ClippedRepeat)) {
				t.Errorf("%d samples clipped", q.ClippedSamples)
			}
		})
	}
}

// Another clock recorded than played: the sweeps come later and longer.
func TestAssessDrift(t *testing.T) {
	take := testTake(t)
	s := take.Stimulus
	for _, tt := range []struct {
		ppm  float64
		want []capture.Flag
	}{{100, []capture.Flag{capture.Drift}}, {-100, []capture.Flag{capture.Drift}}, {5, nil}} {
		stretch := 1 + 1e-6*tt.ppm
		y := make([]float64, s.TotalSamples())
		perE := s.SweepRateS() * float64(s.RateHz)
		for k := range s.Repeats {
			start := float64(s.RepeatStart(k)) * stretch
			for i := int(start) + 1; float64(i)-start < float64(s.SweepSamples)*stretch; i++ {
				y[i] = 0.2 * math.Sin(2*math.Pi*float64(s.Cycles)*math.Exp((float64(i)-start)/stretch/perE))
			}
		}
		addNoise(y, -80, 6)
		q, err := assessed(capture.Recording{RateHz: s.RateHz, Samples: [][]float64{y}}, take)
		if err != nil || !slices.Equal(q.Flags, tt.want) || math.Abs(q.DriftPPM-tt.ppm) > 0.1 {
			t.Errorf("%g ppm: flags %v, drift %.3f ppm, error %v", tt.ppm, q.Flags, q.DriftPPM, err)
		}
	}
}

// The figures of a recording whose figures are known: levels as AES17 has
// them (a full-scale sine is 0 dBFS), noise, hum and its frequency, polarity.
func TestAssessFigures(t *testing.T) {
	take := testTake(t)
	s := take.Stimulus
	y := recorded(s, 0, 0, 3000)
	gain(y, -1)
	addNoise(y, -60, 5)
	addHum(y, float64(s.RateHz), 60.05, -50)
	q, err := assessed(capture.Recording{RateHz: s.RateHz, Samples: [][]float64{y}}, take)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range []struct {
		name            string
		got, want, tol_ float64
	}{
		// Hum and noise add to the peak, faded ends take off the rms.
		{"peak", q.PeakDBFS, s.LevelDBFS + 0.2, 0.15},
		{"rms", q.RMSDBFS, s.LevelDBFS - 0.3, 0.3},
		{"noise", q.NoiseDBFS, 10 * math.Log10(1e-6+1e-5), 0.3},
		{"hum", q.HumDBFS, -50, 0.3},
		{"mains frequency", q.MainsHz, 60.05, 0.02},
		{"signal to noise", q.SNRDB, s.LevelDBFS + 60, 0.5},
		{"polarity", float64(q.Polarity), -1, 0},
		{"drift", q.DriftPPM, 0, 0},
		{"quality", q.AlignmentQuality, 1, 0.05},
	} {
		if !(math.Abs(f.got-f.want) <= f.tol_) {
			t.Errorf("%s %.3f, want %.3f ± %.2f", f.name, f.got, f.want, f.tol_)
		}
	}
	if len(q.Flags) != 0 || q.ClippedSamples != 0 || len(q.DamagedRepeats) != 0 {
		t.Errorf("flags %v, %d clipped, damaged %v", q.Flags, q.ClippedSamples, q.DamagedRepeats)
	}
}

func TestAssessDamage(t *testing.T) {
	take := testTake(t)
	s := take.Stimulus
	lose := func(y []float64, k int) []float64 {
		at := s.RepeatStart(k) + s.SweepSamples*6/10
		return slices.Delete(y, at, at+64)
	}
	y := recorded(s, 4000, 4, 0)
	addNoise(y, -80, 1)
	one := lose(slices.Clone(y), 1)
	q, err := assessed(capture.Recording{RateHz: s.RateHz, Samples: [][]float64{one}}, take)
	if err != nil || !slices.Equal(q.DamagedRepeats, []int{1}) ||
		!slices.Equal(q.Flags, []capture.Flag{capture.Dropout}) {
		t.Errorf("one repeat with a loss: flags %v, damaged %v, %v", q.Flags, q.DamagedRepeats, err)
	}
	// What the device says is kept and flagged, but damages nothing.
	take.Quality.Xruns = []capture.Xrun{{Frame: 5000, Kind: "input-overflow"}}
	q, err = assessed(capture.Recording{RateHz: s.RateHz, Samples: [][]float64{y}}, take)
	if err != nil || len(q.DamagedRepeats) != 0 || !slices.Equal(q.Flags, []capture.Flag{capture.Dropout}) ||
		len(q.Xruns) != 1 {
		t.Errorf("a report of the device: flags %v, damaged %v, xruns %v, %v", q.Flags, q.DamagedRepeats, q.Xruns, err)
	}
}

// The reference is looked at for clipping, where there is one.
func TestAssessReference(t *testing.T) {
	take := testTake(t)
	s := take.Stimulus
	coil, reference := recorded(s, 4000, 4, 0), recorded(s, 0, 0, 0)
	gain(reference, 6)
	round(reference, 24)
	rec := capture.Recording{RateHz: s.RateHz, Samples: [][]float64{coil, reference}}
	for kind, want := range map[string][]capture.Flag{"none": nil, "loopback": {capture.Clipped}} {
		take.Reference.Kind = kind
		if q, err := assessed(rec, take); err != nil || !slices.Equal(q.Flags, want) {
			t.Errorf("reference %s: flags %v, want %v, error %v", kind, q.Flags, want, err)
		}
	}
}

func TestAssessRefuses(t *testing.T) {
	take := testTake(t)
	for name, rec := range map[string]capture.Recording{
		"no channel":   {RateHz: take.Stimulus.RateHz},
		"another rate": {RateHz: 44100, Samples: [][]float64{make([]float64, 1e5)}},
		"not a number": {RateHz: take.Stimulus.RateHz, Samples: [][]float64{{0, math.NaN()}}},
	} {
		if _, err := Assess(rec, take); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// A rail is told from the top of a sine, of noise and of a sweep.
func TestClippedIn(t *testing.T) {
	const n = 48000
	sine := func(fHz, a float64) []float64 {
		y := make([]float64, n)
		for i := range y {
			y[i] = a * math.Sin(2*math.Pi*fHz*float64(i)/n+0.1)
		}
		return y
	}
	limited := func(y []float64, limit float64) []float64 { clip(y, limit); return y }
	tests := []struct {
		name    string
		y       []float64
		clipped bool
	}{
		{"50 Hz", sine(50.3, 0.5), false},
		{"1 kHz", sine(1001.3, 0.5), false},
		{"exact subharmonic of the rate", sine(1000, 0.5), false},
		{"1 kHz, 1 dB over", limited(sine(1001.3, 0.5), 0.45), true},
		{"50 Hz, 1 % over", limited(sine(50.3, 0.5), 0.495), true},
		{"exact subharmonic, 1 % over", limited(sine(1000, 0.5), 0.49), true},
		{"silence", make([]float64, n), false},
	}
	for _, tt := range tests {
		got := sum(clippedIn(tt.y, []Span{{0, n}}))
		if (got > 0) != tt.clipped {
			t.Errorf("%s: %d samples", tt.name, got)
		}
	}
}

// TestClippedInLevelSweep: a sweep at one level, as a reference records it, has
// thousands of tops at its extreme, and noise makes some of them flat.
func TestClippedInLevelSweep(t *testing.T) {
	for seed, noise := range []float64{1e-6, 3e-6, 1e-5, 3e-5, 1e-4, 2e-5} {
		random := rand.New(rand.NewPCG(uint64(seed), 1))
		y := make([]float64, 3*48000)
		for i := range y {
			phase := 2 * math.Pi * 20 * 0.4 * math.Exp(float64(i)/48000/0.4)
			y[i] = 0.14*math.Sin(phase) + noise*random.NormFloat64()
		}
		if n := sum(clippedIn(y, []Span{{0, len(y)}})); n > 0 {
			t.Errorf("seed %d: %d samples", seed, n)
		}
		clip(y, 0.139)
		if n := sum(clippedIn(y, []Span{{0, len(y)}})); n == 0 {
			t.Errorf("seed %d: clipped by 0.7 %% unseen", seed)
		}
	}
}

func TestFlagUnfit(t *testing.T) {
	unfit := []capture.Flag{capture.Clipped, capture.NoStimulus, capture.TooShort}
	for _, f := range []capture.Flag{capture.Clipped, capture.Dropout, capture.Drift, capture.Hum, capture.LowSNR,
		capture.Distorted, capture.NoStimulus, capture.TooShort, capture.ClippedRepeat} {
		if f.Unfit() != slices.Contains(unfit, f) {
			t.Errorf("%s: unfit %v", f, f.Unfit())
		}
	}
}

// A take through a resampler is flagged and usable.
func TestResampledTake(t *testing.T) {
	take := testTake(t)
	for name, band := range map[string]float64{"whole": 0, "to 17 kHz": 17e3} {
		y := recorded(take.Stimulus, 0, 0, 0)
		addNoise(y, -80, 3)
		if band > 0 {
			fft := fourier.NewFFT(len(y))
			c := fft.Coefficients(nil, y)
			for i := range c {
				c[i] /= complex(float64(len(y)), 0)
				if float64(i)*float64(take.Stimulus.RateHz)/float64(len(y)) > band {
					c[i] = 0
				}
			}
			y = fft.Sequence(nil, c)
		}
		done, err := Assess(capture.Recording{RateHz: take.Stimulus.RateHz, Samples: [][]float64{y}}, take)
		if err != nil {
			t.Fatal(err)
		}
		if got := slices.Contains(done.Quality.Flags, capture.Resampled); got != (band > 0) || done.Unfit() != nil {
			t.Errorf("%s: flags %q", name, done.Quality.Flags)
		}
	}
}
