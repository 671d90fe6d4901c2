package page

import (
	"strings"
	"testing"
	"time"

	"coilsweep/capture"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/internal/invented"
	"coilsweep/report/notation"
)

func inventedDocument(loads []invented.Load, points int) CoilDocument {
	r := invented.Result(loads, points)
	// Correlations of 0.9, -0.5 and 0.25 with the standard uncertainties above.
	uL, uC, uR := r.Inductance.U, r.Capacitance.U, r.Resistance.U
	r.Covariance = &fit.Covariance{Order: []string{"inductance_h", "capacitance_f", "resistance_ohm"},
		Matrix: [][]float64{
			{uL * uL, -0.5 * uL * uC, 0.9 * uL * uR}, {-0.5 * uL * uC, uC * uC, 0.25 * uC * uR},
			{0.9 * uL * uR, 0.25 * uC * uR, uR * uR}}}
	r.MonteCarlo = &fit.MonteCarlo{Trials: 1000, Failed: 2, Quantities: []fit.MonteCarloQuantity{
		{Name: "inductance_h", Mean: 2.4103, U: 0.0102, Low: 2.3911, High: 2.4307, Known: 998},
		{Name: "resonance_hz of " + loads[0].Name, Mean: 8660, U: 15, Low: 8631, High: 8688, Known: 990}}}
	r.Meter[0].Explanation = &fit.MeterExplanation{From: 2.41,
		Effects: []fit.MeterEffect{{What: "eddy currents", Percent: -0.41}, {What: "self-capacitance", Percent: 0.83}},
		Notes:   []string{"the temperature of the reading is not known"},
		Causes:  []string{"a shorted turn, or metal near the coil"}}
	d := CoilDocument{Result: r, Made: invented.Day, Program: "coilsweep test",
		Account: &fit.Account{Total: r.Capacitance, Sum: r.Capacitance, Lines: []fit.AccountLine{
			{What: "winding", Farad: r.CapacitanceCoil, Source: "the fit's total less the rest"},
			{What: "lead", Farad: fit.Unknown("nothing is stated of it"), Source: "not stated"},
			{What: "cable and input", Farad: invented.Quantity(92e-12, 1.8e-12),
				Source: "the fixture as stated with the takes"}},
			Verdict: "all is accounted for", En: new(0.31), Unaccounted: invented.Quantity(1e-12, 1.6e-12)},
		Harness: new(invented.ResonantPrediction()),
		Coil: capture.Coil{Name: r.Coil, Notes: "Invented for the tests.", Wire: "0.063 mm, single-build enamel",
			DCR: &quantity.Resistance{Value: quantity.Value{SI: 7850, Half: 39.25, Basis: quantity.Limit,
				Unit: quantity.Ohm, Text: "7.85k@22C 0.5%"}},
			CelsiusAtTakes: new(21.5)}}
	for i, t := range r.Takes {
		take := capture.Take{Name: t.Name, Started: invented.Day.Add(time.Duration(i-20) * time.Minute),
			Program: "coilsweep test",
			Drive:   capture.Drive{Kind: "current", Assumed: true}, Reference: capture.Reference{Kind: "none"},
			Bench: capture.Bench{Source: "virtual", File: "bench.toml", Notes: []string{"invented bench"}},
			Audio: capture.Audio{File: "capture.wav", SHA256: t.AudioSHA256, RateHz: 48000, Channels: 1,
				Frames: 700000},
			Quality: capture.Quality{PeakDBFS: -9.4, RMSDBFS: -21.8, NoiseDBFS: -96.3, DriftPPM: -3.2, Polarity: 1,
				AlignmentQuality: 0.99},
			Stimulus: excite.Stimulus{RateHz: 48000, FromHz: 20, ToHz: 20000, SweepSamples: 144000, Repeats: 4,
				LevelDBFS: -12, SHA256: strings.Repeat("b2e0", 16)}}
		if t.AddedC != 0 {
			take.Load.AddedC = &quantity.Capacitance{Value: quantity.Value{SI: t.AddedC, Unit: quantity.Farad,
				Text: notation.Nominal(t.AddedC, quantity.Farad) + " 1%"}}
		}
		d.Takes = append(d.Takes, take)
	}
	return d
}

func BenchmarkPage(b *testing.B) {
	d := inventedDocument(invented.EightLoads, 800)
	var size sink
	for b.Loop() {
		size = 0
		if err := Coil(&size, d); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(size)/1e6, "MB")
}

// sink counts what is written to it.
type sink int

func (s *sink) Write(b []byte) (int, error) { *s += sink(len(b)); return len(b), nil }
