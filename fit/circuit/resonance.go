package circuit

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// LCFrequency is 1/(2 pi sqrt(L C)) in Hz with the low-frequency L and all the
// C; +Inf without a capacitance.
func (c Coil) LCFrequency(load Load) float64 {
	return 1 / (2 * math.Pi * math.Sqrt(c.InductanceH*(c.CapacitanceF+load.CapacitanceF)))
}

// Plateau is |v/e| at low frequency: R_load/(R + R_load).
func (c Coil) Plateau(load Load) float64 {
	return 1 / (1 + c.ResistanceOhm*load.Conductance())
}

// Resonance is the modulus, in Hz, and the Q of the dominant pole pair of the
// coil with its load; Q is +Inf without any loss. ok is false where all the
// poles are real (overdamped) or a quantity is not finite. The cover is no part
// of it: it only filters the EMF.
//
// There is never more than one pair to choose from: the branch of R, L, rings
// and cylinder is a passive R-L one-port, its admittance a sum of real poles
// with positive residues, and between neighbours of those the sum
// G + sC + sum r_i/(s + p_i) has a real zero, which leaves two zeros that can
// be complex.
func (c Coil) Resonance(load Load) (frequencyHz, q float64, ok bool) {
	s, ok := c.pole(load)
	if !ok {
		return 0, 0, false
	}
	w := cmplx.Abs(s)
	return w / (2 * math.Pi), w / (-2 * real(s)), true
}

// leastImaginary is Im s/|s| from which a root counts as one of a pair (Q
// closer to 1/2 than 1e-12).
const leastImaginary = 1e-6

// pole is the pole of the pair in the upper half-plane.
func (c Coil) pole(load Load) (s complex128, ok bool) {
	g, farad := load.Conductance(), c.CapacitanceF+load.CapacitanceF
	if !(c.InductanceH > 0 && farad > 0) || math.IsInf(g, 0) {
		return 0, false
	}
	w0 := 1 / math.Sqrt(c.InductanceH*farad)
	if !c.hasEddy() && c.lossF(load) == 0 {
		damping := (c.ResistanceOhm*farad + c.InductanceH*g) * w0 / 2
		stiffness := 1 + c.ResistanceOhm*g
		// (1 - a)(1 + a) keeps its digits near Q = 1/2.
		a := damping / math.Sqrt(stiffness)
		below := (1 - a) * (1 + a)
		if !(below > 0) {
			return 0, false
		}
		return complex(-damping*w0, w0*math.Sqrt(stiffness*below)), true
	}
	// With L(s) held, the pair is that of a quadratic; L(s) moves little.
	s = complex(0, w0)
	for range 2 {
		s = c.quadraticPole(s, g, farad)
	}
	if s, ok = c.refinePole(s, load); ok {
		return s, true
	}
	for _, start := range c.ringPoles(load) {
		if s, ok = c.refinePole(start, load); ok {
			return s, true
		}
	}
	return 0, false
}

func (c Coil) hasEddy() bool { return len(c.Rings) > 0 || c.Cylinder.Share != 0 }

// quadraticPole is the upper zero of 1 + (R + s L)(G + s C), L taken at s.
func (c Coil) quadraticPole(s complex128, g, farad float64) complex128 {
	l := c.Inductance(s)
	a2 := l * complex(farad, 0)
	a1 := complex(c.ResistanceOhm*farad, 0) + l*complex(g, 0)
	a0 := complex(1+c.ResistanceOhm*g, 0)
	root := cmplx.Sqrt(a1*a1 - 4*a2*a0)
	one, other := (-a1+root)/(2*a2), (-a1-root)/(2*a2)
	if imag(other) > imag(one) {
		return other
	}
	return one
}

// refinePole is Newton's iteration on the denominator. ok is true where it
// settled on a passive pole off the real axis.
func (c Coil) refinePole(s complex128, load Load) (complex128, bool) {
	for range 40 {
		d, slope := c.denominator(s, load)
		step := d / slope
		if cmplx.IsNaN(step) || cmplx.IsInf(step) {
			return 0, false
		}
		// A long step would leave the neighbourhood in which it is valid.
		if size, limit := cmplx.Abs(step), cmplx.Abs(s)/3; size > limit {
			step *= complex(limit/size, 0)
		}
		s -= step
		if cmplx.Abs(step) < 1e-11*cmplx.Abs(s) {
			// Quadratic convergence: one step more is exact.
			d, slope = c.denominator(s, load)
			s -= d / slope
			return s, imag(s) > leastImaginary*cmplx.Abs(s) && real(s) <= 0
		}
		if imag(s) <= 0 {
			return 0, false
		}
	}
	return 0, false
}

// denominator is D(s) = 1 + (R + s L(s)) (G + s C) of Transfer without the
// cover, and dD/ds.
func (c Coil) denominator(s complex128, load Load) (d, slope complex128) {
	l, lSlope := c.inductanceSlope(s)
	farad := complex(c.CapacitanceF+load.CapacitanceF, 0)
	y := c.across(s, load)
	z := complex(c.ResistanceOhm, 0) + s*l
	if loss := c.lossF(load); loss != 0 {
		farad += complex(loss, 0) * (LossTerm(s)/s - 2/math.Pi)
	}
	return 1 + z*y, (l+s*lSlope)*y + z*farad
}

// inductanceSlope is L(s) and dL/ds.
func (c Coil) inductanceSlope(s complex128) (l, slope complex128) {
	shape := complex(1, 0)
	for _, r := range c.Rings {
		inverse := 1 / (1 + s*complex(r.TimeS, 0))
		shape -= complex(r.Share, 0) * (s * complex(r.TimeS, 0)) * inverse
		slope -= complex(r.Share*r.TimeS, 0) * inverse * inverse
	}
	if c.Cylinder.Share != 0 {
		f, df := cylinderShape(s * complex(c.Cylinder.TimeS, 0))
		shape -= complex(c.Cylinder.Share, 0) * (1 - f)
		slope += complex(c.Cylinder.Share*c.Cylinder.TimeS, 0) * df
	}
	h := complex(c.InductanceH, 0)
	return h * shape, h * slope
}

// ringPoles are the complex poles in the upper half-plane, found as the
// eigenvalues of the state matrix of the coil with its eddy-current loops (a
// solid core as eight loops): the slow way, for starts that Newton's iteration
// could not find.
func (c Coil) ringPoles(load Load) []complex128 {
	rings := make([]Ring, 0, len(c.Rings)+8)
	for _, r := range c.Rings {
		if r.Share != 0 && r.TimeS > 0 {
			rings = append(rings, r)
		}
	}
	if c.Cylinder.Share != 0 {
		rings = append(rings, CylinderRings(c.Cylinder, 8)...)
	}
	farad := c.CapacitanceF + load.CapacitanceF
	w0 := 1 / math.Sqrt(c.InductanceH*farad)
	// Coefficients of P(p) = [1 + (R + sL(s))(G + sC)] prod(1 + s t), s = p w0,
	// lowest power first.
	times := func(a []float64, b ...float64) []float64 {
		product := make([]float64, len(a)+len(b)-1)
		for i, x := range a {
			for j, y := range b {
				product[i+j] += x * y
			}
		}
		return product
	}
	all, shape := []float64{1}, []float64{1}
	for _, r := range rings {
		all = times(all, 1, r.TimeS*w0)
		shape[0] -= r.Share
	}
	shape = times(shape, all...)
	for i, r := range rings {
		others := []float64{r.Share}
		for j, o := range rings {
			if j != i {
				others = times(others, 1, o.TimeS*w0)
			}
		}
		floats.Add(shape[:len(others)], others)
	}
	branch := times([]float64{0, c.InductanceH * w0}, shape...)
	for k, x := range all {
		branch[k] += c.ResistanceOhm * x
	}
	p := times(branch, load.Conductance(), farad*w0)
	floats.Add(p[:len(all)], all)
	for len(p) > 1 && !(math.Abs(p[len(p)-1]) > 0) {
		p = p[:len(p)-1]
	}
	degree := len(p) - 1
	if degree < 2 {
		return nil
	}
	companion := mat.NewDense(degree, degree, nil)
	for i := range degree {
		companion.Set(0, i, -p[degree-1-i]/p[degree])
		if i > 0 {
			companion.Set(i, i-1, 1)
		}
	}
	if slices.ContainsFunc(companion.RawMatrix().Data, notFinite) {
		return nil
	}
	var eigen mat.Eigen
	if !eigen.Factorize(companion, mat.EigenNone) {
		return nil
	}
	var upper []complex128
	for _, root := range eigen.Values(nil) {
		if imag(root) > leastImaginary*cmplx.Abs(root) {
			upper = append(upper, root*complex(w0, 0))
		}
	}
	return upper
}
