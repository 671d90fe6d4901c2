// Package leastsquares minimises sums of squares by the method of Levenberg
// (1944) and Marquardt (1963) in the trust-region form of J. J. Moré, "The
// Levenberg-Marquardt algorithm: implementation and theory", Lecture Notes in
// Mathematics 630, 1978. It knows nothing of the meaning of the residuals.
//
// Residuals come in blocks, each of which depends on some of the parameters
// only. A block's Jacobian is compressed to a triangle by Householder
// reflections, a few rows at a time, and the triangles are then joined (sequential
// QR), so the normal equations with their squared condition number are never
// solved for a step, and a block costs only for the parameters that it has.
//
// Steps are bent along curved valleys by geodesic acceleration (M. K. Transtrum
// and J. P. Sethna, "Improvements to the Levenberg-Marquardt algorithm for
// nonlinear least-squares minimization", arXiv:1201.5885, 2012).
package leastsquares

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// Block is a run of residuals that depend on the same parameters.
type Block struct {
	Residuals int
	// Columns are the indices of the parameters that the residuals depend on.
	Columns []int
	// Runs are the parts of the residuals, one after the other, of which each depends
	// on the first of Columns only, and on no fewer than the one before; nil: one run,
	// on all of them.
	Runs []Run
}

// Run is a part of a block's residuals: how many, and of how many of its Columns.
type Run struct{ Residuals, Columns int }

// Problem is a sum of squares.
type Problem struct {
	Parameters int
	Blocks     []Block
	// Evaluate writes the residuals of block b at the point p into r and,
	// unless jacobian is nil, ∂r[i]/∂p[Columns[j]] into its element (i, j), for j
	// within the columns of i's run.
	// A residual that is not finite marks p as outside the domain: the step
	// that led there is shortened.
	Evaluate func(b int, p, r []float64, jacobian *mat.Dense)
}

// Settings end the search. The zero value asks for the defaults.
type Settings struct {
	// MaxIterations, default 200.
	MaxIterations int
	// Tolerance is the part of the sum of squares that an undamped step still
	// promises to take away (the square of the relative offset of D. M. Bates
	// and D. G. Watts, Technometrics 23, 1981) at which the search ends;
	// default 1e-14.
	Tolerance float64
	// FirstRadius is the first trust region in units of the scaled start;
	// default 1: longer first steps can land where the Jacobian vanishes.
	FirstRadius float64
	// Polish ends with undamped Gauss-Newton steps for as long as they get
	// shorter. The sum of squares is flat at its minimum: by itself it fixes
	// the parameters to half the digits of the arithmetic only.
	Polish bool
	// Quick gives up after MaxIterations without a second, slower try.
	Quick bool
	// Worth is the reduction of the sum of squares that makes a step worth its
	// time: slowSteps running that bring less end the search. Along a flat valley an
	// undamped step promises more than any step can bring. Default: every step is.
	Worth float64
}

// slowSteps is the number of steps running that are not worth their time.
const slowSteps = 3

// Errors of Minimize.
var (
	// ErrIterations: the iterations were used up.
	ErrIterations = errors.New("no minimum within the iterations allowed")
	// ErrDomain: the residuals at the start are not finite.
	ErrDomain = errors.New("the residuals at the start are not finite")
	// ErrSingular: the Jacobian does not determine all parameters.
	ErrSingular = errors.New("the Jacobian is singular")
)

// Minimum is where a search ended.
type Minimum struct {
	P           []float64 // owned by the Solver until the next Minimize
	SumSquares  float64
	Iterations  int
	Evaluations int
}

// Solver holds the memory for repeated searches on one Problem. It is not safe
// for concurrent use.
type Solver struct {
	problem Problem
	blocks  []blockMemory

	n            int
	p, trial     []float64
	scale        []float64 // MINPACK's D: largest column norms so far
	step, scaled []float64
	joined       rotated        // of the Jacobian with the residual as last column
	r            blas64.General // its first n columns
	qtr          []float64
	damped       rotated
	few          []float64 // the rows that a triangle takes in
	column       []float64
	bend         []float64 // second-order part of the step
	gradient     []float64 // Jᵀ r beside the step
	behind       bool      // the triangle is not yet that at p
}

type blockMemory struct {
	runs     []Run
	jacobian *mat.Dense
	residual []float64
	triangle rotated // with the residual as last column
	beside   []float64
}

// NewSolver reserves the memory for problem. It panics where the problem's
// shape is impossible (no parameters, a column out of range).
func NewSolver(problem Problem) *Solver {
	n := problem.Parameters
	if n <= 0 || len(problem.Blocks) == 0 || problem.Evaluate == nil {
		panic("leastsquares: empty problem")
	}
	s := &Solver{problem: problem, n: n}
	longest := max(n, fewRows)
	for _, b := range problem.Blocks {
		k := len(b.Columns)
		for _, c := range b.Columns {
			if c < 0 || c >= n {
				panic(fmt.Sprintf("leastsquares: column %d of %d parameters", c, n))
			}
		}
		runs := b.Runs
		if runs == nil {
			runs = []Run{{b.Residuals, k}}
		}
		s.blocks = append(s.blocks, blockMemory{
			runs:     runs,
			jacobian: mat.NewDense(max(b.Residuals, 1), k, nil),
			residual: make([]float64, b.Residuals),
			triangle: newRotated(k + 1),
			beside:   make([]float64, b.Residuals),
		})
		longest = max(longest, k+1)
	}
	s.joined, s.damped = newRotated(n+1), newRotated(n+1)
	s.r = general(n, n)
	s.few = make([]float64, longest*(n+1))
	for _, v := range []*[]float64{&s.p, &s.trial, &s.scale, &s.step, &s.scaled, &s.qtr, &s.column, &s.bend,
		&s.gradient} {
		*v = make([]float64, n)
	}
	return s
}

func general(rows, cols int) blas64.General {
	return blas64.General{Rows: rows, Cols: cols, Stride: cols, Data: make([]float64, rows*cols)}
}

// Minimize searches from start. Beside ErrIterations the Minimum is the best
// point found.
func (s *Solver) Minimize(start []float64, settings Settings) (Minimum, error) {
	m, err := s.search(start, settings, true)
	if errors.Is(err, ErrIterations) && !settings.Quick {
		// A bend can lead down a valley without an end that straight steps
		// miss.
		bent := append([]float64(nil), m.P...)
		straight, straightErr := s.search(start, settings, false)
		if straightErr == nil || straight.SumSquares < m.SumSquares {
			m, err = straight, straightErr
		} else {
			m.SumSquares = s.Linearize(bent)
		}
	}
	if settings.Polish && err == nil {
		s.catchUp()
		s.polish(&m)
	}
	return m, err
}

// polish takes Gauss-Newton steps from the present point, which must be
// linearized, until they no longer shrink.
func (s *Solver) polish(m *Minimum) {
	last := math.Inf(1)
	for range 50 {
		if !s.solveDamped(0) {
			return
		}
		length := s.scaledNorm(s.step)
		if !(length < last) {
			return
		}
		last = length
		floats.AddTo(s.trial, s.p, s.step)
		sum := s.linearize(s.trial)
		m.Evaluations++
		if !finite(sum) || sum > m.SumSquares*(1+1e-9) {
			s.linearize(s.p)
			return
		}
		copy(s.p, s.trial)
		m.SumSquares = sum
	}
}

func (s *Solver) search(start []float64, settings Settings, bent bool) (Minimum, error) {
	if len(start) != s.n {
		panic("leastsquares: length of start")
	}
	maxIterations := cmp.Or(settings.MaxIterations, 200)
	tolerance, factor := cmp.Or(settings.Tolerance, 1e-14), cmp.Or(settings.FirstRadius, 1)
	copy(s.p, start)
	clear(s.scale)
	m := Minimum{P: s.p, Evaluations: 1}
	m.SumSquares = s.linearize(s.p)
	if !finite(m.SumSquares) {
		return m, ErrDomain
	}
	var radius, damping float64
	slow := 0
	for m.Iterations = 1; m.Iterations <= maxIterations; m.Iterations++ {
		s.growScale()
		if m.Iterations == 1 {
			radius = cmp.Or(factor*s.scaledNorm(s.p), factor)
		}
		if m.SumSquares == 0 || square(norm(s.qtr)) <= tolerance*m.SumSquares {
			return m, nil
		}
		for {
			damping = s.dampedStep(radius, damping)
			length := s.scaledNorm(s.step)
			floats.AddTo(s.trial, s.p, s.step)
			if bent && s.accelerate(damping, length) {
				floats.AddScaled(s.trial, 0.5, s.bend)
			}
			m.Evaluations++
			if m.Iterations == 1 {
				radius = min(radius, length)
			}
			sum := s.SumSquares(s.trial)
			m.Evaluations++
			predicted, slope := s.predict(m.SumSquares, damping, length)
			actual := -1.0
			if finite(sum) {
				actual = 1 - sum/m.SumSquares
			}
			ratio := 0.0
			if predicted != 0 {
				ratio = actual / predicted
			}
			switch {
			case ratio <= 0.25:
				shrink := 0.5
				if actual < 0 {
					shrink = 0.5 * slope / (slope + 0.5*actual)
				}
				if !finite(sum) || sum > 100*m.SumSquares || shrink < 0.1 || math.IsNaN(shrink) {
					shrink = 0.1
				}
				radius = shrink * min(radius, length/0.1)
				damping /= shrink
			case damping == 0 || ratio >= 0.75:
				radius = length / 0.5
				damping *= 0.5
			}
			accepted := ratio >= 1e-4
			if accepted {
				copy(s.p, s.trial)
				m.SumSquares = sum
			}
			// Where rounding hides the reduction that is still promised, the
			// minimum is as good as the arithmetic.
			hidden := math.Abs(actual) <= rounding && predicted <= rounding
			s.behind = accepted
			if hidden || radius <= rounding*s.scaledNorm(s.p) {
				return m, nil
			}
			if accepted {
				slow++
				if max(predicted, actual)*m.SumSquares >= settings.Worth {
					slow = 0
				}
				break
			}
			if m.Evaluations > 20*maxIterations {
				return m, ErrIterations
			}
		}
		if slow == slowSteps {
			return m, nil
		}
		if m.Iterations < maxIterations {
			s.catchUp()
		}
	}
	m.Iterations--
	return m, ErrIterations
}

// catchUp linearizes at the present point where that was put off: many a search is
// for its end alone.
func (s *Solver) catchUp() {
	if s.behind {
		s.linearize(s.p)
	}
}

// Linearize takes p as the point at which Covariance and Promise speak, without
// a search, and returns the sum of squares there.
func (s *Solver) Linearize(p []float64) float64 {
	copy(s.p, p)
	return s.linearize(s.p)
}

// SumSquares is the sum of squares at p.
func (s *Solver) SumSquares(p []float64) float64 {
	var sum float64
	for b := range s.blocks {
		r := s.blocks[b].residual
		s.problem.Evaluate(b, p, r, nil)
		for _, v := range r {
			sum += v * v
		}
	}
	return sum
}

// linearize evaluates residuals and Jacobian at p, leaves the triangle of the
// Jacobian in s.r and Qᵀ·residual in s.qtr, and returns the sum of squares.
func (s *Solver) linearize(p []float64) float64 {
	s.behind = false
	clear(s.joined.data)
	var sum float64
	for b := range s.blocks {
		m := &s.blocks[b]
		columns := s.problem.Blocks[b].Columns
		k := len(columns)
		s.problem.Evaluate(b, p, m.residual, m.jacobian)
		clear(m.triangle.data)
		first := 0
		for _, run := range m.runs {
			for end, rows := first+run.Residuals, 0; first < end; first += rows {
				rows = min(fewRows, end-first)
				for i := range rows {
					r := m.residual[first+i]
					sum += r * r
					for j, v := range m.jacobian.RawRowView(first + i)[:run.Columns] {
						s.few[j*rows+i] = v
					}
					s.few[run.Columns*rows+i] = r
				}
				m.triangle.takeIn(s.few, rows, run.Columns)
			}
		}
		clear(s.few)
		for i := range k + 1 {
			row := m.triangle.data[i*(k+1) : (i+1)*(k+1)]
			for j := i; j < k; j++ {
				s.few[columns[j]*(k+1)+i] = row[j]
			}
			s.few[s.n*(k+1)+i] = row[k]
		}
		s.joined.takeIn(s.few, k+1, s.n)
	}
	for i := range s.n {
		row := s.joined.data[i*(s.n+1) : (i+1)*(s.n+1)]
		copy(s.r.Data[i*s.n+i:(i+1)*s.n], row[i:s.n])
		s.qtr[i] = row[s.n]
	}
	return sum
}

// rotated is the upper triangle R of a QR decomposition, by rows.
type rotated struct {
	n     int
	data  []float64
	along []float64 // work: what a row has along a reflection
}

func newRotated(n int) rotated { return rotated{n, make([]float64, n*n), make([]float64, n)} }

// fewRows is the number of rows that a triangle takes in at once: with its columns
// they stay in a processor's nearest memory.
const fewRows = 128

// takeIn makes t the triangle of what it had and of further rows, which it
// overwrites: those of one column are beside each other, first so many columns and
// then t's last. In the columns between t must be empty above.
func (t rotated) takeIn(few []float64, rows, columns int) {
	last := t.n - 1
	for j := range columns + 1 {
		at := j
		if j == columns {
			at = last
		}
		v, top := few[j*rows:(j+1)*rows], t.data[at*t.n:(at+1)*t.n]
		below := floats.Dot(v, v)
		if below == 0 {
			continue
		}
		// Householder's reflection of (top[at], v) onto (beta, 0).
		alpha := top[at]
		beta := -math.Copysign(math.Sqrt(alpha*alpha+below), alpha)
		top[at] = beta
		if at == last {
			return
		}
		floats.Scale(1/(alpha-beta), v)
		tau := (beta - alpha) / beta
		later := columns - j
		rest := blas64.General{Rows: later, Cols: rows, Stride: rows, Data: few[(j+1)*rows : (columns+1)*rows]}
		reflection := blas64.Vector{N: rows, Inc: 1, Data: v}
		along := blas64.Vector{N: later, Inc: 1, Data: t.along[:later]}
		copy(along.Data, top[j+1:columns])
		along.Data[later-1] = top[last]
		blas64.Gemv(blas.NoTrans, tau, rest, reflection, tau, along)
		floats.Sub(top[j+1:columns], along.Data[:later-1])
		top[last] -= along.Data[later-1]
		blas64.Ger(-1, along, reflection, rest)
	}
}

// growScale keeps the largest norm that each column of the Jacobian has had.
func (s *Solver) growScale() {
	for j := range s.n {
		c := s.columnNorm(j)
		if s.scale[j] == 0 && c == 0 {
			c = 1
		}
		s.scale[j] = max(s.scale[j], c)
	}
}

func (s *Solver) columnNorm(j int) float64 {
	var sum float64
	for i := 0; i <= j; i++ {
		v := s.r.Data[i*s.n+j]
		sum += v * v
	}
	return math.Sqrt(sum)
}

// accelerate works out the second-order part of the step in s.step from the
// second directional derivative of the residuals, by a finite difference along
// the step. It reports false where the bend is not small beside the step.
func (s *Solver) accelerate(damping, length float64) bool {
	const h = 0.1 // of the step; recommended by Transtrum and Sethna
	n := s.n
	floats.AddScaledTo(s.column, s.p, h, s.step)
	clear(s.gradient)
	for b := range s.blocks {
		m := &s.blocks[b]
		s.problem.Evaluate(b, s.column, m.beside, nil)
		if slices.ContainsFunc(m.beside, func(v float64) bool { return !finite(v) }) {
			return false
		}
		columns, rows := s.problem.Blocks[b].Columns, m.jacobian.RawMatrix()
		beside := m.beside
		for _, run := range m.runs {
			rows.Rows, rows.Cols = run.Residuals, run.Columns
			sum := blas64.Vector{N: run.Columns, Inc: 1, Data: s.few[:run.Columns]}
			blas64.Gemv(blas.Trans, 1, rows, blas64.Vector{N: run.Residuals, Inc: 1, Data: beside}, 0, sum)
			for j, v := range sum.Data {
				s.gradient[columns[j]] += v
			}
			rows.Data, beside = rows.Data[run.Residuals*rows.Stride:], beside[run.Residuals:]
		}
	}
	// Qᵀ r is R⁻ᵀ Jᵀ r.
	blas64.Trsv(blas.Trans, upperTriangle(s.r), blas64.Vector{N: n, Inc: 1, Data: s.gradient})
	// Qᵀ(J δ) is R δ.
	for i := range n {
		var v float64
		for j := i; j < n; j++ {
			v += s.r.Data[i*n+j] * s.step[j]
		}
		s.column[i] = 2 / h * ((s.gradient[i]-s.qtr[i])/h - v)
	}
	s.step, s.bend = s.bend, s.step
	s.qtr, s.column = s.column, s.qtr
	ok := s.solveDamped(damping)
	s.qtr, s.column = s.column, s.qtr
	s.step, s.bend = s.bend, s.step
	return ok && 2*s.scaledNorm(s.bend) <= 0.75*length
}

// predict is the reduction of the sum of squares that the linear model
// promises for s.step, relative, and Moré's directional derivative.
func (s *Solver) predict(sum, damping, length float64) (reduction, slope float64) {
	var linear float64
	for i := range s.n {
		var v float64
		for j := i; j < s.n; j++ {
			v += s.r.Data[i*s.n+j] * s.step[j]
		}
		linear += v * v
	}
	linear /= sum
	damped := damping * length * length / sum
	return linear + 2*damped, -(linear + damped)
}

// dampedStep finds the damping λ for which the minimiser of
// |R δ + Qᵀr|² + λ|D δ|² has |D δ| within 10 % of radius (or λ = 0 where the
// undamped step is shorter), leaves δ in s.step and returns λ.
func (s *Solver) dampedStep(radius, damping float64) float64 {
	const near = 0.1
	lower, upper := 0.0, 0.0
	regular := s.solveDamped(0)
	if regular {
		excess := s.scaledNorm(s.step) - radius
		if excess <= near*radius {
			return 0
		}
		lower = excess / radius / s.newtonSlope(excess+radius, s.r)
	}
	for j := range s.n {
		var g float64
		for i := 0; i <= j; i++ {
			g += s.r.Data[i*s.n+j] * s.qtr[i]
		}
		s.column[j] = g / s.scale[j]
	}
	gradient := norm(s.column)
	upper = gradient / radius
	if upper == 0 {
		upper = math.SmallestNonzeroFloat64 / min(radius, near)
	}
	damping = min(max(damping, lower), upper)
	if damping == 0 {
		damping = gradient / max(s.scaledNorm(s.step), radius)
		damping = min(max(damping, 1e-3*upper), upper)
	}
	previous := math.Inf(1)
	for range 10 {
		if damping == 0 {
			damping = max(math.SmallestNonzeroFloat64, 1e-3*upper)
		}
		s.solveDamped(damping)
		length := s.scaledNorm(s.step)
		excess := length - radius
		if math.Abs(excess) <= near*radius || (lower == 0 && excess <= previous && previous < 0) {
			break
		}
		correction := excess / radius / s.newtonSlope(length, s.dampedR())
		if excess > 0 {
			lower = max(lower, damping)
		} else {
			upper = min(upper, damping)
		}
		previous = excess
		damping = max(lower, damping+correction)
	}
	return damping
}

// scaledNorm is the length of v in the metric of the scale, MINPACK's |D v|.
func (s *Solver) scaledNorm(v []float64) float64 { return norm(floats.MulTo(s.scaled, s.scale, v)) }

// newtonSlope is |T⁻ᵀ D² δ/|Dδ||² for the triangle T behind the present step.
func (s *Solver) newtonSlope(length float64, t blas64.General) float64 {
	if length == 0 {
		return math.Inf(1)
	}
	for j := range s.n {
		s.column[j] = s.scale[j] * s.scale[j] * s.step[j] / length
	}
	blas64.Trsv(blas.Trans, upperTriangle(t), blas64.Vector{N: s.n, Inc: 1, Data: s.column})
	return square(norm(s.column))
}

// solveDamped leaves the step for damping λ in s.step and, for λ > 0, its
// triangle in the top of s.damped. It reports false where λ = 0 and the
// Jacobian is singular to working precision; the step is then zero.
func (s *Solver) solveDamped(lambda float64) bool {
	n := s.n
	if lambda == 0 {
		for j := range n {
			if math.Abs(s.r.Data[j*n+j]) <= 1e-15*s.columnNorm(j) || s.r.Data[j*n+j] == 0 {
				clear(s.step)
				return false
			}
		}
		floats.ScaleTo(s.step, -1, s.qtr)
		blas64.Trsv(blas.NoTrans, upperTriangle(s.r), blas64.Vector{N: n, Inc: 1, Data: s.step})
		return true
	}
	copy(s.damped.data, s.joined.data)
	clear(s.few[:n*(n+1)])
	root := math.Sqrt(lambda)
	for i := range n {
		s.few[i*n+i] = root * s.scale[i]
		s.damped.data[i*(n+1)+n] = s.qtr[i]
	}
	s.damped.data[n*(n+1)+n] = 0
	s.damped.takeIn(s.few, n, n)
	for i := range n {
		s.step[i] = -s.damped.data[i*(n+1)+n]
	}
	blas64.Trsv(blas.NoTrans, upperTriangle(s.dampedR()), blas64.Vector{N: n, Inc: 1, Data: s.step})
	return true
}

// dampedR is the triangle of the Jacobian over the damping.
func (s *Solver) dampedR() blas64.General {
	return blas64.General{Rows: s.n, Cols: s.n, Stride: s.n + 1, Data: s.damped.data}
}

func upperTriangle(a blas64.General) blas64.Triangular {
	return blas64.Triangular{Uplo: blas.Upper, Diag: blas.NonUnit, N: a.Cols, Stride: a.Stride, Data: a.Data}
}

// Covariance writes (JᵀJ)⁻¹ at the last minimum into dst: the covariance of
// the parameters where the residuals have unit variance. ErrSingular where the
// Jacobian does not determine all parameters.
func (s *Solver) Covariance(dst *mat.SymDense) error {
	s.catchUp()
	n := s.n
	inverse := general(n, n)
	for j := range n {
		if d := math.Abs(s.r.Data[j*n+j]); d == 0 || d <= 1e-14*s.columnNorm(j) {
			return ErrSingular
		}
		for i := 0; i <= j; i++ {
			inverse.Data[i*n+j] = s.r.Data[i*n+j]
		}
	}
	if !lapack64.Trtri(upperTriangle(inverse)) {
		return ErrSingular
	}
	dst.Reset()
	dst.ReuseAsSym(n)
	for i := range n {
		for j := i; j < n; j++ {
			var sum float64
			for k := j; k < n; k++ {
				sum += inverse.Data[i*n+k] * inverse.Data[j*n+k]
			}
			dst.SetSym(i, j, sum)
		}
	}
	return nil
}

// Step writes the undamped step from the last minimum into dst; ErrSingular as
// Covariance.
func (s *Solver) Step(dst []float64) error {
	s.catchUp()
	if !s.solveDamped(0) {
		return ErrSingular
	}
	copy(dst, s.step)
	return nil
}

// Promise is the reduction of the sum of squares that an undamped step from the
// last minimum promises.
func (s *Solver) Promise() float64 {
	s.catchUp()
	return square(norm(s.qtr))
}

func norm(v []float64) float64 {
	return blas64.Nrm2(blas64.Vector{N: len(v), Inc: 1, Data: v})
}

// rounding is the relative change of a sum of squares that cannot be told from
// rounding.
const rounding = 1e-15

func square(x float64) float64 { return x * x }

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
