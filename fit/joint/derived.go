package joint

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

// derived names a quantity that follows from the parameters.
type derived struct {
	name string
	// index is the take, or the ring of a share or corner.
	index int
	// hz is the frequency at which the quantity is taken, of the branch.
	hz float64
	// linear: the uncertainty is worked out in the value itself; else the
	// quantity is positive and it is worked out in its logarithm.
	linear bool
}

// Names of derived quantities.
const (
	nameInductance      = "inductance"
	nameResistance      = "resistance"
	nameCapacitance     = "capacitance"
	nameCapacitanceCoil = "capacitance_coil"
	nameBareResonance   = "bare_resonance"
	nameBareQ           = "bare_q"
	nameShare           = "share"
	nameCorner          = "corner"
	nameCover           = "cover_corner"
	nameResonance       = "resonance"
	nameQ               = "q"
	nameLC              = "lc"
	namePeak            = "peak"
	namePeakDB          = "peak_db"
	nameWidth           = "width"
	nameBranchL         = "branch_inductance"
	nameBranchR         = "branch_resistance"
)

func (d derived) isFrequency() bool {
	switch d.name {
	case nameBareResonance, nameCorner, nameCover, nameResonance, nameLC, namePeak, nameWidth:
		return true
	}
	return false
}

// isOfForm tells whether the quantity is a term of the chosen model, or depends
// on its terms where no take was made.
func (d derived) isOfForm() bool {
	switch d.name {
	case nameShare, nameCorner, nameCover:
		return true
	}
	return false
}

// missing says why a quantity does not exist where at gives NaN.
func (d derived) missing() string {
	switch d.name {
	case nameResonance, nameQ:
		return "the losses are so large that the coil does not resonate with this load"
	case namePeak, namePeakDB:
		return "the response falls from the plateau without a peak"
	case nameWidth:
		return "the peak is less than 3 dB high and has no half-power point on each side"
	}
	return "the fixture's stated capacitance is as large as all that the takes show"
}

// at is the quantity at the parameters x; NaN where it does not exist (an
// overdamped coil has no resonance).
func (j *joint) at(d derived, x []float64) float64 {
	c := j.coilAt(x)
	ring := func() circuit.Ring {
		if j.form.Cylinder {
			return c.Cylinder
		}
		return c.Rings[d.index]
	}
	load := func() circuit.Load { return j.loadOf(d.index, x).circuit() }
	either := func(first, second float64, ok bool, wantSecond bool) float64 {
		switch {
		case !ok:
			return math.NaN()
		case wantSecond:
			return second
		}
		return first
	}
	switch d.name {
	case nameInductance:
		return c.InductanceH
	case nameResistance:
		return c.ResistanceOhm
	case nameCapacitance:
		return c.CapacitanceF
	case nameCapacitanceCoil:
		return j.coilCapacitance(x)
	case nameBareResonance, nameBareQ:
		if c.CapacitanceF = j.coilCapacitance(x); math.IsNaN(c.CapacitanceF) {
			return math.NaN()
		}
		f, q, ok := c.Resonance(circuit.Open())
		return either(f, q, ok, d.name == nameBareQ)
	case nameShare:
		return ring().Share
	case nameCorner:
		return 1 / (2 * math.Pi * ring().TimeS)
	case nameCover:
		return 1 / (2 * math.Pi * c.CoverTimeS)
	case nameResonance, nameQ:
		f, q, ok := j.coilIn(d.index, x).Resonance(load())
		return either(f, q, ok, d.name == nameQ)
	case nameLC:
		return c.LCFrequency(load())
	case namePeak, namePeakDB:
		f, db, ok := j.coilIn(d.index, x).Peak(load())
		return either(f, db, ok, d.name == namePeakDB)
	case nameWidth:
		w, ok := j.coilIn(d.index, x).Width(load())
		return either(w, 0, ok, false)
	case nameBranchL, nameBranchR:
		l, r := c.Branch(d.hz)
		return either(l, r, true, d.name == nameBranchR)
	}
	panic("joint: no quantity " + d.name)
}

// resonates tells whether the coil with the load of a take has a pole pair.
func (j *joint) resonates(take int, x []float64) bool {
	return !math.IsNaN(j.at(derived{name: nameResonance, index: take}, x))
}

// coilCapacitance is the coil's own C: all of it less the fixture's; NaN where
// the fixture is as large as all.
func (j *joint) coilCapacitance(x []float64) float64 {
	c := math.Exp(x[atC]) - j.loadOf(0, x).fixtureC
	if c <= 0 {
		return math.NaN()
	}
	return c
}

// estimate is the linear propagation of the covariance to one quantity
// (JCGM 100:2008, 5.2).
type estimate struct {
	value    float64
	u        float64            // in the unit of value
	gradient []float64          // of ln value or value
	shares   map[source]float64 // of u²
	// byPrior is the part of u from each prior, with its sign: by how much the
	// value moves where the known value moves by one u.
	byPrior []float64
}

// function writes quantities that follow from the parameters of a fit into dst;
// NaN for what does not exist.
type function func(j *joint, x, dst []float64)

// uncertainty holds what is needed to propagate at one solution.
type uncertainty struct {
	s *solution
	c *mat.SymDense
}

func (s *solution) uncertainty() (*uncertainty, error) {
	c, err := s.covariance()
	if err != nil {
		return nil, err
	}
	return &uncertainty{s: s, c: c}, nil
}

// carried are quantities at one solution with what the covariance makes of them.
type carried struct {
	value  []float64
	slopes *mat.Dense // by quantity and parameter
	known  mat.Dense  // slopes times covariance
}

// carry propagates to count quantities by differences of the steps h, as
// sensitivities takes them (JCGM 100:2008, 5.2).
func (w *uncertainty) carry(count int, h []float64, f function) *carried {
	j := w.s.joint
	c := &carried{value: make([]float64, count), slopes: mat.NewDense(count, j.n, nil)}
	f(j, w.s.x, c.value)
	sensitivities(c.slopes, func(x, dst []float64) { f(j, x, dst) }, slices.Clone(w.s.x), h)
	c.known.Mul(c.slopes, w.c)
	return c
}

// variance of quantity k.
func (c *carried) variance(k int) float64 {
	return max(mat.Dot(c.slopes.RowView(k), c.known.RowView(k)), 0)
}

// logStep is the step of differences in the parameters, most of which are
// logarithms.
const logStep = 1e-4

// steps are those for the circuit and the parts, on which quantities can depend,
// not for the takes' gains and corners.
func (j *joint) steps() []float64 {
	h := make([]float64, j.firstCorner)
	for i := range h {
		h[i] = logStep
	}
	return h
}

// bareSteps are those for quantities of the coil alone: the circuit and the
// fixture that is taken off.
func (j *joint) bareSteps() []float64 {
	h := make([]float64, j.firstCorner)
	for i := range j.firstPart {
		h[i] = logStep
	}
	if at := j.parts.firstFixture(); at >= 0 {
		h[j.firstPart+at] = logStep
	}
	return h
}

// of propagates to one quantity.
func (w *uncertainty) of(d derived) estimate {
	j := w.s.joint
	value := j.at(d, w.s.x)
	e := estimate{value: value}
	if math.IsNaN(value) {
		return e
	}
	c := w.carry(1, j.steps(), func(j *joint, x, dst []float64) {
		dst[0] = j.at(d, x)
		if !d.linear {
			dst[0] = math.Log(dst[0])
		}
	})
	e.gradient = c.slopes.RawRowView(0)
	for _, v := range e.gradient {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			// On the edge of existence: no uncertainty can be stated.
			e.value = math.NaN()
			return e
		}
	}
	variance := c.variance(0)
	e.shares = map[source]float64{}
	known := 0.0
	at := slices.Clone(w.s.x)
	e.byPrior = make([]float64, len(j.priors))
	for i := range j.priors {
		p := &j.priors[i]
		v := p.along(j, at, func(i int) float64 { return c.known.At(0, i) }) / p.u
		e.byPrior[i] = v
		e.shares[p.source] += v * v
		known += v * v
	}
	e.shares[sourceNoise] = max(0, variance-known)
	e.u = math.Sqrt(variance)
	if !d.linear {
		e.u *= value
		for k := range e.shares {
			e.shares[k] *= value * value
		}
		for i := range e.byPrior {
			e.byPrior[i] *= value
		}
	}
	return e
}

// sensitivities writes ∂f_k/∂x[i] into dst(k, i), by central differences of the
// step h[i] (JCGM 100:2008, 5.1.3, note 2); 0 where h[i] is 0 or not there,
// for inputs on which f does not depend. x comes back as it was. An entry is
// NaN or infinite where f has no value beside x.
func sensitivities(dst *mat.Dense, f func(x, dst []float64), x, h []float64) {
	count, _ := dst.Dims()
	dst.Zero()
	up, down := make([]float64, count), make([]float64, count)
	for i, step := range h {
		if step == 0 {
			continue
		}
		at := x[i]
		x[i] = at + step
		f(x, up)
		x[i] = at - step
		f(x, down)
		x[i] = at
		for k := range count {
			dst.Set(k, i, (up[k]-down[k])/(2*step))
		}
	}
}

// propagate is the covariance of quantities that follow from correlated
// inputs of covariance c, to first order; row i of sensitivities holds the
// derivatives of quantity i (JCGM 100:2008, 5.2.2 and H.2.3; JCGM 102:2011,
// 6.2).
func propagate(sensitivities mat.Matrix, c mat.Symmetric) *mat.SymDense {
	var half, full mat.Dense
	half.Mul(sensitivities, c)
	full.Mul(&half, sensitivities.T())
	n, _ := full.Dims()
	out := mat.NewSymDense(n, nil)
	for i := range n {
		out.SetSym(i, i, max(full.At(i, i), 0))
		for j := i + 1; j < n; j++ {
			out.SetSym(i, j, (full.At(i, j)+full.At(j, i))/2)
		}
	}
	return out
}

// branch is the winding branch R + s L(s) at the frequencies of meters and at the
// resonance of the take with nothing added, with the uncertainty of every other
// quantity: the fit's covariance and the spread of the models that the data
// cannot tell apart. Above the sweep nothing is known of the losses; below it L
// and R hold, since eddy currents fade with the square of the frequency.
func (a *analysis) branch(r *fit.Result) []fit.BranchPoint {
	_, high := a.sweptHz()
	list := fit.BranchHz()
	if hz, ok := a.unloadedResonance(); ok {
		list = append(list, hz)
	}
	var points []fit.BranchPoint
	for _, hz := range list {
		p := fit.BranchPoint{Hz: hz}
		judge := func(name string) fit.Quantity {
			switch {
			case !r.Inductance.Known():
				return fit.Unknown(r.Inductance.Why)
			case hz > high:
				return fit.Unknown(fmt.Sprintf("the sweep ends at %s, and what the losses are above it is not known",
					quantity.Format(high, quantity.Hertz, 3)))
			}
			return a.main(derived{name: name, hz: hz})
		}
		p.Inductance, p.Resistance = judge(nameBranchL), judge(nameBranchR)
		points = append(points, p)
	}
	return points
}

// unloadedResonance is the resonance of the first take with nothing added; ok is
// false where there is no such take, or the coil does not resonate in it.
func (a *analysis) unloadedResonance() (hz float64, ok bool) {
	for i, t := range a.request.takes {
		if t.Load.AddedC == nil && t.Load.AddedR == nil {
			if !a.best.joint.resonates(i, a.best.x) {
				return 0, false
			}
			return a.best.joint.at(derived{name: nameResonance, index: i}, a.best.x), true
		}
	}
	return 0, false
}
