package joint

import (
	"math"

	"coilsweep/fit/circuit"
)

// prior is Gaussian knowledge of a linear combination of parameters: mostly of
// one, but a part measured with a meter depends on the meter's scale too. With
// meter set it is knowledge of what an LCR meter shows.
type prior struct {
	source  source
	columns [2]int // -1 for none
	factors [2]float64
	mean    float64
	u       float64
	part    int  // index of the part, -1 for others
	limit   bool // stated as a limit: rectangular
	meter   *meterInductance
}

// meterInductance is how a meter's inductance was read.
type meterInductance struct {
	hz       float64
	parallel bool
}

// value is what mean is the expectation of; s is scratch memory.
func (p *prior) value(s *state, x []float64) float64 {
	if p.meter != nil {
		return math.Log(p.meter.shown(s, x))
	}
	var v float64
	for k, c := range p.columns {
		if c >= 0 {
			v += p.factors[k] * x[c]
		}
	}
	return v
}

// slope hands the derivatives of value to set.
func (p *prior) slope(s *state, x []float64, set func(column int, d float64)) {
	if p.meter == nil {
		for k, c := range p.columns {
			if c >= 0 {
				set(c, p.factors[k])
			}
		}
		return
	}
	p.meter.slope(s, x, set)
}

// along is the derivative of value in the direction v.
func (p *prior) along(j *joint, x []float64, v func(column int) float64) float64 {
	var sum float64
	p.slope(newState(j), x, func(column int, d float64) { sum += d * v(column) })
	return sum
}

// setBare puts the coil alone at x into s.coil: all the C less the fixture's, or
// half of it where the fixture is not known. It returns how far ln of that C
// moves with ln of all the C and with ln of the fixture's.
func (m *meterInductance) setBare(s *state, x []float64) (byAll, byFixture float64) {
	s.setCoil(x)
	if !s.j.parts.fixtureKnown {
		s.coil.CapacitanceF /= 2
		return 1, 0
	}
	all, fixture := s.coil.CapacitanceF, s.j.loadOf(0, x).fixtureC
	s.coil.CapacitanceF = max(all-fixture, 0)
	if s.coil.CapacitanceF == 0 {
		return 0, 0
	}
	return all / s.coil.CapacitanceF, -fixture / s.coil.CapacitanceF
}

// shown is the inductance that the meter shows of the coil alone; s is scratch
// memory.
func (m *meterInductance) shown(s *state, x []float64) float64 {
	m.setBare(s, x)
	r := s.coil.Meter(m.hz, circuit.Open())
	if m.parallel {
		return r.ParallelInductanceH
	}
	return r.SeriesInductanceH
}

// slope hands the derivatives of ln shown to set: L_s = Im Z/w,
// L_p = -1/(w Im 1/Z), and d(1/Z) = -dZ/Z².
func (m *meterInductance) slope(s *state, x []float64, set func(column int, d float64)) {
	byAll, byFixture := m.setBare(s, x)
	z := s.coil.ImpedanceGradient(complex(0, 2*math.Pi*m.hz), circuit.Open(), &s.gradient)
	relative := func(dz complex128) float64 { return imag(dz) / imag(z) }
	if m.parallel {
		relative = func(dz complex128) float64 { return imag(dz/(z*z)) / imag(1/z) }
	}
	g, j := &s.gradient, s.j
	set(atL, relative(g.LnInductance))
	set(atR, relative(g.LnResistance))
	set(atC, byAll*relative(g.LnCapacitance))
	column := j.firstRing
	s.setShares(1, func(dz complex128) {
		set(column, relative(dz))
		column++
	})
	if byFixture != 0 {
		set(j.firstPart+j.parts.ofTake[0].fixtureC, byFixture*relative(g.LnCapacitance))
	}
}

// The sound card's ripple in a response, as limits within the band (common
// practice for the filters of converters): without a reference that of output and
// input, with one the difference between two inputs.
const (
	rippleDB   = 0.01
	mismatchDB = 0.003
)

// ripplePoints is the number of grid points over which ripple counts as the same:
// unlike noise it does not average out over them.
const ripplePoints = 30

// rippleU is the standard uncertainty, in neper, of a response from the sound
// card's ripple.
func (t Take) rippleU() float64 {
	limit := rippleDB
	switch {
	case t.Ideal:
		return 0
	case t.Referenced:
		limit = mismatchDB
	}
	return limit * math.Ln10 / 20 / math.Sqrt(3)
}

// cardVariance is what the ripple adds to the variance of one point, so that
// the fit does not lean on differences that are the sound card's.
func (t Take) cardVariance(h complex128) float64 {
	u := t.rippleU()
	return ripplePoints * u * u * (real(h)*real(h) + imag(h)*imag(h))
}
