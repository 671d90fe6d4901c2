package joint

import (
	"context"
	"errors"
	"math"
	"math/cmplx"
	"slices"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/fit"
)

// threeTakes of the coil of bench_test.go: bare, 220 pF and 470 pF added.
func threeTakes(b bench) []Take {
	l := load{fixtureC: "65p 5%", fixtureR: "1M 1%", delayS: 1.3e-5, gain: -0.2}
	loads := []load{l, l, l}
	loads[1].addedC, loads[2].addedC = "220p 1%", "470p 1%"
	return b.takes(loads...)
}

// TestAnalyse: the model and the numbers, whatever the polarity and delay.
func TestAnalyse(t *testing.T) {
	r := must(Analyse(context.Background(), capture.Coil{Name: "invented"},
		threeTakes(bench{coil: demoCoil(), snrDB: 70, seed: 1}), fit.Options{Advise: true}))
	if r.Model.Name != "two rings" || math.Abs(r.Model.Chi2Reduced-1) > 0.15 {
		t.Errorf("model %q, reduced chi-square %.3f", r.Model.Name, r.Model.Chi2Reduced)
	}
	for name, q := range map[string]struct {
		got   fit.Quantity
		truth float64
	}{
		"L": {r.Inductance, 2.4}, "C": {r.Capacitance, 175e-12}, "R": {r.Resistance, 7850},
		"coil's C": {r.CapacitanceCoil, 110e-12},
		"share":    {r.Eddy[1].Share, 0.05}, "corner": {r.Eddy[1].Corner, 15000},
	} {
		if known, covered := covers(q.got, q.truth); !known || !covered {
			t.Errorf("%s: %+v, true %g", name, q.got, q.truth)
		}
	}
	for _, b := range r.Budget {
		var sum float64
		for _, s := range b.Shares {
			sum += s.Percent
		}
		if sum < 99 || sum > 100.5 {
			t.Errorf("the shares of %s make %.1f %%: %+v", b.Quantity, sum, b.Shares)
		}
	}
	if got := strings.Join(r.Basis,
		"; "); got != "added capacitors: 2 takes; fixture capacitance: 65p 5%; load resistance: 1M 1%" {
		t.Errorf("basis %q", got)
	}
	// The covariance belongs to the uncertainties, and L and C of added
	// capacitors move against each other (slope and intercept of the line of Bureau of Standards Circular 74).
	c := r.Covariance
	if u := math.Sqrt(c.Matrix[0][0]); math.Abs(u/r.Inductance.U-1) > 0.02 || c.Matrix[0][1] >= 0 {
		t.Errorf("covariance %+v beside u(L) %g", c, r.Inductance.U)
	}
	// The points of the line lie on it: 1/w² = L (C + C_added).
	for _, p := range r.Line.Points {
		want := r.Inductance.Value * (r.Capacitance.Value + p.AddedC)
		if math.Abs(p.InverseW2/want-1) > 0.01 {
			t.Errorf("%s: 1/w² %g beside the line's %g", p.Take, p.InverseW2, want)
		}
	}
}

// TestShortedTurns: a few shorted turns are a strong eddy-current loop with a
// high corner, beside the weak one of the pole pieces.
func TestShortedTurns(t *testing.T) {
	coil := trueCoil{henry: 2.4, ohm: 7850, farad: 110e-12}
	coil.ring(0.09, 6000)
	coil.ring(0.72, 35000)
	for seed := range uint64(3) {
		r := must(Analyse(context.Background(), capture.Coil{},
			threeTakes(bench{coil: coil, snrDB: 60, seed: seed, referenced: true, rippled: true}), fit.Options{}))
		if r.Model.Chi2Reduced > 1.3 {
			t.Errorf("seed %d: %s, reduced chi-square %.3g", seed, r.Model.Name, r.Model.Chi2Reduced)
		}
		if known, covered := covers(r.Inductance, coil.henry); known && !covered {
			t.Errorf("seed %d: L %+v, true %g", seed, r.Inductance, coil.henry)
		}
		t.Logf("%s %.3f L %v ± %v %s", r.Model.Name, r.Model.Chi2Reduced, r.Inductance.Value, r.Inductance.U95,
			r.Inductance.Why)
	}
}

// TestSharedGain: with one gain for all takes, the uncertainty is no larger.
func TestSharedGain(t *testing.T) {
	takes := threeTakes(bench{coil: demoCoil(), snrDB: 40, seed: 2})
	own := must(Analyse(context.Background(), capture.Coil{}, takes, fit.Options{Forms: []fit.Form{{Rings: 2}}}))
	shared := must(Analyse(context.Background(), capture.Coil{}, takes,
		fit.Options{Forms: []fit.Form{{Rings: 2}}, SharedGain: true}))
	if shared.Inductance.U > own.Inductance.U*1.001 || shared.Model.DoF != own.Model.DoF+2 {
		t.Errorf("u(L) %g with one gain (dof %d), %g with three (dof %d)", shared.Inductance.U, shared.Model.DoF,
			own.Inductance.U, own.Model.DoF)
	}
	if known, covered := covers(shared.Inductance, 2.4); !known || !covered {
		t.Errorf("L %+v, true 2.4", shared.Inductance)
	}
}

// TestMonteCarlo: repeated fits with data and parts drawn anew (JCGM 101) agree
// with the linear propagation where that is valid.
func TestMonteCarlo(t *testing.T) {
	for _, referenced := range []bool{true, false} {
		takes := threeTakes(bench{coil: demoCoil(), snrDB: 60, seed: 3, referenced: referenced, rippled: true})
		r := must(Analyse(context.Background(), capture.Coil{}, takes,
			fit.Options{Forms: []fit.Form{{Rings: 2}}, MonteCarlo: 50}))
		if r.MonteCarlo.Failed > 0 {
			t.Errorf("reference %v: %d of 50 trials failed", referenced, r.MonteCarlo.Failed)
		}
	}
	takes := threeTakes(bench{coil: demoCoil(), snrDB: 60, seed: 3, referenced: true})
	heard := 0
	r := must(Analyse(context.Background(), capture.Coil{}, takes, fit.Options{
		Forms: []fit.Form{{Rings: 2}}, MonteCarlo: 200, Seed: 1, Progress: func(int) { heard++ }}))
	if heard != 200 || r.MonteCarlo.Trials != 200 || r.MonteCarlo.Failed != 0 {
		t.Errorf("%d of %d trials heard of, %d failed", heard, r.MonteCarlo.Trials, r.MonteCarlo.Failed)
	}
	for _, q := range r.MonteCarlo.Quantities {
		var linear fit.Quantity
		switch q.Name {
		case "inductance_h":
			linear = r.Inductance
		case "capacitance_f":
			linear = r.Capacitance
		case "resistance_ohm":
			linear = r.Resistance
		default:
			continue
		}
		// u of 200 trials is good to 5 %.
		if math.Abs(q.U/linear.U-1) > 0.2 || math.Abs(q.Mean-linear.Value) > 0.4*linear.U {
			t.Errorf("%s: %g, u %g beside %g, u %g", q.Name, q.Mean, q.U, linear.Value, linear.U)
		}
	}
	again := must(Analyse(context.Background(), capture.Coil{}, takes,
		fit.Options{Forms: []fit.Form{{Rings: 2}}, MonteCarlo: 200, Seed: 1}))
	if again.MonteCarlo.Quantities[0] != r.MonteCarlo.Quantities[0] {
		t.Error("the same seed gave another distribution")
	}
}

// Capacitors in parallel count each with its own tolerance, and one that is in two takes
// is one: the fit is that of the parts, not of their sums.
func TestPartsInParallel(t *testing.T) {
	l := load{fixtureC: "65p 5%", fixtureR: "1M 1%"}
	loads := []load{l, l, l}
	loads[1].addedC, loads[1].trueC = "470p 5%", 480e-12
	loads[2].addedC, loads[2].trueC = "470p 5% || 220p 1%", 480e-12+219e-12
	loads[2].addedR = "200k 1% || 200k 1%"
	r := must(Analyse(t.Context(), capture.Coil{}, bench{coil: demoCoil(), snrDB: 70, seed: 3}.takes(loads...),
		fit.Options{}))
	truth := demoCoil()
	for name, q := range map[string][2]float64{
		"L": {(r.Inductance.Value - truth.henry) / r.Inductance.U95, r.Inductance.U95 / truth.henry},
		"C": {(r.Capacitance.Value - truth.farad - 65e-12) / r.Capacitance.U95, r.Capacitance.U95 / truth.farad},
	} {
		if math.Abs(q[0]) > 1 || q[1] > 0.12 {
			t.Errorf("%s is off by %.2f U95, which is %.1f %%", name, q[0], 100*q[1])
		}
	}
	var names []string
	for _, p := range r.Parts {
		names = append(names, p.What)
	}
	for _, want := range []string{"added C 470p 5%", "added C 220p 1%", "added R 200k 1%", "added R (no. 2) 200k 1%"} {
		if n := len(slices.DeleteFunc(slices.Clone(names), func(s string) bool { return s != want })); n != 1 {
			t.Errorf("%q stands %d times among %q", want, n, names)
		}
	}
}

// Takes that do not determine a circuit are told of in words of the bench, as takes that
// are not usable.
func TestNoCircuit(t *testing.T) {
	plain := load{fixtureC: "65p 5%", trueFixC: 65e-12, fixtureR: "1M 1%", trueFixR: 1e6}
	made := func(name string, h complex128, u float64) Take {
		take := bench{coil: demoCoil(), snrDB: 60}.take(name, plain)
		for i := range take.Response.H {
			take.Response.H[i] = h
			if u > 0 {
				take.Response.Variance[i] = u * u
			}
		}
		return take
	}
	for _, take := range []Take{made("wild", complex(math.NaN(), 0), 0), made("silent", 0, 0), made("twice", 1, 1e-6)} {
		_, err := Analyse(t.Context(), capture.Coil{}, []Take{take}, fit.Options{})
		if _, unfit := errors.AsType[*capture.UnfitError](err); !unfit || !strings.Contains(err.Error(), "same signal") {
			t.Errorf("%s: %v", take.Name, err)
		}
	}
}

// TestUnfitTakes: an unfit take is left out and said to be.
func TestUnfitTakes(t *testing.T) {
	takes := threeTakes(bench{coil: demoCoil(), snrDB: 60, seed: 4})
	takes[1].Unfit, takes[1].Flags = "clipped", []string{"clipped"}
	r := must(Analyse(context.Background(), capture.Coil{}, takes, fit.Options{Forms: []fit.Form{{Rings: 2}}}))
	if r.Takes[1].Used || r.Takes[1].Resonance.Known() || !strings.Contains(r.Takes[1].Resonance.Why, "clipped") {
		t.Errorf("%+v", r.Takes[1])
	}
	if !r.Takes[2].Used || !r.Takes[2].Resonance.Known() {
		t.Errorf("%+v", r.Takes[2])
	}
	for i := range takes {
		takes[i].Unfit = "clipped"
	}
	if _, err := Analyse(context.Background(), capture.Coil{}, takes, fit.Options{}); !errors.Is(err, ErrNoTakes) {
		t.Errorf("no usable take: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Analyse(ctx, capture.Coil{}, threeTakes(bench{coil: demoCoil(), snrDB: 60, seed: 4}),
		fit.Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// TestDistorted: harmonics of 3 % flag a take, noise in their place does not.
func TestDistorted(t *testing.T) {
	takes := threeTakes(bench{coil: demoCoil(), snrDB: 60, seed: 5})
	for i, harmonic := range []func(k int) float64{
		func(int) float64 { return 0.03 },
		func(k int) float64 { return 0.03 * math.Abs(math.Sin(float64(k*k))) }, // as scattered as noise
		func(int) float64 { return 0.001 },
	} {
		second, third := make([]float64, len(takes[i].Response.H)), make([]float64, len(takes[i].Response.H))
		for k := range second {
			second[k], third[k] = harmonic(k), math.NaN()
		}
		takes[i].Response.Harmonic = [][]float64{second, third}
	}
	r := must(Analyse(context.Background(), capture.Coil{}, takes, fit.Options{Forms: []fit.Form{{Rings: 2}}}))
	for i, want := range []bool{true, false, false} {
		if got := slices.Contains(r.Takes[i].Flags, "distorted"); got != want {
			t.Errorf("take %d: flags %q", i, r.Takes[i].Flags)
		}
	}
	if !strings.Contains(strings.Join(r.Warnings, " "), "harmonic 2 is 3 %") {
		t.Errorf("warnings %q", r.Warnings)
	}
	// Soft clipping: the third harmonic follows the square of the level, and
	// so stands out where the coil resonates.
	soft := threeTakes(bench{coil: demoCoil(), snrDB: 60, seed: 6})[2:]
	second, third := make([]float64, len(soft[0].Response.H)), make([]float64, len(soft[0].Response.H))
	for k, h := range soft[0].Response.H {
		level := cmplx.Abs(h) / 0.2 // over the plateau
		second[k], third[k] = math.NaN(), 0.001*level*level
	}
	soft[0].Response.Harmonic = [][]float64{second, third}
	r = must(Analyse(context.Background(), capture.Coil{}, soft, fit.Options{Forms: []fit.Form{{Rings: 2}}}))
	if !slices.Contains(r.Takes[0].Flags, "distorted") ||
		!strings.Contains(strings.Join(r.Warnings, " "), "soft clipping") {
		t.Errorf("soft clipping: flags %q, warnings %q", r.Takes[0].Flags, r.Warnings)
	}
}

// TestToldOfTheBench: drive and linearity of a take reach the warnings where they
// matter, and only there.
func TestToldOfTheBench(t *testing.T) {
	takes := threeTakes(bench{coil: demoCoil(), snrDB: 60, seed: 5})
	takes[0].DriveFall = &capture.DriveFall{DB: 3, AtHz: 20000, Corrected: true}
	takes[0].Linearity = &capture.Linearity{LevelsDBFS: [2]float64{-12, -24}, DeviationDB: 0.02, UDB: 0.003, AtHz: 900,
		Linear: true}
	takes[1].DriveFall = &capture.DriveFall{DB: 0.09, AtHz: 20000}
	takes[2].DriveFall = &capture.DriveFall{DB: 0.25, AtHz: 20000}
	takes[2].Linearity = &capture.Linearity{LevelsDBFS: [2]float64{-6, -18}, DeviationDB: -0.4, UDB: 0.003, AtHz: 7900}
	r := must(Analyse(context.Background(), capture.Coil{}, takes, fit.Options{Forms: []fit.Form{{Rings: 2}}}))
	warnings := strings.Join(r.Warnings, "\n")
	for i, take := range takes {
		told := i == 2
		if got := slices.Contains(r.Takes[i].Flags, "distorted"); got != told {
			t.Errorf("%s: flags %q", take.Name, r.Takes[i].Flags)
		}
		for _, text := range []string{": the exciter's current is 0.25 dB lower at 20 kHz than",
			": not linear: at −6 dBFS the response differs from that at −18 dBFS by 0.40 dB near 7900 Hz"} {
			if strings.Contains(warnings, take.Name+text) != told {
				t.Errorf("%s: want %q %v in %s", take.Name, text, told, warnings)
			}
		}
	}
}

// BenchmarkMonteCarlo: 1000 trials of three takes on all cores.
func BenchmarkMonteCarlo(b *testing.B) {
	takes := threeTakes(bench{coil: demoCoil(), snrDB: 60, seed: 3, referenced: true, rippled: true})
	a := must(analyse(context.Background(), capture.Coil{}, takes, fit.Options{Forms: []fit.Form{{Rings: 2}}},
		searches{}))
	for b.Loop() {
		if _, err := a.monteCarlo(context.Background(), 1000, 1, nil); err != nil {
			b.Fatal(err)
		}
	}
}
