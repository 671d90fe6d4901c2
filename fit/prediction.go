package fit

import (
	"context"
	"errors"
	"fmt"
	"math"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit/circuit"
)

// Fitted is a coil's fitted circuit with all that is known of its uncertainty:
// what predictions start from.
type Fitted struct {
	a       *analysis
	coil    capture.Coil
	takes   []Take
	options Options
}

// FitCoil fits as Analyse does, and keeps the circuit for predictions.
func FitCoil(ctx context.Context, coil capture.Coil, takes []Take, options Options) (*Fitted, error) {
	a, err := analyse(ctx, coil, takes, options)
	if err != nil {
		return nil, err
	}
	return &Fitted{a, coil, takes, options}, nil
}

// Result is what Analyse gives. Call it once: it works out all uncertainties.
func (f *Fitted) Result(ctx context.Context) (*Result, error) {
	return f.a.result(ctx, f.coil, f.takes, f.options)
}

// ErrFixtureUnknown: the coil's own capacitance cannot be told from that of
// the bench's cable and input.
var ErrFixtureUnknown = errors.New("the fixture's capacitance is not known, and the coil's own cannot be told from it: state it with every take (fixture_c under [load] of take.toml)")

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

// Sought is a quantity that Propagate is asked for.
type Sought struct {
	// Missing says why it does not exist where it is not a number.
	Missing string
	// Decibel: it may be zero or negative, and has no relative uncertainty.
	Decibel bool
	// Frequency: it is wrong by as much as the sound card's clock.
	Frequency bool
}

// predictableU is the largest relative standard uncertainty of a prediction.
const predictableU = 0.5

// Propagate carries what is known of coils and of stated parts to quantities
// that follow from their circuits: f writes them, in the order of sought, for
// the bare coils and the sizes of the parts in SI units; NaN where one does not
// exist. The fits of several coils and the parts are taken to be independent.
// The propagation is linear (JCGM 100:2008, 5.2), with the spread of the forms
// that explain each coil.
//
// The errors are those of Bare.
func Propagate(coils []*Fitted, parts []quantity.Value, sought []Sought, f func(coils []circuit.Coil, parts, dst []float64)) ([]Quantity, error) {
	circuits := make([]circuit.Coil, len(coils))
	sizes := make([]float64, len(parts))
	for i, c := range coils {
		var err error
		if circuits[i], err = c.Bare(); err != nil {
			return nil, fmt.Errorf("%s: %w", c.coil.Name, err)
		}
	}
	for i, p := range parts {
		sizes[i] = p.SI
	}
	best := make([]float64, len(sought))
	f(circuits, sizes, best)

	total := make([]variances, len(sought))
	clock := 0.0 // one crystal for all takes, so far as is known
	for i, c := range coils {
		clock = max(clock, c.a.clockU())
		at := circuits[i]
		for k, v := range c.a.propagated(bareAt, len(sought), func(coil circuit.Coil, dst []float64) {
			circuits[i] = coil
			f(circuits, sizes, dst)
		}) {
			total[k].add(v)
		}
		circuits[i] = at
	}
	up, down := make([]float64, len(sought)), make([]float64, len(sought))
	for i, p := range parts {
		if p.U() == 0 {
			continue
		}
		const h = 1e-4
		sizes[i] = p.SI * (1 + h)
		f(circuits, sizes, up)
		sizes[i] = p.SI * (1 - h)
		f(circuits, sizes, down)
		sizes[i] = p.SI
		for k := range total {
			u := (up[k] - down[k]) / (2 * h) * p.U() / p.SI
			total[k].fit += u * u
		}
	}
	out := make([]Quantity, len(sought))
	for k, s := range sought {
		if s.Frequency {
			total[k].fit += square(clock * best[k])
		}
		out[k] = total[k].judge(best[k], s, func() string {
			for _, c := range coils {
				if c.a.ambiguous != "" {
					return c.a.ambiguous
				}
			}
			return coils[0].a.missingFact()
		})
	}
	return out, nil
}

// variances of one quantity by where they come from; weak is the part of fit
// that only the weak priors hold, model what comes from the choice of the form.
type variances struct{ fit, weak, model float64 }

func (v *variances) add(w variances) {
	v.fit += w.fit
	v.weak += w.weak
	v.model += w.model
}

func (v variances) u() float64 { return math.Sqrt(v.fit + v.model) }

// judge is the quantity, or the reason why it is not known.
func (v variances) judge(value float64, s Sought, missingFact func() string) Quantity {
	u := v.u()
	switch {
	case math.IsNaN(value) || math.IsNaN(u) || math.IsInf(u, 0):
		return Unknown(s.Missing)
	case v.weak > weakShare*v.fit && (s.Decibel && v.weak > square(20/math.Ln10*weakU) || !s.Decibel && v.weak > square(weakU*value)):
		return Unknown("undetermined: " + missingFact())
	case !s.Decibel && u > predictableU*math.Abs(value):
		return Unknown(fmt.Sprintf("undetermined: U95 would be ±%.0f %%", 100*coverage*u/math.Abs(value)))
	}
	return Quantity{Value: value, U: u, U95: coverage * u}
}

// propagated carries what is known of the fit to count quantities that follow
// from the bare coil's circuit; circuitAt makes it from the parameters.
func (a *analysis) propagated(circuitAt func(j *joint, x []float64) circuit.Coil, count int, f func(c circuit.Coil, dst []float64)) []variances {
	return a.propagatedFrom(count, a.best.joint.bareSteps(), func(j *joint, x, dst []float64) { f(circuitAt(j, x), dst) })
}

// propagatedFrom is propagated for quantities that follow from the parameters
// with the steps h.
func (a *analysis) propagatedFrom(count int, h []float64, f function) []variances {
	fit, spread := a.known.carry(count, h, f), a.spread(count, h, f)
	out := make([]variances, count)
	for k := range out {
		out[k] = variances{fit: fit.variance(k), model: spread[k] * spread[k]}
		for i := range a.best.joint.priors {
			if p := &a.best.joint.priors[i]; p.source == sourceWeak {
				v := p.along(a.best.joint, a.best.x, func(c int) float64 { return fit.known.At(k, c) }) / p.u
				out[k].weak += v * v
			}
		}
	}
	return out
}
