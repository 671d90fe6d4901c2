package virtual

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// system is a linear network in state-space form,
//
//	dx/dt = A x + B u,  y = C x + D u,
//
// with time in seconds. Signals are in volts and amperes unless stated.
type system struct {
	a, b, c, d *mat.Dense
}

// newSystem is a system of zeros with the given numbers of states, inputs and
// outputs (each at least 1).
func newSystem(states, inputs, outputs int) system {
	return system{
		a: mat.NewDense(states, states, nil),
		b: mat.NewDense(states, inputs, nil),
		c: mat.NewDense(outputs, states, nil),
		d: mat.NewDense(outputs, inputs, nil),
	}
}

func (s system) states() int  { r, _ := s.a.Dims(); return r }
func (s system) inputs() int  { _, c := s.b.Dims(); return c }
func (s system) outputs() int { r, _ := s.c.Dims(); return r }

// wire passes its input on unchanged.
func wire() system {
	s := newSystem(1, 1, 1)
	s.a.Set(0, 0, -1) // a state that nothing drives and nobody reads
	s.d.Set(0, 0, 1)
	return s
}

// highPass is a first-order RC high-pass with the -3 dB corner at hz.
func highPass(hz float64) system {
	w := 2 * math.Pi * hz
	s := newSystem(1, 1, 1)
	s.a.Set(0, 0, -w) // voltage over the capacitor
	s.b.Set(0, 0, w)
	s.c.Set(0, 0, -1)
	s.d.Set(0, 0, 1)
	return s
}

// butterworthLowPass is a Butterworth low-pass of the given order with the
// -3 dB corner at hz (S. Butterworth, Experimental Wireless 7, 1930): poles
// evenly spread over the left half circle.
func butterworthLowPass(order int, hz float64) system {
	w := 2 * math.Pi * hz
	var stages []system
	if order%2 == 1 {
		s := newSystem(1, 1, 1)
		s.a.Set(0, 0, -w)
		s.b.Set(0, 0, w)
		s.c.Set(0, 0, 1)
		stages = append(stages, s)
	}
	for k := 1; k <= order/2; k++ {
		damping := math.Sin(math.Pi * float64(2*k-1) / float64(2*order))
		s := newSystem(2, 1, 1)
		s.a.Set(0, 1, w)
		s.a.Set(1, 0, -w)
		s.a.Set(1, 1, -2*damping*w)
		s.b.Set(1, 0, w)
		s.c.Set(0, 0, 1)
		stages = append(stages, s)
	}
	return chain(stages)
}

// chain is the stages one after the other; a wire where there are none.
func chain(stages []system) system {
	if len(stages) == 0 {
		return wire()
	}
	out := stages[0]
	for _, s := range stages[1:] {
		out = series(out, s)
	}
	return out
}

// series feeds the only output of first into the only input of second.
func series(first, second system) system {
	n, m := first.states(), second.states()
	s := newSystem(n+m, first.inputs(), second.outputs())
	s.a.Slice(0, n, 0, n).(*mat.Dense).Copy(first.a)
	s.a.Slice(n, n+m, n, n+m).(*mat.Dense).Copy(second.a)
	s.a.Slice(n, n+m, 0, n).(*mat.Dense).Mul(second.b, first.c)
	s.b.Slice(0, n, 0, first.inputs()).(*mat.Dense).Copy(first.b)
	s.b.Slice(n, n+m, 0, first.inputs()).(*mat.Dense).Mul(second.b, first.d)
	s.c.Slice(0, second.outputs(), 0, n).(*mat.Dense).Mul(second.d, first.c)
	s.c.Slice(0, second.outputs(), n, n+m).(*mat.Dense).Copy(second.c)
	s.d.Mul(second.d, first.d)
	return s
}

// response is output out per unit of input in at the frequency hz in steady
// state.
func (s system) response(in, out int, hz float64) complex128 {
	n := s.states()
	w := 2 * math.Pi * hz
	// (jw - A)(re + j im) = b, written in real numbers.
	lhs := mat.NewDense(2*n, 2*n, nil)
	rhs := mat.NewVecDense(2*n, nil)
	lhs.Slice(0, n, 0, n).(*mat.Dense).Scale(-1, s.a)
	lhs.Slice(n, 2*n, n, 2*n).(*mat.Dense).Scale(-1, s.a)
	for i := range n {
		lhs.Set(i, n+i, -w)
		lhs.Set(n+i, i, w)
		rhs.SetVec(i, s.b.At(i, in))
	}
	var x mat.VecDense
	// A badly scaled matrix still gives a solution; only hz at an undamped
	// pole has none, and every bench is damped.
	_ = x.SolveVec(lhs, rhs)
	sum := complex(s.d.At(out, in), 0)
	if x.IsEmpty() {
		return sum
	}
	for i := range n {
		sum += complex(s.c.At(out, i), 0) * complex(x.AtVec(i), x.AtVec(n+i))
	}
	return sum
}

// poles are the eigenvalues of A, in rad/s.
func (s system) poles() []complex128 {
	var eigen mat.Eigen
	if !eigen.Factorize(s.a, mat.EigenNone) {
		return nil
	}
	return eigen.Values(nil)
}
