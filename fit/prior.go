package fit

import (
	"math"

	"coilsweep/fit/circuit"
)

// prior is Gaussian knowledge of a linear combination of parameters: mostly of
// one, but a part valued with a meter hangs on the meter's scale too. With
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
		return math.Log(p.meter.shownBy(s, x))
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
	// The circuit's parameters and the fixture's.
	const h = 1e-5
	for c := range s.j.firstCorner {
		was := x[c]
		x[c] = was + h
		up := p.value(s, x)
		x[c] = was - h
		down := p.value(s, x)
		x[c] = was
		set(c, (up-down)/(2*h))
	}
}

// along is the derivative of value in the direction v.
func (p *prior) along(j *joint, x []float64, v func(column int) float64) float64 {
	var sum float64
	p.slope(newState(j), x, func(column int, d float64) { sum += d * v(column) })
	return sum
}

// shown is the inductance that the meter shows of the bare coil: all the C less
// the fixture's, or half of it where the fixture is not known.
func (m *meterInductance) shown(j *joint, x []float64) float64 {
	return m.shownBy(newState(j), x)
}

// shownBy is shown with the memory of s.
func (m *meterInductance) shownBy(s *state, x []float64) float64 {
	s.setCoil(x)
	if s.j.parts.fixtureKnown {
		s.coil.CapacitanceF = max(s.coil.CapacitanceF-s.j.loadOf(0, x).fixtureC, 0)
	} else {
		s.coil.CapacitanceF /= 2
	}
	r := s.coil.Meter(m.hz, circuit.Open())
	if m.parallel {
		return r.ParallelInductanceH
	}
	return r.SeriesInductanceH
}
