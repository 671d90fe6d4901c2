package circuit

// MaxRings is the largest number of rings that Gradient holds.
const MaxRings = 4

// Gradient holds the partial derivatives of Transfer: with respect to the
// natural logarithm of each positive quantity (so dH/d ln L = L dH/dL), and to
// each share itself. Entries of parts that the coil does not have are 0.
type Gradient struct {
	LnInductance  complex128
	LnResistance  complex128
	LnCapacitance complex128 // all the C; times C_i/C for one part of it
	LnLoad        complex128 // the load resistance
	RingShare     [MaxRings]complex128
	LnRingTime    [MaxRings]complex128
	CylinderShare complex128
	LnCylinder    complex128 // the cylinder's time constant
	LnCoverTime   complex128
}

// TransferGradient is Transfer at s, with its partial derivatives in dst. The
// coil may have up to MaxRings rings; more are a mistake of the caller, and
// panic.
func (c *Coil) TransferGradient(s complex128, load Load, dst *Gradient) complex128 {
	*dst = Gradient{}
	y := complex(load.Conductance(), 0) + s*complex(c.CapacitanceF+load.CapacitanceF, 0)
	sl := s * complex(c.InductanceH, 0)
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
	onL := fall * sl * y
	dst.LnInductance = onL * shape
	dst.LnResistance = fall * complex(c.ResistanceOhm, 0) * y
	dst.LnCapacitance = fall * branch * s * complex(c.CapacitanceF+load.CapacitanceF, 0)
	dst.LnLoad = -fall * branch * complex(load.Conductance(), 0)
	for i := range c.Rings {
		dst.RingShare[i] *= onL
		dst.LnRingTime[i] *= onL
	}
	dst.CylinderShare *= onL
	dst.LnCylinder *= onL
	return h
}
