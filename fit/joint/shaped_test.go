package joint

import (
	"context"
	"math"
	"math/cmplx"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/virtual"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/response"
)

// play records a stimulus on the simulated bench and estimates the response.
func play(b virtual.Bench, stim excite.Stimulus, reference string, seed uint64) (Take, virtual.Truth) {
	fixtureC, fixtureR := must(quantity.ParseCapacitance("65p 5%")), must(quantity.ParseResistance("1M 1%"))
	load := capture.Load{FixtureC: &fixtureC, FixtureR: &fixtureR}
	recorder := must(b.Recorder(load, stim.RateHz, seed))
	channels := recorder.Format().Channels
	samples := make([][]float64, channels)
	var out []float32
	for _, v := range stim.Samples() {
		out = append(out, float32(v))
	}
	_, err := recorder.Record(context.Background(), out, len(out)+stim.RateHz/4, func(block []float32) error {
		for i, v := range block {
			samples[i%channels] = append(samples[i%channels], float64(v))
		}
		return nil
	})
	sense := must(quantity.ParseResistance("10"))
	take := capture.Take{Name: "take", Load: load, Stimulus: stim, Drive: capture.Drive{Kind: "current"},
		Reference: capture.Reference{Kind: reference}}
	if reference == "current" {
		take.Reference.SenseR = &sense
	}
	r := must(response.Estimate(context.Background(), capture.Recording{RateHz: stim.RateHz, Samples: samples}, take))
	if err != nil {
		panic(err)
	}
	return Take{Name: take.Name, Load: load, Response: r, Referenced: reference != "none"}, recorder.Truth()
}

// after shapes the sweep of plain for the coil on a simulated bench.
func after(t *testing.T, b virtual.Bench, plain excite.Stimulus, reference string) excite.Stimulus {
	t.Helper()
	scout := sweepOf(1.4, 2, nil)
	take, _ := play(b, scout, reference, 3)
	f := must(Fit(context.Background(), dcrAt("7.85k@20C 0.5%", 20), []Take{take}, fit.Options{}))
	e, err := f.Excitation(take.Name, scout, plain, take.Load)
	if err != nil {
		t.Fatal(err)
	}
	return must(plain.Shaped(e.Shape))
}

// On the simulated bench, with its noise, hum and distortion, the shaped sweep
// finds the true resonance and Q, with and without a reference.
func TestShapedSweepOnBench(t *testing.T) {
	b := virtual.Default()
	for _, reference := range []string{"current", "none"} {
		take, truth := play(b, after(t, b, sweepOf(1.4, 4, nil), reference), reference, 5)
		r := must(Analyse(context.Background(), dcrAt("7.85k@20C 0.5%", 20), []Take{take}, fit.Options{}))
		got := r.Takes[0]
		t.Logf("%s: resonance %.3f Hz, true %.3f, u %.3g; Q %.5f, true %.5f, u %.3g; chi² %.3f, %s", reference,
			got.Resonance.Value, truth.ResonanceHz, got.Resonance.U, got.Q.Value, truth.Q, got.Q.U, r.Model.Chi2Reduced,
			r.Model.Name)
		if math.Abs(got.Resonance.Value-truth.ResonanceHz) > got.Resonance.U95 ||
			math.Abs(got.Q.Value-truth.Q) > got.Q.U95 {
			t.Errorf("%s: resonance or Q out of U95", reference)
		}
		if r.Model.Chi2Reduced > 1.15 {
			t.Errorf("%s: reduced chi-square %.3f", reference, r.Model.Chi2Reduced)
		}
	}
}

// distortionLeft is the most, in dB, that distortion at -90 dB may change the
// response from a frequency on: at the low end, where the stimulus itself is
// faded, not much more than by itself.
var distortionLeft = map[float64]float64{25: -85, 100: -100, 1000: -110}

// What distortion leaves in the linear response, in the same noise with and
// without: 2nd and 3rd harmonic 90 dB below the sweep. Harmonics of a shaped sweep lie
// spread over many lags, but none as late as the gate.
func TestShapedSweepUnderDistortion(t *testing.T) {
	b := virtual.Default()
	b.Output.SecondHarmonicDB, b.Output.ThirdHarmonicDB = 0, 0
	plain := sweepOf(2.8, 2, nil)
	shaped := after(t, virtual.Default(), plain, "none")
	bent := b
	bent.Output.SecondHarmonicDB = -90 - plain.LevelDBFS
	bent.Output.ThirdHarmonicDB = -90 - 2*plain.LevelDBFS
	// cos³ = (3 cos + cos of three times)/4: the fundamental grows by three
	// times the harmonic.
	gain := complex(1+3*math.Pow(10, -90.0/20), 0)
	for _, c := range []struct {
		name string
		stim excite.Stimulus
	}{{"exponential", plain}, {"shaped", shaped}} {
		clean, _ := play(b, c.stim, "none", 1)
		dirty, _ := play(bent, c.stim, "none", 1)
		for _, band := range [][2]float64{{25, 100}, {100, 1000}, {1000, 19000}} {
			worst, at := 0.0, 0.0
			for i, h := range clean.Response.H {
				hz := clean.Response.FrequencyHz[i]
				if d := cmplx.Abs(dirty.Response.H[i]/h - gain); d > worst && hz >= band[0] && hz < band[1] {
					worst, at = d, hz
				}
			}
			t.Logf("%s: distortion at -90 dB changes the response by %.1f dB at most, at %.0f Hz", c.name,
				20*math.Log10(worst), at)
			if limit := distortionLeft[band[0]]; 20*math.Log10(worst) > limit {
				t.Errorf("%s: distortion at -90 dB changes the response by %.1f dB at %.0f Hz, want %g dB at most",
					c.name, 20*math.Log10(worst), at, limit)
			}
		}
	}
}
