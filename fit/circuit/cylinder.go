package circuit

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// cylinderShape is F(z) = 2 I1(q)/(q I0(q)), q = sqrt(z), and dF/dz: the mean
// field in a long solid cylinder over the field at its surface. F(0) = 1,
// F'(0) = -1/8. F is good to 2e-15 relative, dF/dz to 1e-13, for |arg z| up to
// 150 degrees (the poles lie on the negative real axis).
func cylinderShape(z complex128) (f, derivative complex128) {
	q := cmplx.Sqrt(z)
	size := cmplx.Abs(q)
	if real(q) > 20 || size > largestConfluent {
		return cylinderShapeLarge(q)
	}
	// With the confluent limit functions M(k) = 0F1(; k; z/4) (NIST Handbook of
	// Mathematical Functions, 10.39.9) F = M(2)/M(1) and M'(k) = M(k+1)/(4k).
	// Their three-term recurrence M(k) = M(k+1) + z/(4k(k+1)) M(k+2), run
	// downwards, loses nothing, and needs no division.
	n := 9 + int(1.4*size)
	zr, zi := real(z), imag(z)
	// m1, m2, m3 are M(k), M(k+1), M(k+2).
	m1r, m1i, m2r, m2i, m3r, m3i := 1.0, 0.0, 1.0, 0.0, 1.0, 0.0
	for k := n; k >= 1; k-- {
		c := confluentStep[k]
		cr, ci := c*zr, c*zi
		m3r, m3i, m2r, m2i, m1r, m1i = m2r, m2i, m1r, m1i, m1r+cr*m2r-ci*m2i, m1i+cr*m2i+ci*m2r
	}
	inverse := reciprocal(complex(m1r, m1i))
	f = complex(m2r, m2i) * inverse
	return f, complex(m3r/8, m3i/8)*inverse - f*f/4
}

const largestConfluent = 500

// confluentStep holds 1/(4k(k+1)).
var confluentStep = func() (c [10 + largestConfluent*7/5]float64) {
	for k := 1; k < len(c); k++ {
		c[k] = 0.25 / float64(k*(k+1))
	}
	return c
}()

// hankelRatio holds the coefficients of I1(q)/I0(q) = sum a_n q^-n for large
// q: the formal solution of the Riccati equation r' = 1 - r/q - r^2 that
// follows from I0' = I1, I1' = I0 - I1/q (same handbook, 10.29.3), equal to the
// quotient of the two Hankel expansions 10.40.1.
var hankelRatio = func() (a [22]float64) {
	a[0] = 1
	for n := 1; n < len(a); n++ {
		sum := float64(n-2) * -a[n-1]
		for i := 1; i < n; i++ {
			sum += a[i] * a[n-i]
		}
		a[n] = -sum / 2
	}
	return a
}()

// cylinderShapeLarge is cylinderShape for large Re q; it leaves out terms of
// exp(-2 Re q).
func cylinderShapeLarge(q complex128) (f, derivative complex128) {
	x := 1 / q
	var sum, slope complex128
	for n := len(hankelRatio) - 1; n >= 0; n-- {
		sum = sum*x + complex(hankelRatio[n], 0)
		slope = slope*x + complex(float64(n+1)*hankelRatio[n], 0)
	}
	return 2 * x * sum, -x * x * x * slope
}

// CylinderRings are n eddy-current loops that stand for the solid core: the
// Gauss quadrature of its continuous chain of loops, so that the first 2n
// terms of L(s) about s = 0 agree and the shares add up to the cylinder's.
// CylinderRingCount says how many are enough.
func CylinderRings(cylinder Ring, n int) []Ring {
	// F(z) = 1/(1 + c1 z/(1 + c2 z/(1 + ...))), ck = 1/(4k(k+1)), from Gauss's
	// continued fraction of I1/I0 (handbook 10.33.1). Its even part is the
	// Jacobi matrix whose eigenvalues are the rings' times over the cylinder's
	// and whose eigenvectors' first components squared are the shares (G. H.
	// Golub and J. H. Welsch, Math. Comp. 23 (1969) 221).
	c := func(k int) float64 { return 0.25 / float64(k*(k+1)) }
	matrix := mat.NewSymDense(n, nil)
	for i := range n {
		matrix.SetSym(i, i, c(2*i+1))
		if i > 0 {
			matrix.SetSym(i, i, c(2*i+1)+c(2*i))
			matrix.SetSym(i-1, i, math.Sqrt(c(2*i-1)*c(2*i)))
		}
	}
	var eigen mat.EigenSym
	rings := make([]Ring, n)
	if !eigen.Factorize(matrix, true) {
		// Not seen for a Jacobi matrix; one ring keeps the low-frequency loss.
		return append(rings[:0], Ring{Share: cylinder.Share, TimeS: cylinder.TimeS / 8})
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	for i, value := range eigen.Values(nil) {
		first := vectors.At(0, i)
		rings[n-1-i] = Ring{Share: cylinder.Share * first * first, TimeS: cylinder.TimeS * value}
	}
	return rings
}

// cylinderReach[n] is the largest w t at which n rings stand for the cylinder
// within 1e-6 of its share (from SciPy's Bessel functions).
var cylinderReach = [...]float64{0, 0.0139, 0.93, 5.5, 19, 47, 97, 180, 300, 490, 740, 1100, 1560}

// CylinderRingCount is the number of rings that stands for a solid cylinder of
// time constant timeS within 1e-6 of its share up to frequencyHz; beyond
// w t = 1560 it stays at 12 rings, and the error grows (3e-3 at worst).
func CylinderRingCount(timeS, frequencyHz float64) int {
	reach := 2 * math.Pi * frequencyHz * timeS
	for n, limit := range cylinderReach {
		if reach <= limit {
			return n
		}
	}
	return len(cylinderReach) - 1
}
