package report

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"coilsweep/capture"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

// The coil of these tests is invented; its curves come from the circuit with
// noise, which is enough to look at and to count.

func invented(value, u float64) fit.Quantity {
	return fit.Quantity{Value: value, U: u, U95: 1.96 * u}
}

// inventedCoil and its fixture: 2.41 H, 210 pF in all, of which 92 pF are the fixture's, 7.85 kΩ, one shorted
// ring, 1 MΩ of input.
var inventedCoil = circuit.Coil{
	InductanceH: 2.41, ResistanceOhm: 7850, CapacitanceF: 210e-12,
	Rings: []circuit.Ring{{Share: 0.12, TimeS: 14e-6}},
}

type inventedLoad struct {
	name  string
	farad float64
	ohm   float64 // 0: none added
}

var threeLoads = []inventedLoad{{"bare", 0, 0}, {"plus 220 pF", 220e-12, 0}, {"plus 470 pF", 470e-12, 0}}

var eightLoads = append([]inventedLoad{
	{"plus 100 pF", 100e-12, 0}, {"plus 1 nF", 1e-9, 0}, {"plus 2.2 nF", 2.2e-9, 0},
	{"plus 220 kΩ", 0, 220e3}, {"cable", 330e-12, 0},
}, threeLoads...)

const decibels = 8.685889638 // 20/ln 10

// inventedResult is a whole result with points frequencies a take.
func inventedResult(loads []inventedLoad, points int) fit.Result {
	random := rand.New(rand.NewPCG(7, 11))
	r := fit.Result{
		Schema: fit.ResultSchema, Program: "coilsweep test", Coil: "Invented coil, five thousand turns",
		Inductance: invented(2.41, 0.010), Capacitance: invented(210e-12, 1.1e-12), Resistance: invented(7850, 31),
		CapacitanceCoil: invented(118e-12, 1.9e-12),
		BareResonance:   invented(12970, 31), BareQ: invented(3.02, 0.03),
		Eddy: []fit.Eddy{{Share: invented(0.12, 0.003), Corner: invented(11370, 240), Form: "ring"}},
		Model: fit.Model{Name: "one shorted ring", Chi2Reduced: 1.03, DoF: 4786, Tried: []fit.Tried{
			{Name: "no eddy loss", Parameters: 3, BIC: 48210.4, Chi2Reduced: 9.87, RunsZ: -31.2, Note: "residuals follow the frequency"},
			{Name: "one shorted ring", Parameters: 5, BIC: 4981.0, Chi2Reduced: 1.03, RunsZ: -0.4},
			{Name: "two shorted rings", Parameters: 7, BIC: 4994.3, Chi2Reduced: 1.03, RunsZ: -0.4, Note: "not better"},
			{Name: "solid cylinder", Parameters: 5, BIC: 5310.9, Chi2Reduced: 1.10, RunsZ: -3.6},
		}},
		Parts: []fit.Part{
			{What: "added C 220 pF", Unit: "F", Nominal: 220e-12, U: 1.27e-12, Fitted: 220.6e-12, Pull: 0.47},
			{What: "added C 470 pF", Unit: "F", Nominal: 470e-12, U: 2.71e-12, Fitted: 479.1e-12, Pull: 3.36, Suspect: true},
			{What: "DC resistance", Unit: "ohm", Nominal: 7850, U: 22.7, Fitted: 7852, Pull: 0.09},
		},
		Budget: []fit.Budget{
			{Quantity: "inductance", Shares: []fit.BudgetLine{{Source: "tolerance of added C", Percent: 81.2}, {Source: "DC resistance", Percent: 12.4}, {Source: "choice of circuit", Percent: 4.9}, {Source: "noise", Percent: 1.5}}},
			{Quantity: "capacitance", Shares: []fit.BudgetLine{{Source: "tolerance of added C", Percent: 92.0}, {Source: "DC resistance", Percent: 4.1}, {Source: "noise", Percent: 3.9}}},
		},
		Advice:   []fit.Advice{{Text: "A take with 1 nF 1% added would bring U95 of L from 0.020 H to 0.013 H.", AddedC: 1e-9, Quantity: "inductance", NowPercent: 0.83, ThenPercent: 0.54}},
		Basis:    []string{"added capacitors: 3 takes", "DC resistance: meter"},
		Warnings: []string{"take plus 470 pF: mains hum at 50 Hz stands 21 dB over the noise; 14 lines were left out"},
		Meter: []fit.MeterResult{
			{What: "L", AtHz: 1000, Mode: "series", Reading: 2.45, U95: 0.03, Expected: invented(2.405, 0.010), En: new(1.25), Verdict: "differs: the reading lies 45 mH above what the fit expects"},
			{What: "R", AtHz: 100, Mode: "series", Reading: 7861, U95: 40, Expected: invented(7853, 31), En: new(0.11), Verdict: "agrees"},
		},
	}
	line := &fit.Line{Slope: invented(2.409, 0.011), Intercept: invented(5.06e-10, 1.9e-12), AxisCrossing: invented(-210e-12, 1.2e-12)}
	for i, l := range loads {
		load := circuit.Load{ResistanceOhm: 1e6, CapacitanceF: l.farad}
		t := fit.TakeResult{Name: l.name, AddedC: l.farad, SNRdB: 71.2 - float64(i), Used: true,
			AudioSHA256: strings.Repeat("3fa9c1d07e5b", 6)[:64], LC: invented(inventedCoil.LCFrequency(load), 8)}
		if l.ohm > 0 {
			t.AddedR = new(l.ohm)
			load.ResistanceOhm = 1 / (1/l.ohm + 1/load.ResistanceOhm)
		}
		if f0, q, ok := inventedCoil.Resonance(load); ok {
			t.Resonance, t.Q = invented(f0, 0.002*f0), invented(q, 0.008*q)
		} else {
			t.Resonance, t.Q = fit.Unknown("no resonance"), fit.Unknown("no resonance")
		}
		if f, db, ok := inventedCoil.Peak(load); ok {
			t.Peak, t.PeakDB = invented(f, 0.002*f), invented(db, 0.04)
			t.WidthHz = invented(f/t.Q.Value, 0.008*f/t.Q.Value)
		} else {
			t.Peak = fit.Unknown("the load damps the coil so much that its response has no peak")
			t.PeakDB, t.WidthHz = t.Peak, t.Peak
		}
		if strings.HasPrefix(l.name, "plus 470") {
			t.Flags = []string{"hum"}
		}
		t.Curve = inventedCurve(random, load, points)
		r.Takes = append(r.Takes, t)
		if l.ohm == 0 {
			w := 2 * math.Pi * inventedCoil.LCFrequency(circuit.Load{ResistanceOhm: math.Inf(1), CapacitanceF: l.farad})
			line.Points = append(line.Points, fit.LinePoint{Take: l.name, AddedC: l.farad, InverseW2: 1 / (w * w), UInverseW2: 0.006 / (w * w)})
		}
	}
	r.Line = line
	return r
}

func inventedCurve(random *rand.Rand, load circuit.Load, points int) *fit.Curve {
	c := &fit.Curve{}
	plateau := cmplx.Abs(inventedCoil.Transfer(complex(0, 1), load))
	for i := range points {
		f := 20 * math.Pow(1000, float64(i)/float64(points-1))
		h := inventedCoil.Transfer(complex(0, 2*math.Pi*f), load) / complex(plateau, 0)
		u := 4e-4 * (1 + math.Pow(60/f, 1.5)) // per component
		noise := complex(random.NormFloat64(), random.NormFloat64())
		m := h + complex(u, 0)*noise
		magnitude := cmplx.Abs(m)
		c.FrequencyHz = append(c.FrequencyHz, f)
		c.MagnitudeDB = append(c.MagnitudeDB, decibels*math.Log(magnitude))
		c.PhaseDeg = append(c.PhaseDeg, cmplx.Phase(m)*180/math.Pi)
		c.MagnitudeU95DB = append(c.MagnitudeU95DB, 2*decibels*u/magnitude)
		c.NoiseFloorDB = append(c.NoiseFloorDB, decibels*math.Log(u*math.Hypot(random.NormFloat64(), random.NormFloat64())+1e-7))
		c.FitMagnitudeDB = append(c.FitMagnitudeDB, decibels*math.Log(cmplx.Abs(h)))
		c.FitPhaseDeg = append(c.FitPhaseDeg, cmplx.Phase(h)*180/math.Pi)
		c.FitU95DB = append(c.FitU95DB, 0.02+0.06*cmplx.Abs(h)/10)
		c.Residual = append(c.Residual, noise)
		h2, h3 := math.NaN(), math.NaN()
		if 2*f < 20000 {
			h2 = -74 + 6*math.Sin(3*math.Log(f)) + random.NormFloat64()
		}
		if 3*f < 20000 {
			h3 = -83 + 4*math.Sin(2*math.Log(f)) + random.NormFloat64()
		}
		c.Harmonic2DB, c.Harmonic3DB = append(c.Harmonic2DB, h2), append(c.Harmonic3DB, h3)
	}
	return c
}

var invented2026 = time.Date(2026, 11, 25, 14, 30, 0, 0, time.UTC)

func inventedDocument(loads []inventedLoad, points int) Document {
	r := inventedResult(loads, points)
	// Correlations of 0.9, -0.5 and 0.25 with the standard uncertainties above.
	uL, uC, uR := r.Inductance.U, r.Capacitance.U, r.Resistance.U
	r.Covariance = &fit.Covariance{Order: []string{"inductance_h", "capacitance_f", "resistance_ohm"}, Matrix: [][]float64{
		{uL * uL, -0.5 * uL * uC, 0.9 * uL * uR}, {-0.5 * uL * uC, uC * uC, 0.25 * uC * uR}, {0.9 * uL * uR, 0.25 * uC * uR, uR * uR}}}
	r.MonteCarlo = &fit.MonteCarlo{Trials: 1000, Failed: 2, Quantities: []fit.MonteCarloQuantity{
		{Name: "inductance_h", Mean: 2.4103, U: 0.0102, Low: 2.3911, High: 2.4307, Known: 998},
		{Name: "resonance_hz of " + loads[0].name, Mean: 8660, U: 15, Low: 8631, High: 8688, Known: 990}}}
	r.Meter[0].Explanation = &fit.MeterExplanation{From: 2.41,
		Effects: []fit.MeterEffect{{What: "eddy currents", Percent: -0.41}, {What: "self-capacitance", Percent: 0.83}},
		Notes:   []string{"the temperature of the reading is not known"}, Causes: []string{"a shorted turn, or metal near the coil"}}
	d := Document{Result: r, Made: invented2026, Program: "coilsweep test",
		Account: &fit.Account{Total: r.Capacitance, Sum: r.Capacitance, Lines: []fit.AccountLine{
			{What: "winding", Farad: r.CapacitanceCoil, Source: "the fit's total less the rest"},
			{What: "lead", Farad: fit.Unknown("nothing is stated of it"), Source: "not stated"},
			{What: "cable and input", Farad: invented(92e-12, 1.8e-12), Source: "the fixture as stated with the takes"}},
			Verdict: "the parts agree with the whole", En: new(0.31)},
		Harness: new(resonantPrediction()),
		Coil: capture.Coil{Name: r.Coil, Notes: "Invented for the tests.", Wire: "0.063 mm, single-build enamel",
			DCR:            &quantity.Resistance{Value: quantity.Value{SI: 7850, Half: 39.25, Basis: quantity.Limit, Unit: quantity.Ohm, Text: "7.85k@22C 0.5%"}},
			CelsiusAtTakes: new(21.5)}}
	for i, t := range r.Takes {
		take := capture.Take{Name: t.Name, Started: invented2026.Add(time.Duration(i-20) * time.Minute), Program: "coilsweep test",
			Drive: capture.Drive{Kind: "current", Assumed: true}, Reference: capture.Reference{Kind: "none"},
			Bench:    capture.Bench{Source: "virtual", File: "bench.toml", Notes: []string{"invented bench"}},
			Audio:    capture.Audio{File: "capture.wav", SHA256: t.AudioSHA256, RateHz: 48000, Channels: 1, Frames: 700000},
			Quality:  capture.Quality{PeakDBFS: -9.4, RMSDBFS: -21.8, NoiseDBFS: -96.3, DriftPPM: -3.2, Polarity: 1, AlignmentQuality: 0.99},
			Stimulus: excite.Stimulus{RateHz: 48000, FromHz: 20, ToHz: 20000, SweepSamples: 144000, Repeats: 4, LevelDBFS: -12, SHA256: strings.Repeat("b2e0", 16)}}
		if t.AddedC != 0 {
			take.Load.AddedC = &quantity.Capacitance{Value: quantity.Value{SI: t.AddedC, Unit: quantity.Farad, Text: part(t.AddedC, quantity.Farad) + " 1%"}}
		}
		d.Takes = append(d.Takes, take)
	}
	return d
}

func BenchmarkPage(b *testing.B) {
	d := inventedDocument(eightLoads, 800)
	var size sink
	for b.Loop() {
		size = 0
		if err := Page(&size, d); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(size)/1e6, "MB")
}

// sink counts what is written to it.
type sink int

func (s *sink) Write(b []byte) (int, error) { *s += sink(len(b)); return len(b), nil }
