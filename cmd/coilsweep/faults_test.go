package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/virtual"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/response"
)

// fault is something wrong with a bench, and how its user guards against it.
type fault struct {
	name  string
	size  string
	apply func(*virtual.Bench)
	// guard changes what the take is told of the bench; without it the take is
	// told what a user would say who knows of no fault. nil: the guard is in
	// the program and always there.
	guard func(*capture.Take)
	flag  capture.Flag // that the takes must have; empty: none
}

// A fault alone, and all of them together, leaves the resonance within 0.1 %
// and L and C within U95 of the simulated circuit's. The test's log is the
// table: what the fit says without the guard, and with it.
func TestFaultsOfTheBench(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates some minutes of sound")
	}
	rollOff := func(b *virtual.Bench) {
		b.Output.RollOff = virtual.RollOff{DB: 1.2, AtHz: 18000, Order: 2}
		b.Input.RollOff = virtual.RollOff{DB: 0.8, AtHz: 18000, Order: 2}
	}
	volts := func(b *virtual.Bench) {
		b.Exciter.Inductance.SI, b.Exciter.SeriesR.SI, b.Exciter.Mutual.SI = 1e-3, 63.1, 120e-6 // 100 ohm in all
	}
	told := func(take *capture.Take) {
		take.Drive = capture.Drive{Kind: "voltage", ExciterR: ohms(t, "100 1%"), ExciterL: henries(t, "1mH")}
	}
	faults := []fault{
		{"clock drift", "100 ppm", func(b *virtual.Bench) { b.Clock.DriftPPM = 100 }, nil, capture.Drift},
		// The EMF of the hum against that of the sweep at 1 kHz.
		{"hum", "20 dB over the plateau", func(b *virtual.Bench) {
			b.Hum.Lines[0].EMFRMSV = 10 * sweepEMF(*b) / math.Sqrt2
			for i := range b.Hum.Lines[1:] {
				b.Hum.Lines[1+i].EMFRMSV = b.Hum.Lines[0].EMFRMSV / float64(3*b.Hum.Lines[1+i].Harmonic)
			}
		}, nil, capture.Hum},
		{"roll-off of the card", "2 dB at 18 kHz", rollOff, calibrate(t, rollOff), ""},
		{"lost samples", "300", func(b *virtual.Bench) {
			b.Faults.DropOuts = []virtual.DropOut{{AtS: 3.3, Lost: 300}}
		}, nil, capture.Dropout},
		{"exciter's inductance", "1 mH on 100 ohm", volts, told, ""},
		{"drift, roll-off, lost samples, inductance", "as above", func(b *virtual.Bench) {
			rollOff(b)
			volts(b)
			b.Clock.DriftPPM = 100
			b.Faults.DropOuts = []virtual.DropOut{{AtS: 3.3, Lost: 300}}
		}, func(take *capture.Take) {
			calibrate(t, rollOff)(take)
			told(take)
		}, capture.Drift},
	}
	for _, f := range faults {
		t.Run(f.name, func(t *testing.T) {
			t.Parallel()
			b := virtual.Default()
			b.Reference = virtual.Reference{}
			b.Exciter.SeriesR.SI = 2000 // a current source, all but
			hum := *b.Hum
			hum.Lines = slices.Clone(hum.Lines)
			b.Hum = &hum
			f.apply(&b)
			recordings := record(t, b)
			if f.guard != nil && f.flag == "" { // one of its kind alone
				off, _ := recordings.fit(t, nil)
				t.Logf("%s, %s, without the guard: %s", f.name, f.size, off)
			}
			got, ok := recordings.fit(t, f.guard)
			t.Logf("%s, %s, with the guard:    %s", f.name, f.size, got)
			if !ok {
				t.Errorf("%s leaves %s", f.name, got)
			}
			for _, r := range recordings {
				if f.flag != "" && !slices.Contains(r.take.Quality.Flags, f.flag) {
					t.Errorf("take %s has flags %v, want %q", r.take.Name, r.take.Quality.Flags, f.flag)
				}
				if unfit := r.take.Unfit(); unfit != nil {
					t.Errorf("take %s is unfit: %v", r.take.Name, unfit)
				}
			}
		})
	}
}

// sweepEMF is the peak EMF in V that the stimulus of record induces at 1 kHz:
// M di/dt, i the output's voltage over the exciter's loop.
func sweepEMF(b virtual.Bench) float64 {
	level := math.Pow(10, excite.DefaultRequest().LevelDBFS/20)
	amperes := level * b.Output.FullScaleV / (b.Exciter.SeriesR.SI + b.Exciter.Resistance.SI + b.Output.Resistance.SI)
	return 2 * math.Pi * 1000 * b.Exciter.Mutual.SI * amperes
}

// recorded is one take of a simulated bench.
type recorded struct {
	audio capture.Recording
	take  capture.Take
	truth virtual.Truth
}

type recordedTakes []recorded

// record makes the takes of a coil: nothing, 220 pF and 470 pF added.
func record(t *testing.T, b virtual.Bench) recordedTakes {
	t.Helper()
	request := excite.DefaultRequest()
	request.SweepS, request.Repeats = 1.4, 3
	stimulus, err := excite.Design(request)
	if err != nil {
		t.Fatal(err)
	}
	var all recordedTakes
	for _, added := range []string{"", "220p 1%", "470p 1%"} {
		take := capture.Take{
			Name: "c" + added, Drive: capture.Drive{Kind: "current"}, Reference: capture.Reference{Kind: "none"}, Stimulus: stimulus,
			Load: capture.Load{FixtureC: farad(t, "65p 1%"), FixtureR: ohms(t, "1M 1%")},
		}
		if added != "" {
			take.Load.AddedC = farad(t, added)
		}
		recorder, err := b.Recorder(take.Load, stimulus.RateHz, 11)
		if err != nil {
			t.Fatal(err)
		}
		r := recorded{truth: recorder.Truth()}
		if r.audio, r.take, err = capture.Scout(t.Context(), recorder, take, nil); err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
	}
	return all
}

// fit fits all takes, each told of its bench by guard, and says how far L, C
// and the worst resonance are from the truth; ok is false where that is too far.
func (all recordedTakes) fit(t *testing.T, guard func(*capture.Take)) (says outcome, ok bool) {
	t.Helper()
	var takes []fit.Take
	for _, r := range all {
		if guard != nil {
			guard(&r.take)
		}
		estimate, err := response.Estimate(context.Background(), r.audio, r.take)
		if err != nil {
			t.Fatal(err)
		}
		takes = append(takes, fit.Take{Name: r.take.Name, Load: r.take.Load, Response: estimate, Referenced: referenced(r.take)})
	}
	result, err := fit.Analyse(t.Context(), capture.Coil{Schema: "coilsweep.coil/1", Name: "invented", DCR: ohms(t, "7.85k@20C 0.5%")}, takes, fit.Options{})
	if errors.Is(err, context.Canceled) || err != nil {
		t.Fatal(err)
	}
	says.chi2 = result.Model.Chi2Reduced
	for i, r := range result.Takes {
		off := 100 * (r.Resonance.Value/all[i].truth.ResonanceHz - 1)
		if math.Abs(off) > math.Abs(says.resonance) {
			says.resonance = off
		}
	}
	truth := all[0].truth
	says.l, says.lU = 100*(result.Inductance.Value/truth.InductanceH-1), 100*result.Inductance.U95/truth.InductanceH
	says.c, says.cU = 100*(result.Capacitance.Value/truth.CapacitanceF-1), 100*result.Capacitance.U95/truth.CapacitanceF
	ok = math.Abs(says.resonance) <= 0.1 && result.Inductance.Known() && result.Capacitance.Known() &&
		math.Abs(says.l) <= says.lU && math.Abs(says.c) <= says.cU
	return says, ok
}

// outcome is how far a fit is off, in percent, beside its U95.
type outcome struct{ resonance, l, lU, c, cU, chi2 float64 }

func (o outcome) String() string {
	return fmt.Sprintf("resonance off by %+.4f %%, L %+.3f (U95 %.3f) %%, C %+.3f (U95 %.3f) %%, reduced chi-square %.3g", o.resonance, o.l, o.lU, o.c, o.cU, o.chi2)
}

// calibrate gives a take the calibration of the card of a bench.
func calibrate(t *testing.T, card func(*virtual.Bench)) func(*capture.Take) {
	var calibration *capture.Calibration
	return func(take *capture.Take) {
		t.Helper()
		if calibration == nil {
			b := virtual.Default()
			b.Reference = virtual.Reference{}
			card(&b)
			recorder, err := b.CableRecorder(take.Stimulus.RateHz, 4)
			if err != nil {
				t.Fatal(err)
			}
			cable := capture.Take{Drive: capture.Drive{Kind: "direct"}, Reference: capture.Reference{Kind: "none"}}
			if cable.Stimulus, err = take.Stimulus.AtLevel(-24); err != nil {
				t.Fatal(err)
			}
			audio, cable, err := capture.Scout(t.Context(), recorder, cable, nil)
			if err != nil {
				t.Fatal(err)
			}
			estimate, err := response.Estimate(t.Context(), audio, cable)
			if err != nil {
				t.Fatal(err)
			}
			c := response.Calibrate(estimate, cable)
			calibration = &c
		}
		take.Calibration = calibration
	}
}

func ohms(t testing.TB, text string) *quantity.Resistance {
	return parsedValue(t, quantity.ParseResistance, text)
}

func henries(t testing.TB, text string) *quantity.Inductance {
	return parsedValue(t, quantity.ParseInductance, text)
}

func farad(t testing.TB, text string) *quantity.Capacitance {
	return parsedValue(t, quantity.ParseCapacitance, text)
}

func parsedValue[T any](t testing.TB, parse func(string) (T, error), text string) *T {
	t.Helper()
	v, err := parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return &v
}
