package circuit

import (
	"math"
	"math/cmplx"
)

// cylinderShape is F(z) = 2 I1(q)/(q I0(q)), q = sqrt(z), and dF/dz: the mean
// field in a long solid cylinder over the field at its surface. F(0) = 1,
// F'(0) = -1/8.
func cylinderShape(z complex128) (f, derivative complex128) {
	if cmplx.Abs(z) < 1e-4 {
		// Taylor series; the next term is 11 z^4/30720... below 1e-19 here.
		return 1 - z/8 + z*z/48 - 11*z*z*z/3072, complex(-1.0/8, 0) + z/24 - 11*z*z/1024
	}
	q := cmplx.Sqrt(z)
	r := besselRatio(q)
	f = 2 * r / q
	// dr/dq = 1 - r/q - r^2 from I0' = I1 and I1' = I0 - I1/q.
	dr := 1 - r/q - r*r
	derivative = (2*dr/q - 2*r/(q*q)) / (2 * q)
	return f, derivative
}

// besselRatio is I1(q)/I0(q) for Re q > 0 by Gauss's continued fraction
// q/(2+) q^2/(4+) q^2/(6+) ..., evaluated from its tail (NIST Handbook of
// Mathematical Functions, 10.33).
func besselRatio(q complex128) complex128 {
	a := cmplx.Abs(q)
	if a > 60 {
		// Hankel's expansion (same, 10.40.1) of I1/I0.
		x := 1 / q
		i0 := 1 + x*(1.0/8+x*(9.0/128+x*(225.0/3072+x*(11025.0/98304+x*(893025.0/3932160)))))
		i1 := 1 + x*(-3.0/8+x*(-15.0/128+x*(-315.0/3072+x*(-14175.0/98304+x*(-1091475.0/3932160)))))
		return i1 / i0
	}
	n := 24 + int(math.Ceil(1.5*a))
	var tail complex128
	q2 := q * q
	for k := n; k >= 1; k-- {
		tail = q2 / (complex(float64(2*k), 0) + tail)
	}
	return tail / q
}
