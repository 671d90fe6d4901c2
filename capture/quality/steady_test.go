package quality_test

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"coilsweep/capture"
	"coilsweep/capture/quality"
	"coilsweep/capture/virtual"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
)

func farad(t testing.TB, text string) *quantity.Capacitance {
	t.Helper()
	if text == "" {
		return nil
	}
	c, err := quantity.ParseCapacitance(text)
	if err != nil {
		t.Fatal(err)
	}
	return &c
}

// short is a stimulus of some repeats of 0.7 s.
func short(t testing.TB, repeats int) excite.Stimulus {
	t.Helper()
	request := excite.DefaultRequest()
	request.SweepS, request.Repeats = 0.7, repeats
	s, err := excite.Design(request)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// recordedBy is what a bench records of s, by channel.
func recordedBy(t testing.TB, b virtual.Bench, added string, s excite.Stimulus, seed uint64) [][]float64 {
	t.Helper()
	r, err := b.Recorder(capture.Load{AddedC: farad(t, added)}, s.RateHz, seed)
	if err != nil {
		t.Fatal(err)
	}
	samples := s.Samples()
	play := make([]float32, len(samples))
	for i, v := range samples {
		play[i] = float32(v)
	}
	channels := make([][]float64, r.Format().Channels)
	_, err = r.Record(context.Background(), play, len(play)+s.RateHz/2, func(block []float32) error {
		for i, v := range block {
			channels[i%len(channels)] = append(channels[i%len(channels)], float64(v))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return channels
}

// assessedBy is the take of such a recording.
func assessedBy(t testing.TB, b virtual.Bench, s excite.Stimulus, channels [][]float64) capture.Take {
	t.Helper()
	kind := "none"
	if len(channels) > 1 {
		kind = b.Reference.Kind
	}
	take, err := quality.Assess(capture.Recording{RateHz: s.RateHz, Samples: channels},
		capture.Take{Stimulus: s, Reference: capture.Reference{Kind: kind}})
	if err != nil {
		t.Fatal(err)
	}
	return take
}

// What changes in mid-take is flagged, whatever changes, and the steady part is used
// where it is clear which that is; lost and overwritten samples are still called so.
func TestChanged(t *testing.T) {
	t.Parallel()
	const repeats = 4
	s := short(t, repeats)
	bench := virtual.Default()
	takes := map[string][][]float64{}
	for _, added := range []string{"", "470p", "500p", "490p"} {
		takes[added] = recordedBy(t, bench, added, s, 11)
	}
	// at is the sample at which the sweep number sweep, and that part of it, is played.
	at := func(sweep int, part float64) int {
		return int(bench.Clock.LatencySamples) + s.RepeatStart(sweep) + int(part*float64(s.SweepSamples))
	}
	spliced := func(parts ...any) [][]float64 { // an added part, the sample where it ends, the next ...
		out := [][]float64{nil, nil}
		from := 0
		for i := 0; i < len(parts); i += 2 {
			of := takes[parts[i].(string)]
			to := len(of[0])
			if i+1 < len(parts) {
				to = parts[i+1].(int)
			}
			for c := range out {
				out[c] = append(out[c], of[c][from:to]...)
			}
			from = to
		}
		return out
	}
	// edited is the take with 470 pF, the coil's channel changed.
	edited := func(edit func(i int, v float64) float64) [][]float64 {
		of := takes["470p"]
		out := [][]float64{slices.Clone(of[0]), of[1]}
		for i, v := range out[0] {
			out[0][i] = edit(i, v)
		}
		return out
	}
	dice := rand.New(rand.NewPCG(1, 2))
	tests := []struct {
		name  string
		audio [][]float64
		flags []capture.Flag
		left  []int // sweeps that are left out
		unfit bool
	}{
		{"nothing", takes["470p"], nil, nil, false},
		{"30 pF from sweep 3 on", spliced("470p", at(2, -0.1), "500p"), []capture.Flag{capture.Changed}, nil, true},
		{"30 pF from sweep 2 on", spliced("470p", at(1, -0.1), "500p"), []capture.Flag{capture.Changed}, nil, true},
		{"30 pF from the middle of sweep 2 on", spliced("470p", at(1, 0.5), "500p"), []capture.Flag{capture.Changed}, nil,
			true},
		{"30 pF in sweep 3 only", spliced("470p", at(2, -0.1), "500p", at(3, -0.1), "470p"),
			[]capture.Flag{capture.Changed}, []int{2}, false},
		{"30 pF in sweep 4 only", spliced("470p", at(3, -0.1), "500p"), []capture.Flag{capture.Changed}, []int{3}, false},
		{"the part falls off before sweep 3", spliced("470p", at(2, -0.1), ""), []capture.Flag{capture.Changed}, nil,
			true},
		{"the part falls off in sweep 1", spliced("470p", at(0, 0.5), ""), []capture.Flag{capture.Changed}, nil, true},
		{"the part falls off in sweep 2, below the resonance", spliced("470p", at(1, 0.5), ""),
			[]capture.Flag{capture.Changed}, nil, true},
		{"the part falls off in sweep 2, at the resonance", spliced("470p", at(1, 0.78), ""),
			[]capture.Flag{capture.Changed}, nil, true},
		{"the part falls off in sweep 2, above the resonance", spliced("470p", at(1, 0.9), ""),
			[]capture.Flag{capture.Changed}, nil, true},
		{"the part falls off in sweep 4", spliced("470p", at(3, 0.7), ""), []capture.Flag{capture.Changed}, []int{3},
			false},
		{"coil moved between sweeps 3 and 4", edited(func(i int, v float64) float64 {
			if i > at(3, -0.1) {
				return 0.8 * v
			}
			return v
		}), []capture.Flag{capture.Changed}, []int{3}, false},
		{"coil moved within sweep 2", edited(func(i int, v float64) float64 {
			if i > at(1, 0.75) {
				return 0.9 * v
			}
			return v
		}), []capture.Flag{capture.Changed}, []int{0, 1}, false},
		{"gain drifts by 2 dB in the take", edited(func(i int, v float64) float64 {
			return v * math.Pow(10, -0.1*float64(i)/float64(len(takes["470p"][0])))
		}), []capture.Flag{capture.Changed}, nil, true},
		{"the contact crackles in sweep 2", edited(func(i int, v float64) float64 {
			if i > at(1, 0.70) && i < at(1, 0.8) && dice.IntN(200) == 0 {
				return 0.9 * v
			}
			return v
		}), []capture.Flag{capture.Changed}, []int{1}, false},
		{"300 samples lost in sweep 2", func() [][]float64 {
			out := [][]float64{nil, nil}
			for c := range out {
				out[c] = slices.Delete(slices.Clone(takes["470p"][c]), at(1, 0.5), at(1, 0.5)+300)
			}
			return out
		}(), []capture.Flag{capture.Dropout}, []int{1}, false},
		{"silence instead of the resonance in sweep 2", edited(func(i int, v float64) float64 {
			if i > at(1, 0.75) && i < at(1, 0.8) {
				return 0
			}
			return v
		}), []capture.Flag{capture.Dropout}, []int{1}, false},
		{"what was there 20 ms before instead of the resonance in sweep 2", edited(func(i int, v float64) float64 {
			if i > at(1, 0.75) && i < at(1, 0.8) {
				return takes["470p"][0][i-960]
			}
			return v
		}), []capture.Flag{capture.Dropout}, []int{1}, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			for _, channels := range [][][]float64{tt.audio, tt.audio[:1]} {
				take := assessedBy(t, bench, s, channels)
				if q := take.Quality; !slices.Equal(q.Flags, tt.flags) || !slices.Equal(q.DamagedRepeats, tt.left) ||
					(take.Unfit() != nil) != tt.unfit {
					t.Errorf("%d channels: flags %v, without %v, usable %v; want %v, %v, %v", len(channels), q.Flags,
						q.DamagedRepeats, take.Unfit() == nil, tt.flags, tt.left, !tt.unfit)
				}
			}
		})
	}
}

// Where something was written over all sweeps, as a noise gate for speech does it, none is
// left, and the inspection says so.
func TestAllSweepsOverwritten(t *testing.T) {
	t.Parallel()
	s := short(t, 2)
	b := virtual.Default()
	b.Reference = virtual.Reference{}
	right := recordedBy(t, b, "470p", s, 1)[0]
	dice := rand.New(rand.NewPCG(7, 8))
	for name, over := range map[string]func(v float64) float64{
		"silence":     func(float64) float64 { return 0 },
		"noise":       func(float64) float64 { return 0.05 * dice.NormFloat64() },
		"less of it":  func(v float64) float64 { return 0.02 * v },
		"turned over": func(v float64) float64 { return -v },
	} {
		for _, part := range []float64{0.1, 0.3, 0.5, 0.8} {
			x := slices.Clone(right)
			for k := range 2 {
				begin := int(b.Clock.LatencySamples) + s.RepeatStart(k) + int(part*float64(s.SweepSamples))
				for i := begin + 500*k; i < begin+s.SweepSamples/8; i++ {
					x[i] = over(x[i])
				}
			}
			// Sweeps that are altered alike, or below 300 Hz, do not show against each other.
			q := assessedBy(t, b, s, [][]float64{x}).Quality
			t.Logf("%s from %g on: flags %v, damaged %v", name, part, q.Flags, q.DamagedRepeats)
			if len(q.Flags) == 0 && part >= 0.5 {
				t.Errorf("%s from %g on is not flagged", name, part)
			}
			if len(q.LostRepeats()) == 2 && !slices.Contains(q.Flags, capture.TooShort) {
				t.Errorf("%s from %g on: flags %v without a whole sweep", name, part, q.Flags)
			}
		}
	}
}

// An automatic gain control that is as slow as those of recorders are is seen.
func TestChangedByGainControl(t *testing.T) {
	t.Parallel()
	s := short(t, 4)
	bench := virtual.Default()
	channels := recordedBy(t, bench, "470p", s, 3)
	envelope, top := 0.0, quality.LevelOf(channels[0]).Peak
	for i, v := range channels[0] {
		time := 3.0 // of release, s
		if math.Abs(v) > envelope {
			time = 0.01
		}
		envelope += (math.Abs(v) - envelope) / (time * float64(s.RateHz))
		channels[0][i] = v / (1 + 2*envelope/top)
	}
	if take := assessedBy(t, bench, s, channels); !slices.Contains(take.Quality.Flags, capture.Changed) {
		t.Errorf("flags %v", take.Quality.Flags)
	}
}

// Clocks that wander against each other by half a microsecond are no circuit that
// changes; a circuit that changes is still seen.
func TestChangedOnTwoClocks(t *testing.T) {
	t.Parallel()
	s := short(t, 4)
	bench := virtual.Default()
	bench.Clock.DriftPPM = 40
	right, other := recordedBy(t, bench, "470p", s, 5), recordedBy(t, bench, "500p", s, 5)
	half := s.RepeatStart(2)
	changed := [][]float64{append(slices.Clone(right[0][:half]), other[0][half:]...), right[1]}
	for want, channels := range map[bool][][]float64{false: right, true: changed} {
		wandered := [][]float64{wandering(channels[0], s.RateHz)}
		take := assessedBy(t, bench, s, wandered)
		if got := slices.Contains(take.Quality.Flags, capture.Changed); got != want {
			t.Errorf("flags %v, changed is %v", take.Quality.Flags, want)
		}
	}
}

// wandering is x with a delay that wanders by 0.025 samples, in periods that are not
// those of the sweeps.
func wandering(x []float64, rateHz int) []float64 {
	n := excite.TransformFrom(len(x))
	fft := fourier.NewFFT(n)
	lines := fft.Coefficients(nil, append(slices.Clone(x), make([]float64, n-len(x))...))
	derivative := func() []float64 {
		for l := range lines {
			lines[l] *= complex(0, 2*math.Pi*float64(l)/float64(n))
		}
		return fft.Sequence(nil, lines)
	}
	slope, curve := derivative(), derivative()
	out := slices.Clone(x)
	for i := range out {
		by := 0.025 * math.Sin(2*math.Pi*float64(i)/(1.7*float64(rateHz)))
		out[i] += (by*slope[i] + by*by/2*curve[i]) / float64(n)
	}
	return out
}

// Right takes of many coils, covers, loads and benches change nowhere, and nothing is
// connected wrongly.
func TestNoFalseChange(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("simulates minutes of sound")
	}
	dice := rand.New(rand.NewPCG(5, 6))
	for n := range 30 {
		b := virtual.Default()
		b.Coil.Inductance.SI *= math.Exp(1.2 * (2*dice.Float64() - 1))
		b.Coil.Resistance.SI *= math.Exp(0.7 * (2*dice.Float64() - 1))
		b.Exciter.Mutual.SI *= math.Exp(-4 * dice.Float64())
		b.Noise.InputVPerRtHz *= math.Exp(2 * (2*dice.Float64() - 1))
		what := "plain"
		switch n % 6 {
		case 1:
			what, b.Hum = "no hum", nil
		case 2:
			what = "strong hum"
			b.Hum.Lines = slices.Clone(b.Hum.Lines)
			for i := range b.Hum.Lines {
				b.Hum.Lines[i].EMFRMSV *= 30
			}
		case 3:
			what, b.Clock.DriftPPM = "drift", 200*(2*dice.Float64()-1)
		case 4:
			what, b.Input.Bits = "16 bits", 16
		case 5:
			what = "quiet"
			b = b.Quiet()
		}
		if dice.IntN(2) == 0 {
			b.Reference = virtual.Reference{}
		}
		if dice.IntN(2) == 0 {
			b.Cover = &virtual.Cover{Inductance: b.Exciter.Inductance, Resistance: b.Exciter.Resistance,
				Coupling: 0.05, Shielding: 0.5}
			b.Coil.Rings = nil
			b.Cover.Inductance.SI, b.Cover.Resistance.SI = 1e-6, 2*math.Pi*15e3*1e-6
		}
		added := []string{"", "220p", "1n", "10n"}[dice.IntN(4)]
		b.Fixture.Resistance.SI = []float64{1e6, 1e6, 250e3, 47e3}[dice.IntN(4)]
		s := short(t, 2+dice.IntN(5))
		if dice.IntN(4) == 0 {
			request := excite.DefaultRequest()
			request.Repeats = 3
			s, _ = excite.Design(request)
		}
		channels := recordedBy(t, b, added, s, uint64(n))
		take := assessedBy(t, b, s, channels)
		take.Drive, _ = b.Setup()
		take.Load.FixtureR = &b.Fixture.Resistance
		take, err := quality.AssessWiring(capture.Recording{RateHz: s.RateHz, Samples: channels}, take)
		if err != nil {
			t.Fatal(err)
		}
		// In hum far over the signal losses may be seen where there are none.
		usual := []capture.Flag{capture.Hum, capture.LowSNR, capture.Drift, capture.Clipped}
		q := take.Quality
		if slices.Contains(q.Flags, capture.LowSNR) {
			usual = append(usual, capture.Dropout)
		}
		if slices.ContainsFunc(q.Flags, func(f capture.Flag) bool { return !slices.Contains(usual, f) }) {
			t.Errorf("%d: %s, %s added, %d repeats: flags %v, left out %v", n, what, added, s.Repeats, q.Flags,
				q.DamagedRepeats)
		}
		if slices.Equal(q.Flags, []capture.Flag{capture.Clipped}) {
			t.Log("clipped") // not looked at
		}
	}
}
