package circuit

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// ErrNoSolution is the error of an Analysis whose equations have no unique
// solution at the frequency asked for.
var ErrNoSolution = errors.New("the network has no unique solution at this frequency: is it a loss-free resonance?")

// Analysis solves a Network by modified nodal analysis (C. W. Ho, A. E. Ruehli
// and P. A. Brennan, IEEE Trans. Circuits Syst. CAS-22 (1975) 504): unknown
// are the node voltages and the currents of sources, inductors and wires,
// (G + sC) x = b. It keeps its memory from one frequency to the next, and is
// not safe for concurrent use. Parts added to the network later do not count.
type Analysis struct {
	size     int
	constant []float64 // G, size x size, row by row
	slope    []float64 // C
	source   []complex128
	factors  []complex128
	order    []int
	filled   []int
	scale    []float64
	solution []complex128
	rise     []complex128 // d solution/ds
}

// NewAnalysis prepares the equations of n. Besides n.Err() its errors are parts
// without a path to ground, loops of sources and wires, and couplings that no set
// of windings can have.
func NewAnalysis(n *Network) (*Analysis, error) {
	if n.mistake != nil {
		return nil, n.mistake
	}
	if err := n.check(); err != nil {
		return nil, err
	}
	a := &Analysis{size: len(n.nodes) - 1}
	row := make([]int, len(n.parts))
	for i, p := range n.parts {
		if p.kind == inductor || p.fixesVoltage() {
			row[i] = a.size
			a.size++
		}
	}
	a.constant = make([]float64, a.size*a.size)
	a.slope = make([]float64, a.size*a.size)
	a.source = make([]complex128, a.size)
	a.factors = make([]complex128, a.size*a.size)
	a.order = make([]int, a.size)
	a.filled = make([]int, 0, a.size)
	a.scale = make([]float64, a.size)
	a.solution = make([]complex128, a.size)
	a.rise = make([]complex128, a.size)
	for i, p := range n.parts {
		a.stamp(n, p, row, i)
	}
	return a, nil
}

// fixesVoltage tells whether the part sets a voltage, whatever the current.
func (p part) fixesVoltage() bool {
	return p.kind == voltageSource || p.kind == voltageControlledSource || p.kind == resistor && p.value == 0
}

// stamp enters part number i into the equations.
func (a *Analysis) stamp(n *Network, p part, row []int, i int) {
	add := func(m []float64, i, k int, x float64) {
		if i >= 0 && k >= 0 {
			m[i*a.size+k] += x
		}
	}
	plus, minus := int(p.a)-1, int(p.b)-1
	admittance := func(m []float64, x float64) {
		add(m, plus, plus, x)
		add(m, minus, minus, x)
		add(m, plus, minus, -x)
		add(m, minus, plus, -x)
	}
	r := row[i]
	if p.kind == inductor || p.fixesVoltage() {
		add(a.constant, plus, r, 1)
		add(a.constant, minus, r, -1)
		add(a.constant, r, plus, 1)
		add(a.constant, r, minus, -1)
	}
	switch p.kind {
	case resistor:
		if p.value != 0 {
			admittance(a.constant, 1/p.value)
		}
	case capacitor:
		admittance(a.slope, p.value)
	case inductor:
		add(a.slope, r, r, -p.value)
	case coupling:
		m := p.value * math.Sqrt(n.parts[p.l1].value*n.parts[p.l2].value)
		add(a.slope, row[p.l1], row[p.l2], -m)
		add(a.slope, row[p.l2], row[p.l1], -m)
	case voltageSource:
		a.source[r] = p.amplitude
	case voltageControlledSource:
		add(a.constant, r, int(p.ca)-1, -p.value)
		add(a.constant, r, int(p.cb)-1, p.value)
	case currentSource:
		if plus >= 0 {
			a.source[plus] -= p.amplitude
		}
		if minus >= 0 {
			a.source[minus] += p.amplitude
		}
	}
}

// check names the parts that would leave the equations without a solution.
func (n *Network) check() error {
	if len(n.parts) == 0 {
		return errors.New("the network is empty")
	}
	connected, tied := newForest(len(n.nodes)), newForest(len(n.nodes))
	couplings := false
	for _, p := range n.parts {
		switch {
		case p.fixesVoltage():
			if !tied.join(int(p.a), int(p.b)) {
				return fmt.Errorf("%c%s closes a loop of wires and voltage sources", p.kind, p.name)
			}
			connected.join(int(p.a), int(p.b))
		case p.kind == coupling:
			couplings = true
		case p.kind != currentSource:
			connected.join(int(p.a), int(p.b))
		}
	}
	for i := range n.nodes {
		if connected.root(i) != connected.root(0) {
			return fmt.Errorf("node %s has no path to ground", n.nodes[i])
		}
	}
	if couplings {
		return n.checkCouplings()
	}
	return nil
}

// checkCouplings refuses a set of couplings that would give energy away: the
// matrix of coupling factors must be positive semidefinite.
func (n *Network) checkCouplings() error {
	at := map[int]int{}
	for _, p := range n.parts {
		if p.kind == coupling {
			for _, l := range [...]int{p.l1, p.l2} {
				if _, seen := at[l]; !seen {
					at[l] = len(at)
				}
			}
		}
	}
	k := mat.NewSymDense(len(at), nil)
	for i := range len(at) {
		k.SetSym(i, i, 1)
	}
	for _, p := range n.parts {
		if p.kind == coupling {
			k.SetSym(at[p.l1], at[p.l2], k.At(at[p.l1], at[p.l2])+p.value)
		}
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(k, false) || eigen.Values(nil)[0] < -1e-12 {
		return errors.New("the coupling factors contradict each other: no set of windings can have them all (three " +
			"windings, for example, cannot all be coupled by −1)")
	}
	return nil
}

// forest keeps which nodes belong together.
type forest []int

func newForest(n int) forest {
	f := make(forest, n)
	for i := range f {
		f[i] = i
	}
	return f
}

func (f forest) root(i int) int {
	for f[i] != i {
		f[i] = f[f[i]]
		i = f[i]
	}
	return i
}

// join is false where a and b belonged together before.
func (f forest) join(a, b int) bool {
	a, b = f.root(a), f.root(b)
	f[a] = b
	return a != b
}

// Solve finds the voltages and currents at the complex frequency s.
func (a *Analysis) Solve(s complex128) error {
	if err := a.factor(s); err != nil {
		return err
	}
	copy(a.solution, a.source)
	substitute(a.factors, a.order, a.solution)
	return nil
}

// SolveSlope is Solve and, for VoltageSlope, the derivatives by s:
// (G + sC) dx/ds = -C x.
func (a *Analysis) SolveSlope(s complex128) error {
	if err := a.Solve(s); err != nil {
		return err
	}
	for i := range a.rise {
		var sum complex128
		for k, c := range a.slope[i*a.size : (i+1)*a.size] {
			if c != 0 {
				x := a.solution[k]
				sum -= complex(c*real(x), c*imag(x))
			}
		}
		a.rise[i] = sum
	}
	substitute(a.factors, a.order, a.rise)
	return nil
}

// Voltage is the voltage of a node to ground, from the last Solve.
func (a *Analysis) Voltage(at Node) complex128 { return at.of(a.solution) }

// VoltageSlope is dV/ds of a node, from the last SolveSlope.
func (a *Analysis) VoltageSlope(at Node) complex128 { return at.of(a.rise) }

// of is the node's entry in a solution; ground has none.
func (n Node) of(solution []complex128) complex128 {
	if n == Ground {
		return 0
	}
	return solution[n-1]
}

// Poles are the natural frequencies of the network up to limitHz, in rad/s:
// the s at which G + sC is singular, each improved by Newton's iteration on
// its determinant. Multiple poles are less exact.
func (a *Analysis) Poles(limitHz float64) ([]complex128, error) {
	n := a.size
	var ratio mat.Dense
	err := ratio.Solve(mat.NewDense(n, n, append([]float64(nil), a.constant...)),
		mat.NewDense(n, n, append([]float64(nil), a.slope...)))
	if _, inaccurate := errors.AsType[mat.Condition](err); err != nil && !inaccurate {
		return nil, fmt.Errorf("poles of the network: %w", err)
	}
	if slices.ContainsFunc(ratio.RawMatrix().Data, notFinite) {
		return nil, errors.New("poles of the network: it has one at 0 Hz (a loop of coils without resistance, " +
			"or a capacitor without a path for direct current)")
	}
	var eigen mat.Eigen
	if !eigen.Factorize(&ratio, mat.EigenNone) {
		return nil, errors.New("poles of the network: the eigenvalues did not converge")
	}
	limit := 2 * math.Pi * limitHz
	var poles []complex128
	for _, x := range eigen.Values(nil) {
		s := -1 / x
		// Poles at infinity come out as large numbers.
		if !(cmplx.Abs(s) < 3*limit) {
			continue
		}
		if s = a.refinePole(s); cmplx.Abs(s) <= limit {
			poles = append(poles, s)
		}
	}
	return poles, nil
}

// refinePole is Newton's iteration on det(G + sC): d ln det/ds is the trace of
// (G + sC)^-1 C.
func (a *Analysis) refinePole(s complex128) complex128 {
	for range 6 {
		if a.factor(s) != nil {
			return s
		}
		var trace complex128
		for k := range a.size {
			for i := range a.size {
				a.rise[i] = complex(a.slope[i*a.size+k], 0)
			}
			substitute(a.factors, a.order, a.rise)
			trace += a.rise[k]
		}
		step := 1 / trace
		if !(cmplx.Abs(step) < 1e-2*cmplx.Abs(s)) {
			return s
		}
		s -= step
		if cmplx.Abs(step) < 1e-13*cmplx.Abs(s) {
			break
		}
	}
	return s
}

// factor makes L and U of G + sC by Gaussian elimination with scaled partial
// pivoting (G. H. Golub and C. F. Van Loan, Matrix Computations, section 3.4).
// The rows of U are kept divided by their pivots, the pivots inverted.
func (a *Analysis) factor(s complex128) error {
	n, m := a.size, a.factors
	sr, si := real(s), imag(s)
	for i, c := range a.constant {
		m[i] = complex(c+sr*a.slope[i], si*a.slope[i])
	}
	size := func(x complex128) float64 { return math.Abs(real(x)) + math.Abs(imag(x)) }
	for i := range n {
		largest := 0.0
		for _, x := range m[i*n : (i+1)*n] {
			largest = max(largest, size(x))
		}
		if !(largest > 0) || math.IsInf(largest, 0) {
			return ErrNoSolution
		}
		a.scale[i] = 1 / largest
	}
	for k := range n {
		pivot, best := k, 0.0
		for i := k; i < n; i++ {
			if x := size(m[i*n+k]) * a.scale[i]; x > best {
				pivot, best = i, x
			}
		}
		if !(best > 0) {
			return ErrNoSolution
		}
		a.order[k] = pivot
		top := m[k*n : (k+1)*n]
		if pivot != k {
			other := m[pivot*n : (pivot+1)*n]
			for j := range top {
				top[j], other[j] = other[j], top[j]
			}
			a.scale[pivot] = a.scale[k]
		}
		inverse := 1 / top[k]
		top[k] = inverse
		// Most of the matrix is empty, and stays so.
		filled := a.filled[:0]
		for j := k + 1; j < n; j++ {
			if top[j] != 0 {
				top[j] *= inverse
				filled = append(filled, j)
			}
		}
		for i := k + 1; i < n; i++ {
			row := m[i*n : (i+1)*n]
			f := row[k]
			if f == 0 {
				continue
			}
			for _, j := range filled {
				row[j] -= f * top[j]
			}
		}
	}
	return nil
}

// substitute solves with the factors of factor: b becomes the solution.
func substitute(factors []complex128, order []int, b []complex128) {
	n := len(b)
	for k, pivot := range order {
		b[k], b[pivot] = b[pivot], b[k]
	}
	for k := range n {
		x := b[k] * factors[k*n+k]
		b[k] = x
		if x == 0 {
			continue
		}
		for i := k + 1; i < n; i++ {
			if f := factors[i*n+k]; f != 0 {
				b[i] -= f * x
			}
		}
	}
	for k := n - 2; k >= 0; k-- {
		sum := b[k]
		for j, u := range factors[k*n+k+1 : (k+1)*n] {
			if u != 0 {
				sum -= u * b[k+1+j]
			}
		}
		b[k] = sum
	}
}
