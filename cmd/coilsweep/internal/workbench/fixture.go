package workbench

import (
	"context"
	"slices"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/benchfile"
	"coilsweep/capture/record"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/fixture"
)

// Fixture are the options of a measurement of the fixture.
type Fixture struct {
	job
	Stimulus Stimulus
	Series   *quantity.Resistance
}

// NewFixture has the defaults.
func NewFixture(program string) *Fixture {
	k := &Fixture{job: newJob(program), Stimulus: defaultStimulus()}
	k.Stimulus.LevelDBFS = plainLevelDBFS
	k.Options = Options{
		{Name: "series", Group: groupExciter, Page: true, Value: Resistance(&k.Series),
			Help: `the resistor in place of the coil, "470k 1%"`},
	}
	k.Options = slices.Concat(k.Options,
		k.Take.options("none", "loopback").only("reference", "coil-channel", "reference-channel"), k.Stimulus.options(),
		k.Bench.options())
	k.Find("reference").Bench = nil // that of a bench is for coils
	return k
}

// FixturePlan is a measurement of the fixture that is about to be made.
type FixturePlan struct {
	directPlan
	measurement fixture.Measurement
}

// Plan makes a plan of the options and the bench of dir. The error wraps
// ErrNoBench or ErrNoCalibration where they are missing.
func (k *Fixture) Plan(dir string) (*FixturePlan, error) {
	if k.Series == nil {
		return nil, Wrong("series", `the resistor in place of the coil is missing[[: {series} "470k 1%%"]]`)
	}
	take, err := k.beginDirect(dir, k.Take.Reference.Kind, &k.Stimulus)
	if err != nil {
		return nil, err
	}
	m := fixture.Measurement{Series: *k.Series}
	if k.Take.Reference.Kind == "none" {
		if m.Calibration, err = k.Bench.calibration(); err != nil {
			return nil, err
		}
		if m.Calibration == nil {
			return nil, ErrNoCalibration
		}
		if err := m.Calibration.Covers(take); err != nil {
			return nil, err
		}
	}
	return &FixturePlan{k.directPlan(take, wiring{series: k.Series}), m}, nil
}

// FixtureResult is what a measurement of the fixture found.
type FixtureResult struct {
	fixture.Result
	KeptIn string `json:"kept_in,omitempty"` // the bench.toml; empty: it was not determined
}

// Measured tells whether anything was found, determined or not.
func (r FixtureResult) Measured() bool { return r.Resistance.Value != 0 || r.Capacitance.Value != 0 }

// Line is what was found in one line.
func (r FixtureResult) Line() string {
	say := func(q fit.Quantity, unit quantity.Unit) string {
		if !q.Known() {
			return "unknown (" + q.Why + ")"
		}
		return quantity.FormatWithU95(q.Value, q.U95, unit)
	}
	return "fixture: R " + say(r.Resistance, quantity.Ohm) + ", C " + say(r.Capacitance, quantity.Farad)
}

// Run measures the fixture and keeps it in the bench. One that is not
// determined is a *capture.UnfitError beside what was found.
func (p *FixturePlan) Run(ctx context.Context, recorder record.Recorder, hears Ears) (found FixtureResult, err error) {
	m := p.measurement
	if m.Calibration != nil {
		if err := m.Calibration.Matches(recorder.Describe(), p.outputChannel); err != nil {
			return found, err
		}
	}
	var take capture.Take
	if m.Response, take, err = listenAndEstimate(ctx, recorder, p.take, hears); err != nil {
		return found, err
	}
	if found.Result, err = fixture.Fit(ctx, m); err != nil {
		return found, err
	}
	if !found.Resistance.Known() || !found.Capacitance.Known() {
		return found, &capture.UnfitError{What: "the fixture is not determined, and was not kept"}
	}
	found.KeptIn = p.benchPath
	return found, benchfile.SetFixture(p.benchPath, benchfile.Fixture{
		Resistance:  &quantity.Resistance{Value: expanded(found.Resistance, quantity.Ohm)},
		Capacitance: &quantity.Capacitance{Value: expanded(found.Capacitance, quantity.Farad)},
		Date:        benchfile.DateOf(startOf(take)), How: m.Series.String() + " in series",
	})
}

func startOf(t capture.Take) time.Time {
	if t.Started.IsZero() {
		return time.Now()
	}
	return t.Started
}

// expanded is a result as a value with its expanded uncertainty, to the digits
// that are printed.
func expanded(q fit.Quantity, unit quantity.Unit) quantity.Value {
	digit := quantity.SecondDigit(q.U95)
	return quantity.Value{
		SI: quantity.RoundTo(q.Value, digit), Half: quantity.RoundTo(q.U95, digit), Basis: quantity.Expanded,
		Unit: unit,
	}
}
