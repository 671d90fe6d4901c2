package virtual

import (
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

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

	pushed []float64 // by state: what the inputs add to it after each sample of a chunk
	states []float64 // n for each sample of a chunk, and one more
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
		extended.Slice(0, n, 0, n).(*mat.Dense).Scale(h, s.a)
		extended.Slice(0, n, n, n+1).(*mat.Dense).Scale(h, s.b.Slice(0, n, in, in+1))
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
	st.pushed = make([]float64, chunk*n)
	st.states = make([]float64, (chunk+1)*n)
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
	length := len(st.inputs[0].buffer) - recent
	for from := 0; from < length; from += chunk {
		st.runChunk(dst, from, min(from+chunk, length))
	}
	for i := range st.inputs {
		path := &st.inputs[i]
		copy(path.buffer, path.buffer[length:])
		path.buffer = path.buffer[:recent]
	}
}

// chunk is how many samples are stepped over at a time: so few that all of it
// stays in a processor's first cache.
const chunk = 128

// runChunk is run for the samples from … to-1 of the block.
func (st *stepper) runChunk(dst [][]float64, from, to int) {
	n, length := st.n, to-from
	for i := range n {
		pushed := st.pushed[i*chunk : i*chunk+length]
		clear(pushed)
		for _, path := range st.inputs {
			weights := path.weights[i*path.points : (i+1)*path.points]
			convolve(pushed, path.buffer[from+now-(path.points-1)/2:], weights)
		}
	}
	states := st.states[:(length+1)*n]
	for t := range length {
		x, next := states[t*n:(t+1)*n], states[(t+1)*n:(t+2)*n]
		i := 0
		for ; i+1 < n; i += 2 { // two at a time, for speed
			a, b := st.step[i*n:i*n+len(x)], st.step[(i+1)*n:(i+1)*n+len(x)]
			sumA, sumB := st.pushed[i*chunk+t], st.pushed[(i+1)*chunk+t]
			for j, v := range x {
				sumA += a[j] * v
				sumB += b[j] * v
			}
			next[i], next[i+1] = sumA, sumB
		}
		if i < n {
			a := st.step[i*n : i*n+len(x)]
			sum := st.pushed[i*chunk+t]
			for j, v := range x {
				sum += a[j] * v
			}
			next[i] = sum
		}
	}
	for o, y := range dst {
		y = y[from:to]
		clear(y)
		for i, v := range st.out[o*n : (o+1)*n] {
			if v != 0 {
				for t := range y {
					y[t] += v * states[t*n+i]
				}
			}
		}
		for in, d := range st.direct[o] {
			if d != 0 {
				floats.AddScaled(y, d, st.inputs[in].buffer[from+now:from+now+len(y)])
			}
		}
	}
	copy(st.states[:n], states[length*n:])
}

// convolve adds the sum of weights[k] source[t+k] to dst[t].
func convolve(dst, source, weights []float64) {
	if len(weights) != smooth {
		for k, w := range weights {
			if w != 0 {
				floats.AddScaled(dst, w, source[k:k+len(dst)])
			}
		}
		return
	}
	w := [smooth]float64(weights)
	if w == [smooth]float64{} {
		return
	}
	source = source[:len(dst)+smooth-1]
	for t := range dst {
		u := source[t : t+smooth : t+smooth]
		dst[t] += ((w[0]*u[0] + w[1]*u[1]) + (w[2]*u[2] + w[3]*u[3])) +
			((w[4]*u[4] + w[5]*u[5]) + (w[6]*u[6] + w[7]*u[7]))
	}
}
