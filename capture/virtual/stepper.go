package virtual

import "gonum.org/v1/gonum/mat"

// Points of an input's polynomial between two samples.
const (
	// smooth: the polynomial of degree 7 through the eight nearest samples.
	// At four samples a period of 48 kHz its error for a sine of 20 kHz is
	// below 4e-5 (0.0003 dB), and falls with the eighth power of frequency.
	smooth = 8
	// linear: a straight line; error (w h)^2/12, enough for mains hum.
	linear = 2
	// held: a constant; for white noise, whose level then falls by
	// sinc^2(f h): 0.13 dB at 18 kHz.
	held = 1
)

// lag is by how many samples the output of a stepper trails its input: the
// samples ahead that the smooth polynomial needs.
const lag = smooth / 2

// stepper moves a system on in steps of h seconds, exactly for inputs that are
// polynomials between the samples: the matrix exponential of the network
// extended by the chain of derivatives of each input (C. Van Loan, IEEE Trans.
// Automatic Control 23, 1978).
type stepper struct {
	n      int         // states
	step   []float64   // n by n, by rows: the state one step on
	inputs []inputPath // how each input moves the state
	out    []float64   // one row of n for each output
	direct [][]float64 // [output][input]

	states []float64 // n for each sample of a block, and one more
}

// inputPath is the way of one input into the state.
type inputPath struct {
	points  int
	weights []float64 // for each state: one for each point
	buffer  []float64 // smooth-1 old samples, then the block
}

// recent is how many samples of the block before are kept.
const recent = smooth - 1

// now is where in a buffer of recent samples and more the present one stands
// that is answered with the first output.
const now = recent / 2

// newStepper discretises s; points says for each input how its course between
// the samples is taken.
func newStepper(s system, h float64, points []int) *stepper {
	n := s.states()
	st := &stepper{n: n, step: make([]float64, n*n)}
	for in, p := range points {
		// State, then the value of the input and its derivatives, in units of
		// one step.
		extended := mat.NewDense(n+p, n+p, nil)
		for i := range n {
			for j := range n {
				extended.Set(i, j, h*s.a.At(i, j))
			}
			extended.Set(i, n, h*s.b.At(i, in))
		}
		for j := range p - 1 {
			extended.Set(n+j, n+j+1, 1)
		}
		var exp mat.Dense
		exp.Exp(extended)
		derivatives := lagrangeDerivatives(p)
		path := inputPath{points: p, weights: make([]float64, n*p), buffer: make([]float64, recent)}
		for i := range n {
			for j := range n {
				st.step[i*n+j] = exp.At(i, j)
			}
			for k := range p {
				for j := range p {
					path.weights[i*p+k] += exp.At(i, n+j) * derivatives[j][k]
				}
			}
		}
		st.inputs = append(st.inputs, path)
	}
	for o := range s.outputs() {
		st.out = append(st.out, mat.Row(nil, o, s.c)...)
		st.direct = append(st.direct, mat.Row(nil, o, s.d))
	}
	st.states = make([]float64, n)
	return st
}

// lagrangeDerivatives[j][k] is the j-th derivative at 0 of the polynomial that
// is 1 at node k and 0 at the others; the p nodes are whole numbers about the
// interval 0 … 1, 0 being number (p-1)/2.
func lagrangeDerivatives(p int) [][]float64 {
	d := make([][]float64, p)
	for j := range d {
		d[j] = make([]float64, p)
	}
	first := -(p - 1) / 2
	for k := range p {
		coefficients := []float64{1} // ascending powers
		for m := range p {
			if m == k {
				continue
			}
			root, scale := float64(first+m), float64(k-m)
			longer := make([]float64, len(coefficients)+1)
			for i, c := range coefficients {
				longer[i] -= c * root / scale
				longer[i+1] += c / scale
			}
			coefficients = longer
		}
		factorial := 1.0
		for j, c := range coefficients {
			if j > 1 {
				factorial *= float64(j)
			}
			d[j][k] = c * factorial
		}
	}
	return d
}

// input is where the caller puts the next block of input i, length samples.
func (st *stepper) input(i, length int) []float64 {
	path := &st.inputs[i]
	if cap(path.buffer) < recent+length {
		grown := make([]float64, recent+length)
		copy(grown, path.buffer[:recent])
		path.buffer = grown
	}
	path.buffer = path.buffer[:recent+length]
	return path.buffer[recent:]
}

// run steps over the blocks that were put into every input and writes the
// outputs, lag samples late, to dst: one slice for each output, all of the
// length of the block.
func (st *stepper) run(dst ...[]float64) {
	n := st.n
	length := len(st.inputs[0].buffer) - recent
	if cap(st.states) < (length+1)*n {
		grown := make([]float64, (length+1)*n)
		copy(grown, st.states[:n])
		st.states = grown
	}
	st.states = st.states[:(length+1)*n]

	// What the inputs add to the state after each sample, written where that
	// state will stand; then the states, one from the other.
	clear(st.states[n:])
	for _, path := range st.inputs {
		source := path.buffer[now-(path.points-1)/2:]
		for i := range n {
			convolve(st.states[n+i:], n, source, path.weights[i*path.points:(i+1)*path.points], length)
		}
	}
	for t := range length {
		x, next := st.states[t*n:(t+1)*n], st.states[(t+1)*n:(t+2)*n]
		for i := range next {
			row := st.step[i*n : i*n+len(x)]
			sum := next[i]
			for j, v := range x {
				sum += row[j] * v
			}
			next[i] = sum
		}
	}
	for o, y := range dst {
		c := st.out[o*n : (o+1)*n]
		for t := range y {
			x := st.states[t*n : t*n+len(c)]
			sum := 0.0
			for i, v := range c {
				sum += v * x[i]
			}
			y[t] = sum
		}
		for in, d := range st.direct[o] {
			if d != 0 {
				for t, u := range st.inputs[in].buffer[now : now+len(y)] {
					y[t] += d * u
				}
			}
		}
	}
	copy(st.states[:n], st.states[length*n:])
	for i := range st.inputs {
		path := &st.inputs[i]
		copy(path.buffer, path.buffer[length:])
		path.buffer = path.buffer[:recent]
	}
}

// convolve adds the sum of weights[k] source[t+k] to every stride-th element of
// dst, length times.
func convolve(dst []float64, stride int, source, weights []float64, length int) {
	zero := true
	for _, w := range weights {
		zero = zero && w == 0
	}
	if zero {
		return
	}
	if len(weights) != smooth {
		for k, w := range weights {
			for t, u := range source[k : k+length] {
				dst[t*stride] += w * u
			}
		}
		return
	}
	w := [smooth]float64(weights)
	for t := range length {
		u := source[t : t+smooth : t+smooth]
		dst[t*stride] += ((w[0]*u[0] + w[1]*u[1]) + (w[2]*u[2] + w[3]*u[3])) +
			((w[4]*u[4] + w[5]*u[5]) + (w[6]*u[6] + w[7]*u[7]))
	}
}
