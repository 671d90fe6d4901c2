package circuit

// MaxRings is the largest number of eddy-current loops that Gradient holds.
const MaxRings = 4

// Gradient holds the partial derivatives of Transfer or Impedance: with
// respect to the natural logarithm of each positive quantity (so dH/d ln L =
// L dH/dL), and to each share itself. Entries of parts that the coil does not
// have are 0.
type Gradient struct {
	LnInductance  complex128
	LnResistance  complex128
	LnCapacitance complex128 // all the C, its losses with it
	Admittance    complex128 // what is across the coil, itself
	LnLoad        complex128 // the load resistance
	RingShare     [MaxRings]complex128
	LnRingTime    [MaxRings]complex128
	CylinderShare complex128
	LnCylinder    complex128 // the solid core's time constant
	LnCoverTime   complex128
}

// TransferGradient is Transfer at p, with its partial derivatives in dst. The
// coil may have up to MaxRings rings; more are a mistake of the caller, and
// panic.
func (c *Coil) TransferGradient(p Point, load Load, dst *Gradient) complex128 {
	s, y := p.S, c.acrossAt(p, load)
	sl, shape := s*complex(c.InductanceH, 0), c.shapeGradient(s, dst)
	branch := complex(c.ResistanceOhm, 0) + sl*shape
	inverse := reciprocal(1 + branch*y)
	h := inverse
	if c.CoverTimeS != 0 {
		st := s * complex(c.CoverTimeS, 0)
		cover := reciprocal(1 + st)
		h *= cover
		dst.LnCoverTime = -h * st * cover
	}
	// H = 1/(D E), D = 1 + (R + s L) Y: dH = -H dD/D.
	fall := -h * inverse
	c.chain(dst, fall*y, sl, shape)
	dst.Admittance = fall * branch
	dst.LnCapacitance = dst.Admittance * (y - complex(load.Conductance(), 0))
	dst.LnLoad = -fall * branch * complex(load.Conductance(), 0)
	return h
}

// ImpedanceGradient is Impedance at p, with its partial derivatives in dst, for
// as many rings as TransferGradient. A cover does not change it.
func (c *Coil) ImpedanceGradient(p Point, load Load, dst *Gradient) complex128 {
	s, y := p.S, c.acrossAt(p, load)
	sl, shape := s*complex(c.InductanceH, 0), c.shapeGradient(s, dst)
	branch := complex(c.ResistanceOhm, 0) + sl*shape
	inverse := reciprocal(1 + branch*y)
	z := branch * inverse
	// Z = B/(1 + B Y): dZ = dB/(1 + B Y)² - Z² dY.
	c.chain(dst, inverse*inverse, sl, shape)
	dst.Admittance = -z * z
	dst.LnCapacitance = dst.Admittance * (y - complex(load.Conductance(), 0))
	dst.LnLoad = z * z * complex(load.Conductance(), 0)
	return z
}

// BranchGradient is R + s L(s), with its partial derivatives in dst, for as many rings as
// TransferGradient.
func (c *Coil) BranchGradient(s complex128, dst *Gradient) complex128 {
	sl, shape := s*complex(c.InductanceH, 0), c.shapeGradient(s, dst)
	c.chain(dst, 1, sl, shape)
	return complex(c.ResistanceOhm, 0) + sl*shape
}

// shapeGradient is L(s)/L, with its partial derivatives in dst.
func (c *Coil) shapeGradient(s complex128, dst *Gradient) complex128 {
	*dst = Gradient{}
	shape := complex(1, 0)
	for i, r := range c.Rings {
		st := s * complex(r.TimeS, 0)
		inverse := reciprocal(1 + st)
		part := st * inverse
		shape -= complex(r.Share, 0) * part
		dst.RingShare[i] = -part
		dst.LnRingTime[i] = -complex(r.Share, 0) * part * inverse
	}
	if c.Cylinder.Share != 0 || c.Cylinder.TimeS != 0 {
		z := s * complex(c.Cylinder.TimeS, 0)
		f, slope := cylinderShape(z)
		shape -= complex(c.Cylinder.Share, 0) * (1 - f)
		dst.CylinderShare = f - 1
		dst.LnCylinder = complex(c.Cylinder.Share, 0) * z * slope
	}
	return shape
}

// chain turns what shapeGradient wrote into the derivatives of something whose
// derivative by the branch R + sl shape is k.
func (c *Coil) chain(dst *Gradient, k, sl, shape complex128) {
	onL := k * sl
	dst.LnInductance = onL * shape
	dst.LnResistance = k * complex(c.ResistanceOhm, 0)
	for i := range c.Rings {
		dst.RingShare[i] *= onL
		dst.LnRingTime[i] *= onL
	}
	dst.CylinderShare *= onL
	dst.LnCylinder *= onL
}
