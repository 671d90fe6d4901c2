package fit

import (
	"gonum.org/v1/gonum/mat"
)

// sensitivity writes ∂f/∂x[i] into dst for as many of the first x as dst is
// long, by central differences of the step h[i] (JCGM 100:2008, 5.1.3, note
// 2). x comes back as it was. An entry is NaN or infinite where f has no value
// beside x.
func sensitivity(dst []float64, f func(x []float64) float64, x, h []float64) {
	for i := range dst {
		at := x[i]
		x[i] = at + h[i]
		up := f(x)
		x[i] = at - h[i]
		down := f(x)
		x[i] = at
		dst[i] = (up - down) / (2 * h[i])
	}
}

// propagate is the covariance of quantities that follow from correlated
// inputs of covariance c, to first order; row i of sensitivities holds the
// derivatives of quantity i (JCGM 100:2008, 5.2.2 and H.2.3; JCGM 102:2011,
// 6.2).
func propagate(sensitivities mat.Matrix, c mat.Symmetric) *mat.SymDense {
	var half, full mat.Dense
	half.Mul(sensitivities, c)
	full.Mul(&half, sensitivities.T())
	n, _ := full.Dims()
	out := mat.NewSymDense(n, nil)
	for i := range n {
		out.SetSym(i, i, max(full.At(i, i), 0))
		for j := i + 1; j < n; j++ {
			out.SetSym(i, j, (full.At(i, j)+full.At(j, i))/2)
		}
	}
	return out
}
