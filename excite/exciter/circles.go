package exciter

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// CircleMutualH is the mutual inductance in H of two coaxial circles of radii
// a and b at a distance d between their planes, by Maxwell's formula [4]
//
//	M = mu0 sqrt(ab) ((2/k - k) K - (2/k) E),  k² = 4ab/((a+b)² + d²).
//
// It is +Inf where the circles are one.
func CircleMutualH(aM, bM, dM float64) float64 {
	sum := aM + bM
	m := 4 * aM * bM / (sum*sum + dM*dM) // the parameter k² that mathext takes
	k := math.Sqrt(m)
	scale := Mu0 * math.Sqrt(aM*bM)
	switch {
	case m == 0:
		return 0
	case m >= 1:
		return math.Inf(1)
	case m < 1e-3:
		// Small or far circles: the series, since the formula's terms cancel.
		// K and E as power series in k² give these factors; the next term is
		// below 1e-12.
		return scale * math.Pi * k * m / 16 * (1 + m*(3.0/4+m*(75.0/128+m*(245.0/512))))
	}
	return scale * ((2/k-k)*mathext.CompleteK(m) - 2/k*mathext.CompleteE(m))
}
