package evaluation_test

import (
	"cmp"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/capture/virtual"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
)

// bench is a bench that a fault is put into.
type bench interface {
	// recorder is the bench with a load on the coil, and what is true of it.
	recorder(l capture.Load, rateHz int) (record.Recorder, virtual.Truth, error)
	// cable is the bench with a cable from output to input.
	cable(rateHz int) (record.Recorder, error)
}

// simulated is the simulated bench.
type simulated struct{ virtual.Bench }

func (s simulated) recorder(l capture.Load, rateHz int) (record.Recorder, virtual.Truth, error) {
	r, err := s.Recorder(l, rateHz, 11)
	if err != nil {
		return nil, virtual.Truth{}, err
	}
	return r, r.Truth(), nil
}

func (s simulated) cable(rateHz int) (record.Recorder, error) { return s.CableRecorder(rateHz, 4) }

// sound is the simulated bench without a fault: no reference, and all but a
// current source.
func sound() virtual.Bench {
	b := virtual.Default()
	b.Reference = virtual.Reference{}
	b.Exciter.SeriesR.SI = 2000
	hum := *b.Hum
	hum.Lines = slices.Clone(hum.Lines)
	b.Hum = &hum
	return b
}

// fault is something wrong with a bench, and how its user guards against it.
type fault struct {
	name, size string
	// simulated and spice put it into a bench; nil: not into that one.
	simulated func(*virtual.Bench)
	spice     func(*spiceBench)
	repeats   int     // sweeps of a take; 0: 3
	sweepS    float64 // 0: 0.7 s, too short to tell strong hum from lost samples
	// calibrated and told are guards that the user sets: the card is calibrated
	// through a cable, and the take states the exciter's values. All other guards
	// are in the program and always there.
	calibrated, told bool
	flags            []capture.Flag // that every take must have, and no others
	// spoils: without any guard the result is wrong or none.
	spoils bool
	// marred: the fault is seen, and cannot be corrected.
	marred bool
}

func withRollOff(b *virtual.Bench) {
	b.Output.RollOff = virtual.RollOff{DB: 1.2, AtHz: 18000, Order: 2}
	b.Input.RollOff = virtual.RollOff{DB: 0.8, AtHz: 18000, Order: 2}
}

func with1mHOn100Ohm(b *virtual.Bench) {
	b.Exciter.Inductance.SI, b.Exciter.SeriesR.SI, b.Exciter.Mutual.SI = 1e-3, 63.1, 120e-6 // 100 ohm in all
}

// with300Lost is a drop-out in the second sweep.
func with300Lost(b *virtual.Bench) {
	b.Faults.DropOuts = []virtual.DropOut{{AtS: 2.2, Lost: 300}}
}

var faults = []fault{
	{name: "none", size: "-", spice: func(*spiceBench) {}},
	{name: "clock drift", size: "100 ppm", flags: []capture.Flag{capture.Drift}, spoils: true,
		simulated: func(b *virtual.Bench) { b.Clock.DriftPPM = 100 },
		spice:     func(s *spiceBench) { s.driftPPM = 100 }},
	{name: "hum", size: "20 dB over the plateau", sweepS: 1.4, flags: []capture.Flag{capture.Hum},
		// The EMF of the hum against that of the sweep at 1 kHz.
		simulated: func(b *virtual.Bench) {
			b.Hum.Lines[0].EMFRMSV = 10 * sweepEMF(*b) / math.Sqrt2
			for i := range b.Hum.Lines[1:] {
				b.Hum.Lines[1+i].EMFRMSV = b.Hum.Lines[0].EMFRMSV / float64(3*b.Hum.Lines[1+i].Harmonic)
			}
		},
		spice: func(s *spiceBench) { s.humDB = 20 }},
	{name: "roll-off of the card", size: "2 dB at 18 kHz", calibrated: true,
		simulated: withRollOff, spice: func(s *spiceBench) { s.rollOff = true }},
	{name: "lost samples", size: "300", flags: []capture.Flag{capture.Dropout}, spoils: true,
		simulated: with300Lost, spice: func(s *spiceBench) { s.lost = 300 }},
	{name: "a knock into the rails", size: "4 times full scale", flags: []capture.Flag{capture.ClippedRepeat},
		spoils: true,
		spice:  func(s *spiceBench) { s.knock = true }},
	{name: "wrong polarity", size: "-", spice: func(s *spiceBench) { s.inverted = true }},
	{name: "exciter's inductance", size: "1 mH on 100 ohm", told: true,
		simulated: with1mHOn100Ohm, spice: func(s *spiceBench) { s.loop = loop100 }},
	{name: "soft clipping", size: "harmonics of 1 % and more at the peak", flags: []capture.Flag{capture.Distorted},
		marred: true, spoils: true,
		simulated: func(b *virtual.Bench) {
			b.Exciter.SeriesR.SI, b.Exciter.Mutual.SI, b.Input.SoftKnee = 220, 400e-6, 0.01
		},
		spice: func(s *spiceBench) { s.clipsAtV = 1.4 }},
	{name: "all that can be corrected", size: "as above", repeats: 4, sweepS: 1.4, calibrated: true, told: true,
		flags: []capture.Flag{capture.Drift, capture.Dropout, capture.Hum, capture.ClippedRepeat}, spoils: true,
		spice: func(s *spiceBench) {
			s.driftPPM, s.humDB, s.rollOff, s.lost, s.knock, s.inverted, s.loop = 100, 20, true, 300, true, true,
				loop100
		}},
	{name: "drift, roll-off, lost samples, inductance", size: "as above", calibrated: true, told: true,
		flags: []capture.Flag{capture.Drift, capture.Dropout}, spoils: true,
		simulated: func(b *virtual.Bench) {
			withRollOff(b)
			with1mHOn100Ohm(b)
			with300Lost(b)
			b.Clock.DriftPPM = 100
		}},
}

// A fault alone, and all of them together, leaves the resonance within 0.1 %
// and L and C within U95 of the circuit's, on the simulated bench and on
// recordings that ngspice made; what cannot be corrected is flagged. The test's
// log is the table: what the fit says of spectra divided without any guard, and
// what it says with them.
func TestFaultsOfTheBench(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("simulates some minutes of sound")
	}
	for _, f := range faults {
		if f.simulated != nil {
			t.Run(f.name+"/simulated", func(t *testing.T) {
				t.Parallel()
				b := sound()
				f.simulated(&b)
				f.check(t, simulated{b}, "7.85k@20C 0.5%")
			})
		}
		if f.spice != nil {
			t.Run(f.name+"/ngspice", func(t *testing.T) {
				t.Parallel()
				b := newSpiceBench(t)
				f.spice(b)
				f.check(t, b, "7.2k@20C 0.5%")
			})
		}
	}
}

// twoRings is the circuit of both benches. That the fit finds it is tested
// elsewhere.
var twoRings = fit.Options{Forms: []fit.Form{{Rings: 2}}}

// check records with the bench, and reports the fit of it.
func (f fault) check(t *testing.T, b bench, dcr string) {
	recordings := recordBench(t, b, cmp.Or(f.repeats, 3), cmp.Or(f.sweepS, 0.7))
	coil := capture.Coil{Schema: "coilsweep.coil/1", Name: "invented", DCR: ohms(t, dcr)}
	plain := recordings.outcome(recordings.plainly().fit(t, coil))
	if f.spoils && plain.good() {
		t.Errorf("without any guard %s leaves %s: it is not a fault", f.name, plain)
	}
	if f.told {
		for i := range recordings {
			recordings[i].take.Drive = capture.Drive{Kind: "voltage", ExciterR: ohms(t, "100 1%"),
				ExciterL: henries(t, "1mH")}
		}
	}
	if f.calibrated {
		calibration := calibrate(t, b, recordings[0].take.Stimulus)
		for i := range recordings {
			recordings[i].take.Calibration = &calibration
		}
	}
	result := recordings.estimated(t).fit(t, coil)
	says := recordings.outcome(result)
	t.Logf("%s, %s\nwithout guard: %s\nwith guard:    %s\nflags %v", f.name, f.size, plain, says,
		recordings.flags(result))
	if !f.marred && !says.good() {
		t.Errorf("%s leaves %s", f.name, says)
	}
	for i, r := range recordings {
		if unfit := r.take.Unfit(); unfit != nil {
			t.Errorf("take %s is unfit: %v", r.take.Name, unfit)
		}
		for _, flag := range append(recordings.flags(result)[i], f.flags...) {
			if has := slices.Contains(recordings.flags(result)[i], flag); has != slices.Contains(f.flags, flag) {
				t.Errorf("take %s has flags %v, want %v", r.take.Name, recordings.flags(result)[i], f.flags)
				break
			}
		}
	}
	if slices.Contains(f.flags, capture.Distorted) &&
		!strings.Contains(strings.Join(result.Warnings, " "),
			"at the peak: the input is near its limit there (soft clipping)") {
		t.Errorf("warnings %q", result.Warnings)
	}
}

// sweepEMF is the peak EMF in V that the stimulus of record induces at 1 kHz:
// M di/dt, i the output's voltage over the exciter's loop.
func sweepEMF(b virtual.Bench) float64 {
	level := math.Pow(10, excite.DefaultRequest().LevelDBFS/20)
	amperes := level * b.Output.FullScaleV / (b.Exciter.SeriesR.SI + b.Exciter.Resistance.SI + b.Output.Resistance.SI)
	return 2 * math.Pi * 1000 * b.Exciter.Mutual.SI * amperes
}

// recorded is one take of a bench.
type recorded struct {
	audio capture.Recording
	take  capture.Take
	truth virtual.Truth
}

type recordedTakes []recorded

// record makes the takes of a coil: nothing and 470 pF added.
func recordBench(t *testing.T, b bench, repeats int, sweepS float64) recordedTakes {
	t.Helper()
	return recordBenchAs(t, b, repeats, sweepS, func(*capture.Take) {})
}

// recordBenchAs is recordBench with takes that are stated otherwise.
func recordBenchAs(t *testing.T, b bench, repeats int, sweepS float64, state func(*capture.Take)) recordedTakes {
	t.Helper()
	request := excite.DefaultRequest()
	request.SweepS, request.Repeats = sweepS, repeats
	stimulus, err := excite.Design(request)
	if err != nil {
		t.Fatal(err)
	}
	var all recordedTakes
	for i, added := range []string{"", "470p 1%"} {
		take := capture.Take{
			Name: []string{"bare", "c470"}[i], Drive: capture.Drive{Kind: "current"},
			Reference: capture.Reference{Kind: "none"}, Stimulus: stimulus,
			Load: capture.Load{FixtureC: farad(t, "65p 1%"), FixtureR: ohms(t, "1M 1%")},
		}
		if added != "" {
			take.Load.AddedC = farad(t, added)
		}
		state(&take)
		recorder, truth, err := b.recorder(take.Load, stimulus.RateHz)
		if err != nil {
			t.Fatal(err)
		}
		r := recorded{truth: truth}
		if r.audio, r.take, err = record.Scout(t.Context(), recorder, take, nil); err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
	}
	return all
}

// fitTakes are the fit's inputs from recordings.
type fitTakes []joint.Take

// estimated are the takes as the program estimates them.
func (all recordedTakes) estimated(t *testing.T) fitTakes {
	t.Helper()
	var takes fitTakes
	for _, r := range all {
		estimate, err := response.Estimate(t.Context(), r.audio, r.take)
		if err != nil {
			t.Fatal(err)
		}
		takes = append(takes, r.fitTake(estimate))
	}
	return takes
}

func (r recorded) fitTake(estimate *response.Response) joint.Take {
	return joint.Take{Name: r.take.Name, Load: r.take.Load, Response: estimate, Referenced: r.take.Referenced(),
		DriftPPM: r.take.Quality.DriftPPM, DriveLimitDB: r.take.DriveLimitDB()}
}

// plainly are the takes without any guard: the spectrum of the recording,
// averaged over its periods, over that of the stimulus and the frequency.
func (all recordedTakes) plainly() fitTakes {
	const early = 240 // samples, for what comes before the alignment's start
	var takes fitTakes
	for _, r := range all {
		stimulus := r.take.Stimulus
		period := stimulus.PeriodSamples
		plan := fourier.NewFFT(period)
		played := plan.Coefficients(nil, stimulus.Sweep())
		var periods [][]complex128
		for from := int(r.take.Alignment.StartSample[0]) - early; len(periods) < stimulus.Repeats &&
			from+period <= r.audio.Frames(); from += period {
			periods = append(periods, plan.Coefficients(nil, r.audio.Samples[0][from:from+period]))
		}
		n := float64(len(periods))
		estimate := &response.Response{SNRdB: 60, VarianceDoF: 2 * (n - 1) * 17, Repeats: len(periods)}
		quotient := func(line, k int) complex128 {
			hz := float64(line*stimulus.RateHz) / float64(period)
			return periods[k][line] / played[line] * complex(0, -1000/hz) * cmplx.Rect(1,
				2*math.Pi*float64(line*early)/float64(period))
		}
		mean := func(line int) (h complex128) {
			for k := range periods {
				h += quotient(line, k) / complex(n, 0)
			}
			return h
		}
		for hz := 50.0; hz < 18000; hz *= math.Exp2(1.0 / 48) {
			line := int(math.Round(hz * float64(period) / float64(stimulus.RateHz)))
			scatter := 0.0
			for near := line - 8; near <= line+8; near++ {
				h := mean(near)
				for k := range periods {
					d := quotient(near, k) - h
					scatter += (real(d)*real(d) + imag(d)*imag(d)) / (n * (n - 1) * 17)
				}
			}
			h := mean(line)
			estimate.FrequencyHz = append(estimate.FrequencyHz, float64(line*stimulus.RateHz)/float64(period))
			estimate.H = append(estimate.H, h)
			estimate.Variance = append(estimate.Variance, max(scatter, 1e-10*real(h*cmplx.Conj(h))))
		}
		takes = append(takes, r.fitTake(estimate))
	}
	return takes
}

func (takes fitTakes) fit(t *testing.T, coil capture.Coil) *fit.Result {
	t.Helper()
	return takes.fitWith(t, coil, twoRings)
}

func (takes fitTakes) fitWith(t *testing.T, coil capture.Coil, options fit.Options) *fit.Result {
	t.Helper()
	result, err := joint.Analyse(t.Context(), coil, takes, options)
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// flags are those of each take, of recording and fit.
func (all recordedTakes) flags(result *fit.Result) [][]capture.Flag {
	var flags [][]capture.Flag
	for i, r := range all {
		list := slices.Clone(r.take.Quality.Flags)
		for _, f := range result.Takes[i].Flags {
			list = append(list, capture.Flag(f))
		}
		flags = append(flags, list)
	}
	return flags
}

// outcome is how far a result is off, in percent, beside its U95: L, C and the
// worst resonance.
type outcome struct{ resonance, l, lU, c, cU, chi2 float64 }

func (all recordedTakes) outcome(result *fit.Result) outcome {
	says := outcome{chi2: result.Model.Chi2Reduced}
	for i, r := range result.Takes {
		off := 100 * (r.Resonance.Value/all[i].truth.ResonanceHz - 1)
		if !(math.Abs(off) <= math.Abs(says.resonance)) {
			says.resonance = off
		}
	}
	truth := all[0].truth
	says.l, says.lU = 100*(result.Inductance.Value/truth.InductanceH-1), 100*result.Inductance.U95/truth.InductanceH
	says.c, says.cU = 100*(result.Capacitance.Value/truth.CapacitanceF-1), 100*result.Capacitance.U95/truth.CapacitanceF
	return says
}

// good tells whether the resonance is within 0.1 %, and L and C within U95;
// what is not known is NaN and not good.
func (o outcome) good() bool {
	return math.Abs(o.resonance) <= 0.1 && math.Abs(o.l) <= o.lU && math.Abs(o.c) <= o.cU
}

func (o outcome) String() string {
	off := func(percent, u float64) string {
		if math.IsNaN(percent) {
			return "not known"
		}
		return fmt.Sprintf("%+.3f (U95 %.3f) %%", percent, u)
	}
	resonance := "not known"
	if !math.IsNaN(o.resonance) {
		resonance = fmt.Sprintf("off by %+.4f %%", o.resonance)
	}
	return fmt.Sprintf("resonance %s, L %s, C %s, reduced chi-square %.2g", resonance, off(o.l, o.lU), off(o.c, o.cU),
		o.chi2)
}

// calibrate is the calibration of the card of a bench.
func calibrate(t *testing.T, b bench, stimulus excite.Stimulus) capture.Calibration {
	t.Helper()
	recorder, err := b.cable(stimulus.RateHz)
	if err != nil {
		t.Fatal(err)
	}
	take := capture.Take{Drive: capture.Drive{Kind: "direct"}, Reference: capture.Reference{Kind: "none"}}
	if take.Stimulus, err = stimulus.AtLevel(-24); err != nil {
		t.Fatal(err)
	}
	audio, take, err := record.Scout(t.Context(), recorder, take, nil)
	if err != nil {
		t.Fatal(err)
	}
	estimate, err := response.Estimate(t.Context(), audio, take)
	if err != nil {
		t.Fatal(err)
	}
	return response.Calibrate(estimate, take)
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
