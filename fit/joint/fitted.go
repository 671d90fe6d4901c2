package joint

import (
	"context"
	"errors"
	"math"

	"coilsweep/fit/leastsquares"
	"coilsweep/fit/response"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

// Fitted is a coil's fitted circuit with its whole uncertainty: the basis of
// predictions, as a fit.Uncertain.
type Fitted struct {
	a       *analysis
	coil    capture.Coil
	takes   []Take
	options fit.Options
}

// Fit fits as Analyse does, and keeps the circuit for predictions. The errors are
// those of Analyse.
func Fit(ctx context.Context, coil capture.Coil, takes []Take, options fit.Options) (*Fitted, error) {
	return fitted(ctx, coil, takes, options, searches{})
}

func fitted(ctx context.Context, coil capture.Coil, takes []Take, options fit.Options, s searches) (*Fitted, error) {
	a, err := analyse(ctx, coil, takes, options, s)
	for _, fruitless := range []error{errNoMinimum, leastsquares.ErrSingular, leastsquares.ErrDomain} {
		if errors.Is(err, fruitless) {
			return nil, &capture.UnfitError{What: noCircuit}
		}
	}
	if err != nil {
		return nil, err
	}
	return &Fitted{a, coil, takes, options}, nil
}

// noCircuit is what takes are told to be in which nothing of a coil can be found.
const noCircuit = "the takes do not determine the circuit of a coil: check that the coil is on its channel, and that " +
	"not both channels hold the same signal; record again, without lossy compression such as AAC or MP3"

// Result is what Analyse gives. Call it once: it works out all uncertainties.
func (f *Fitted) Result(ctx context.Context) (*fit.Result, error) {
	return f.a.result(ctx, f.coil, f.takes, f.options)
}

// ErrFixtureUnknown: the coil's own capacitance cannot be separated from that of
// cable and input.
var ErrFixtureUnknown = errors.New("the fixture's capacitance is not known, and the coil's own cannot be told from " +
	"it: state it with every take (fixture_c under [load] of take.toml)")

// Bare is the circuit of the coil alone, its fixture taken off. The error is
// ErrFixtureUnknown, or says that the fixture's stated capacitance is too
// large.
func (f *Fitted) Bare() (circuit.Coil, error) {
	if !f.a.request.parts.fixtureKnown {
		return circuit.Coil{}, ErrFixtureUnknown
	}
	c := bareAt(f.a.best.joint, f.a.best.x)
	if math.IsNaN(c.CapacitanceF) {
		return circuit.Coil{}, errors.New(derived{name: nameCapacitanceCoil}.missing())
	}
	return c, nil
}

// bareAt is the coil with its own C alone; NaN where the fixture is as large
// as all.
func bareAt(j *joint, x []float64) circuit.Coil {
	c := j.coilAt(x)
	c.CapacitanceF = j.coilCapacitance(x)
	return c
}

// Carry propagates the fit's uncertainty to count quantities that follow from the
// circuit of the coil alone: quantities writes them, NaN where one does not
// exist.
func (f *Fitted) Carry(count int, quantities func(bare circuit.Coil, dst []float64)) fit.Carried {
	return fit.Carried{
		Variances:   f.a.propagated(bareAt, count, quantities),
		ClockU:      f.a.clockU(),
		Ambiguous:   f.a.ambiguous,
		MissingFact: f.a.missingFact(),
	}
}

// propagated propagates the fit's uncertainty to count quantities that follow
// from the circuit of the coil alone; circuitAt makes it from the parameters.
func (a *analysis) propagated(circuitAt func(j *joint, x []float64) circuit.Coil, count int,
	f func(c circuit.Coil, dst []float64)) []fit.Variances {
	return a.propagatedFrom(count, a.best.joint.bareSteps(), false,
		func(j *joint, x, dst []float64) { f(circuitAt(j, x), dst) })
}

// propagatedFrom is propagated for quantities that follow from the parameters
// with the steps h, and with ofTakes from single takes too.
func (a *analysis) propagatedFrom(count int, h []float64, ofTakes bool, f function) []fit.Variances {
	linear, spread := a.known.carry(count, h, f), a.spread(count, h, ofTakes, f)
	out, input := make([]fit.Variances, count), a.inputU(count, f)
	for k := range out {
		out[k] = fit.Variances{Fit: linear.variance(k), Model: spread[k]*spread[k] + input[k]*input[k]}
		for i := range a.best.joint.priors {
			if p := &a.best.joint.priors[i]; p.source == sourceWeak {
				v := p.along(a.best.joint, a.best.x, func(c int) float64 { return linear.known.At(k, c) }) / p.u
				out[k].Weak += v * v
			}
		}
	}
	return out
}

// Take is the fit's input from one take.
type Take struct {
	Name     string
	Load     capture.Load
	Response *response.Response // nil where the take is not usable
	// Referenced: a reference channel took the sound card's low end out of
	// the response.
	Referenced bool
	// Ideal: the response has no trace of a sound card, as in a simulation
	// without one.
	Ideal bool
	// DriftPPM is by how much the clocks of playback and recording were found
	// to differ, in parts per million.
	DriftPPM float64
	// Card are the limits of the take's sound card; 0: the usual one.
	Card capture.Card
	// DriveLimitDB is by how much the exciter's current may be lower at 20 kHz than
	// the response is corrected for, in dB.
	DriveLimitDB float64
	// DriveFall and Linearity are those of the take; nil: not known.
	DriveFall   *capture.DriveFall
	Linearity   *capture.Linearity
	Flags       []string
	Unfit       string // why the take cannot be used; empty: it can
	AudioSHA256 string
}
