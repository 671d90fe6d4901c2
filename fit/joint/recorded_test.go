package joint

import (
	"context"
	"fmt"
	"math"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/virtual"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/response"
)

// record makes a take on the simulated bench and estimates its response.
func record(t *testing.T, b virtual.Bench, name string, l capture.Load, reference string, seed uint64) (Take,
	virtual.Truth) {
	t.Helper()
	stim := sweepOf(1.4, 3, nil)
	recorder := must(b.Recorder(l, stim.RateHz, seed))
	channels := recorder.Format().Channels
	samples := make([][]float64, channels)
	play := make([]float32, 0, stim.TotalSamples())
	for _, v := range stim.Samples() {
		play = append(play, float32(v))
	}
	if _, err := recorder.Record(context.Background(), play, len(play)+stim.RateHz/4, func(block []float32) error {
		for i, v := range block {
			samples[i%channels] = append(samples[i%channels], float64(v))
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	take := capture.Take{Name: name, Load: l, Stimulus: stim, Drive: capture.Drive{Kind: "current"},
		Reference: capture.Reference{Kind: reference}}
	if reference == "current" {
		sense := must(quantity.ParseResistance("10"))
		take.Reference.SenseR = &sense
	}
	r := must(response.Estimate(context.Background(), capture.Recording{RateHz: stim.RateHz, Samples: samples}, take))
	return Take{Name: name, Load: l, Response: r, Referenced: reference != "none"}, recorder.Truth()
}

// TestRecorded goes the whole way from the simulated bench, which steps its
// circuit in time and knows nothing of the fit, to L, C and R: with the current
// of the exciter as reference, and without, where the sound card's band edges
// are left to the fit.
func TestRecorded(t *testing.T) {
	n := seeds(t, 1)
	b := virtual.Default()
	celsius := 20.0
	for _, reference := range []string{"current", "none"} {
		t.Run(reference, func(t *testing.T) {
			inside, all := 0, 0
			for seed := range uint64(n) {
				var takes []Take
				var truths []virtual.Truth
				for i, added := range []string{"", "220p 1%", "470p 1%"} {
					l := capture.Load{}
					fixtureC, fixtureR := must(quantity.ParseCapacitance("65p 5%")),
						must(quantity.ParseResistance("1M 1%"))
					l.FixtureC, l.FixtureR = &fixtureC, &fixtureR
					if added != "" {
						c := must(quantity.ParseCapacitance(added))
						l.AddedC = &c
					}
					take, truth := record(t, b, fmt.Sprintf("take%d", i), l, reference, 10*seed+1)
					takes, truths = append(takes, take), append(truths, truth)
				}
				r := must(Analyse(context.Background(), dcrAt("7.85k@20C 0.5%", celsius), takes, fit.Options{}))
				check := func(what string, q fit.Quantity, truth float64) {
					all++
					known, covered := covers(q, truth)
					if covered {
						inside++
					} else {
						t.Logf("seed %d: %s %v ± %v (%s), true %v", seed, what, q.Value, q.U95, q.Why, truth)
					}
					if !known || math.Abs(q.Value-truth) > 2.5*q.U95 {
						t.Errorf("seed %d: %s %+v, true %v", seed, what, q, truth)
					}
				}
				check("L", r.Inductance, truths[0].InductanceH)
				check("C", r.Capacitance, truths[0].CapacitanceF)
				check("R", r.Resistance, truths[0].ResistanceOhm)
				for i, k := range r.Takes {
					check("resonance of "+k.Name, k.Resonance, truths[i].ResonanceHz)
					check("Q of "+k.Name, k.Q, truths[i].Q)
				}
				t.Logf("seed %d: %s, reduced chi-square %.3f, runs %.1f", seed, r.Model.Name, r.Model.Chi2Reduced,
					r.Model.Tried[2].RunsZ)
			}
			t.Logf("U95 covers %d of %d", inside, all)
			if float64(inside) < 0.85*float64(all) {
				t.Errorf("U95 covers %d of %d only", inside, all)
			}
		})
	}
}
