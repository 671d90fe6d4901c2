package response

import (
	"context"
	"errors"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/quality"
	"coilsweep/capture/virtual"
)

// played runs the simulated bench with the default stimulus at a rate.
func played(t testing.TB, b virtual.Bench, rateHz, repeats int) (capture.Recording, capture.Take, virtual.Truth) {
	t.Helper()
	recorder, err := b.Recorder(capture.Load{}, rateHz, 1)
	if err != nil {
		t.Fatal(err)
	}
	stim := testStimulus(rateHz, repeats)
	var play []float32
	for _, x := range stim.Samples() {
		play = append(play, float32(x))
	}
	rec := capture.Recording{RateHz: rateHz, Samples: make([][]float64, recorder.Format().Channels)}
	_, err = recorder.Record(context.Background(), play, len(play)+rateHz/4, func(block []float32) error {
		for i, v := range block {
			c := i % len(rec.Samples)
			rec.Samples[c] = append(rec.Samples[c], float64(v))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	take := capture.Take{Name: "test", Stimulus: stim}
	take.Drive, take.Reference = b.Setup()
	return rec, take, recorder.Truth()
}

// TestReferenceTakesTheBenchOut: with the current as reference the exciter's
// R and L, the output's corners and both roll-offs cancel out, and what is left
// is the circuit, within 0.01 dB and 0.1 degrees from 30 Hz to 18 kHz. The
// simulated bench is stepped in time and shares no formula with the estimate.
func TestReferenceTakesTheBenchOut(t *testing.T) {
	t.Parallel()
	b := virtual.Default().Quiet()
	b.Exciter.Inductance.SI = 3e-3 // corner at 12 kHz: it would show
	for _, kind := range []string{"current", "loopback"} {
		b.Reference.Kind = kind
		if kind == "loopback" {
			b.Reference.FullScaleV = 2
		}
		rec, take, truth := played(t, b, 48000, 2)
		r, err := Estimate(context.Background(), rec, take)
		if err != nil {
			t.Fatal(err)
		}
		db, deg := worst(r, matched(r, truth.Transfer, 30, 18000), 30, 18000)
		t.Logf("%s: %.5f dB, %.5f degrees at most; delay %.2g samples", kind, db, deg, r.ExtraDelayS*48000)
		if db > 0.01 || deg > 0.1 {
			t.Errorf("%s: %.5f dB, %.5f degrees off the circuit, want at most 0.01 and 0.1", kind, db, deg)
		}
		if r.ExtraDelayS != 0 {
			t.Errorf("%s: a delay of %g s taken off, but the reference has the same", kind, r.ExtraDelayS)
		}
	}
}

// TestWithoutReference: one channel; the response is that of circuit and sound
// card, whose low-end corners and roll-off stay in. At 44.1 and 96 kHz too.
func TestWithoutReference(t *testing.T) {
	t.Parallel()
	b := virtual.Default().Quiet()
	b.Reference.Kind = "none"
	for _, rate := range []int{44100, 96000} {
		rec, take, truth := played(t, b, rate, 2)
		slope, err := driveSlope(take.Drive, take.Reference)
		if err != nil {
			t.Fatal(err)
		}
		r, err := Estimate(context.Background(), rec, take)
		if err != nil {
			t.Fatal(err)
		}
		want := func(hz float64) complex128 { return truth.Recorded(0, hz) / slope(hz) }
		db, deg := worst(r, matched(r, want, 30, 18000), 30, 18000)
		t.Logf("%d Hz: %.5f dB, %.5f degrees at most, %d points", rate, db, deg, len(r.H))
		if db > 0.01 || deg > 0.1 {
			t.Errorf("%d Hz: %.5f dB, %.5f degrees off, want at most 0.01 and 0.1", rate, db, deg)
		}
		for i := 1; i < len(r.H); i++ {
			if math.Abs(cmplx.Phase(r.H[i]/r.H[i-1])) > 1 {
				t.Errorf("%d Hz: the phase jumps at %g Hz: the bulk delay is not taken off", rate, r.FrequencyHz[i])
				break
			}
		}
	}
}

// TestFullBench: noise, hum, distortion, 24 bits and a clock that is 40 ppm
// off: chi-square about the
// truth is 1 within four standard deviations. A drop-out costs its repeat
// and nothing else.
func TestFullBench(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		change  func(*virtual.Bench)
		repeats int
	}{
		{"two clocks", func(b *virtual.Bench) { b.Clock.DriftPPM = 40 }, 4},
		{"drop-out", func(b *virtual.Bench) { b.Faults.DropOuts = []virtual.DropOut{{AtS: 6, Lost: 211}} }, 3},
	} {
		b := virtual.Default()
		c.change(&b)
		rec, take, truth := played(t, b, 48000, 4)
		r, err := Estimate(context.Background(), rec, take)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if r.Repeats != c.repeats {
			t.Errorf("%s: %d repeats used, want %d", c.name, r.Repeats, c.repeats)
		}
		if math.Abs(r.MainsHz-50.03) > 0.01 {
			t.Errorf("%s: mains of %g Hz found, want 50.03", c.name, r.MainsHz)
		}
		chi2, n := 0.0, 0.0
		for i, e := range matched(r, truth.Transfer, 30, 18000) {
			if !cmplx.IsNaN(e) {
				chi2 += square(e) * square(r.H[i]) / r.Variance[i]
				n++
			}
		}
		t.Logf("%s: chi-square a point %.3f, plateau %.1f dB over its noise, mains %.4f Hz, lines %v", c.name, chi2/n,
			r.SNRdB, r.MainsHz, r.HumLinesHz)
		if got, limit := chi2/n, 0.02+4/math.Sqrt(n); math.Abs(got-1) > limit {
			t.Errorf("%s: chi-square a point %.3f, want 1 within %.2f", c.name, got, limit)
		}
	}
}

func TestEstimateRefuses(t *testing.T) {
	t.Parallel()
	stim := testStimulus(48000, 1)
	silence := make([]float64, stim.TotalSamples())
	good := capture.Take{Name: "bare", Stimulus: stim}
	for _, c := range []struct {
		name   string
		rec    capture.Recording
		change func(*capture.Take)
		want   string
	}{
		{"silence", capture.Recording{RateHz: 48000, Samples: [][]float64{silence}}, nil,
			"stimulus is not in this recording"},
		{"no channel", capture.Recording{RateHz: 48000}, nil, "0 channels"},
		{"rate", capture.Recording{RateHz: 44100, Samples: [][]float64{silence}}, nil, "44100 Hz"},
	} {
		take := good
		if c.change != nil {
			c.change(&take)
		}
		_, err := Estimate(context.Background(), c.rec, take)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "bare") {
			t.Errorf("%s: error %v, want one about take bare with %q", c.name, err, c.want)
		}
	}
	rec, take := recording(driven(resonator(4000, 5)), 1e-3, 1, nil)
	for _, c := range []struct {
		name   string
		change func(*capture.Take)
		want   string
	}{
		{"no second channel", func(k *capture.Take) { k.Reference.Kind = "current" }, "channel"},
		{"unknown reference", func(k *capture.Take) { k.Reference.Kind = "magic" }, "magic"},
		{"unknown drive", func(k *capture.Take) { k.Drive.Kind = "magic" }, "magic"},
		{"voltage without R", func(k *capture.Take) { k.Drive.Kind = "voltage" }, "resistance of its circuit"},
	} {
		take := take
		c.change(&take)
		if _, err := Estimate(context.Background(), rec, take); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %q", c.name, err, c.want)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Estimate(ctx, rec, take); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: error %v", err)
	}
}

func BenchmarkEstimate(b *testing.B) {
	for _, rate := range []int{48000, 96000} {
		bench := virtual.Default()
		bench.Reference.Kind = "none"
		rec, take, _ := played(b, bench, rate, 4)
		take.Drive = capture.Drive{Kind: "current"}
		aligned, err := quality.Assess(rec, take)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(map[int]string{48000: "48kHz", 96000: "96kHz"}[rate], func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Estimate(context.Background(), rec, aligned); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(map[int]string{48000: "48kHz+align", 96000: "96kHz+align"}[rate], func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Estimate(context.Background(), rec, take); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
