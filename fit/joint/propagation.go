package joint

import (
	"gonum.org/v1/gonum/mat"
)

// sensitivities writes ∂f_k/∂x[i] into dst(k, i), by central differences of the
// step h[i] (JCGM 100:2008, 5.1.3, note 2); 0 where h[i] is 0 or not there,
// for inputs on which f does not depend. x comes back as it was. An entry is
// NaN or infinite where f has no value beside x.
func sensitivities(dst *mat.Dense, f func(x, dst []float64), x, h []float64) {
	count, _ := dst.Dims()
	dst.Zero()
	up, down := make([]float64, count), make([]float64, count)
	for i, step := range h {
		if step == 0 {
			continue
		}
		at := x[i]
		x[i] = at + step
		f(x, up)
		x[i] = at - step
		f(x, down)
		x[i] = at
		for k := range count {
			dst.Set(k, i, (up[k]-down[k])/(2*step))
		}
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
