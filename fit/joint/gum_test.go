package joint

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// Simultaneous resistance and reactance: JCGM 100:2008, annex H.2, from the
// five sets of its table H.2 to the digits that tables H.2, H.3 and H.4 print.
func TestAnnexH2(t *testing.T) {
	const milliampere = 1e-3
	sets := mat.NewDense(5, 3, []float64{ // V in V, I in A, phi in rad
		5.007, 19.663 * milliampere, 1.0456,
		4.994, 19.639 * milliampere, 1.0438,
		5.005, 19.640 * milliampere, 1.0468,
		4.990, 19.685 * milliampere, 1.0428,
		4.999, 19.678 * milliampere, 1.0433,
	})
	formulas := []struct {
		name string
		of   func(x []float64) float64
	}{
		{"R", func(x []float64) float64 { return x[0] / x[1] * math.Cos(x[2]) }},
		{"X", func(x []float64) float64 { return x[0] / x[1] * math.Sin(x[2]) }},
		{"Z", func(x []float64) float64 { return x[0] / x[1] }},
	}
	// check compares with a printed figure: half a unit of its last digit,
	// or more where the guide's two approaches print differently.
	check := func(what string, got, want, half float64) {
		t.Helper()
		if math.Abs(got-want) > half {
			t.Errorf("%s is %.7g, printed %g", what, got, want)
		}
	}

	mean, c := observe(sets)
	check("mean V", mean[0], 4.9990, 0.00005)
	check("u(V)", standard(c, 0), 0.0032, 0.00005)
	check("mean I", mean[1], 19.6610*milliampere, 0.00005*milliampere)
	check("u(I)", standard(c, 1), 0.0095*milliampere, 0.00005*milliampere)
	check("mean phi", mean[2], 1.04446, 0.000005)
	check("u(phi)", standard(c, 2), 0.00075, 0.000005)
	check("r(V,I)", correlation(c, 0, 1), -0.36, 0.005)
	check("r(V,phi)", correlation(c, 0, 2), 0.86, 0.005)
	check("r(I,phi)", correlation(c, 1, 2), -0.65, 0.005)

	// Approach 1: the formulas at the means. u(X) prints as 0.295 in the
	// guide, whose text takes it from approach 2; this one gives 0.29558.
	value := make([]float64, len(formulas))
	gradients := mat.NewDense(len(formulas), 3, nil)
	steps := []float64{standard(c, 0), standard(c, 1), standard(c, 2)}
	all := func(x, dst []float64) {
		for i, f := range formulas {
			dst[i] = f.of(x)
		}
	}
	all(mean, value)
	sensitivities(gradients, all, mean, steps)
	// Approach 2: the formulas for each set, then the mean.
	each := mat.NewDense(5, len(formulas), nil)
	for k := range 5 {
		for i, f := range formulas {
			each.Set(k, i, f.of(sets.RawRowView(k)))
		}
	}
	value2, c2 := observe(each)
	for _, approach := range []struct {
		name  string
		value []float64
		c     *mat.SymDense
	}{
		{"approach 1", value, propagate(gradients, c)},
		{"approach 2", value2, c2},
	} {
		t.Run(approach.name, func(t *testing.T) {
			v, c := approach.value, approach.c
			for i, printed := range []struct{ value, u, half float64 }{
				{127.732, 0.071, 0.0005}, {219.847, 0.295, 0.001}, {254.260, 0.236, 0.0005},
			} {
				check(formulas[i].name, v[i], printed.value, 0.0005)
				check("u("+formulas[i].name+")", standard(c, i), printed.u, printed.half)
			}
			check("r(R,X)", correlation(c, 0, 1), -0.588, 0.0005)
			check("r(R,Z)", correlation(c, 0, 2), -0.485, 0.0005)
			check("r(X,Z)", correlation(c, 1, 2), 0.993, 0.0005)
		})
	}
}

// observe is the mean of simultaneous observations of several quantities, one
// row each time, and the covariance of that mean (JCGM 100:2008, 4.2 and
// 5.2.3). It wants two rows at least.
func observe(observations mat.Matrix) (mean []float64, c *mat.SymDense) {
	n, width := observations.Dims()
	mean = make([]float64, width)
	for i := range mean {
		for k := range n {
			mean[i] += observations.At(k, i) / float64(n)
		}
	}
	c = mat.NewSymDense(width, nil)
	for i := range width {
		for j := i; j < width; j++ {
			var sum float64
			for k := range n {
				sum += (observations.At(k, i) - mean[i]) * (observations.At(k, j) - mean[j])
			}
			c.SetSym(i, j, sum/float64(n*(n-1)))
		}
	}
	return mean, c
}

// standard is the standard uncertainty of quantity i of a covariance.
func standard(c mat.Symmetric, i int) float64 { return math.Sqrt(c.At(i, i)) }

// correlation is the correlation coefficient of two quantities of a
// covariance.
func correlation(c mat.Symmetric, i, j int) float64 {
	return c.At(i, j) / (standard(c, i) * standard(c, j))
}
