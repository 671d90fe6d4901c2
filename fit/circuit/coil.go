// Package circuit holds the coil, its loads and the meters on it as electrical
// circuits: the formulas, and only them.
//
// The induced EMF e drives R + s L(s); the coil's own C, the fixture and the
// added parts are connected across the terminals (v):
//
//	v/e = 1 / (1 + (R + s L(s)) (1/R_load + s C)) · 1/(1 + s t_cover)
//	L(s) = L [(1 - sum k_i) + sum k_i/(1 + s t_i)]            shorted rings
//	L(s) = L [(1 - k) + k F(s t)], F(z) = 2 I1(q)/(q I0(q)), q = sqrt(z)
//	                                                          solid cylinder
//
// A ring is an eddy-current loop, coupled to the coil and closed on itself; the
// cylinder is the diffusion into a solid round core (J. Lammeraner and M. Stafl,
// Eddy Currents, 1966; R. L. Stoll, The Analysis of Eddy Currents, 1974; both
// from memory). All quantities are in SI units, s = j w.
package circuit

import (
	"math"
	"math/cmplx"
)

// Ring is one eddy-current loop: the share k of the inductance that it can shield
// and its time constant t in s (corner 1/(2 pi t)).
type Ring struct {
	Share float64
	TimeS float64
}

// Coil is a coil as a circuit.
type Coil struct {
	InductanceH   float64 // low-frequency value
	ResistanceOhm float64
	CapacitanceF  float64 // the coil's own, across its terminals
	// CapacitanceLoss is its dissipation factor, that of the wire's enamel and of
	// what lies between: the same at all frequencies; 0: none.
	CapacitanceLoss float64
	Rings           []Ring
	// Cylinder is the loss of a solid core, in place of or beside eddy-current
	// loops; zero Share means none. TimeS is mu sigma radius^2.
	Cylinder Ring
	// CoverTimeS is the time constant of a conducting cover; 0: none.
	CoverTimeS float64
}

// Load is the load across the coil's terminals.
type Load struct {
	ResistanceOhm float64 // +Inf: none
	CapacitanceF  float64
	// LossF is the sum of the capacitances in it, each times its dissipation
	// factor.
	LossF float64
}

// Conductance is 1/R of the load in siemens.
func (l Load) Conductance() float64 {
	if math.IsInf(l.ResistanceOhm, 1) {
		return 0
	}
	return 1 / l.ResistanceOhm
}

// Inductance is L(s) in henry.
func (c Coil) Inductance(s complex128) complex128 {
	shape := complex(1, 0)
	for _, r := range c.Rings {
		st := s * complex(r.TimeS, 0)
		shape -= complex(r.Share, 0) * st * reciprocal(1+st)
	}
	if c.Cylinder.Share != 0 {
		f, _ := cylinderShape(s * complex(c.Cylinder.TimeS, 0))
		shape -= complex(c.Cylinder.Share, 0) * (1 - f)
	}
	return complex(c.InductanceH, 0) * shape
}

// reciprocal is 1/z for an ordinary z: the built-in division spends most of
// its time on zeros, infinities and NaN.
func reciprocal(z complex128) complex128 {
	d := real(z)*real(z) + imag(z)*imag(z)
	return complex(real(z)/d, -imag(z)/d)
}

// lossReferenceW is the angular frequency, that of 1 kHz, at which capacitances
// with losses have their stated size.
const lossReferenceW = 2 * math.Pi * 1000

// LossTerm is -(2/pi) s ln(s/w1) with w1 = 2 pi 1 kHz: times capacitance and
// dissipation factor, the admittance that a loss adds to s C. It is the causal one
// of which the factor is the same at all frequencies: w C d is its conductance, and
// the capacitance is C (1 - (2 d/pi) ln(w/w1)).
func LossTerm(s complex128) complex128 {
	if real(s) == 0 && imag(s) > 0 {
		w := imag(s)
		return complex(w, -2/math.Pi*w*math.Log(w/lossReferenceW))
	}
	return -2 / math.Pi * s * cmplx.Log(s/lossReferenceW)
}

// Point is a complex frequency S, with what of it a grid works out once.
type Point struct {
	S    complex128
	Loss complex128 // LossTerm
}

// At is the point at s.
func At(s complex128) Point { return Point{s, LossTerm(s)} }

// lossF is all capacitance times its dissipation factor.
func (c *Coil) lossF(load Load) float64 { return c.CapacitanceF*c.CapacitanceLoss + load.LossF }

// across is the admittance of capacitance and load across the coil.
func (c *Coil) across(s complex128, load Load) complex128 {
	if c.lossF(load) == 0 {
		return c.acrossAt(Point{S: s}, load)
	}
	return c.acrossAt(At(s), load)
}

func (c *Coil) acrossAt(p Point, load Load) complex128 {
	return complex(load.Conductance(), 0) + p.S*complex(c.CapacitanceF+load.CapacitanceF, 0) +
		complex(c.lossF(load), 0)*p.Loss
}

// Transfer is v/e at the complex frequency s.
func (c Coil) Transfer(s complex128, load Load) complex128 {
	return c.transfer(s, c.across(s, load))
}

// TransferAt is Transfer at p.
func (c *Coil) TransferAt(p Point, load Load) complex128 { return c.transfer(p.S, c.acrossAt(p, load)) }

// transfer is Transfer with the admittance y across the coil.
func (c *Coil) transfer(s, y complex128) complex128 {
	h := reciprocal(1 + (complex(c.ResistanceOhm, 0)+s*c.Inductance(s))*y)
	if c.CoverTimeS != 0 {
		h *= reciprocal(1 + s*complex(c.CoverTimeS, 0))
	}
	return h
}

func notFinite(x float64) bool { return math.IsNaN(x) || math.IsInf(x, 0) }
