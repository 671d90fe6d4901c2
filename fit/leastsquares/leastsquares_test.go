package leastsquares

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// line is y = a + b x over two blocks that share a and have a slope each.
func line(x []float64) Problem {
	return Problem{
		Parameters: 3,
		Blocks:     []Block{{Residuals: len(x), Columns: []int{0, 1}}, {Residuals: len(x), Columns: []int{0, 2}}},
		Evaluate: func(b int, p, r []float64, j *mat.Dense) {
			slope := 2.0 + float64(b)
			for i, v := range x {
				noise := 0.01 * math.Sin(float64(7*i+3*b))
				r[i] = p[0] + p[1+b]*v - (1 + slope*v + noise)
				if j != nil {
					j.Set(i, 0, 1)
					j.Set(i, 1, v)
				}
			}
		},
	}
}

// TestBlocks checks a problem in blocks against the normal equations of the
// whole, solved by gonum.
func TestBlocks(t *testing.T) {
	x := []float64{0, 1, 2, 3, 5, 8}
	s := NewSolver(line(x))
	m, err := s.Minimize([]float64{5, 5, 5}, Settings{Polish: true})
	if err != nil {
		t.Fatal(err)
	}
	whole := mat.NewDense(2*len(x), 3, nil)
	y := mat.NewVecDense(2*len(x), nil)
	for b := range 2 {
		for i, v := range x {
			row := b*len(x) + i
			whole.Set(row, 0, 1)
			whole.Set(row, 1+b, v)
			y.SetVec(row, 1+(2+float64(b))*v+0.01*math.Sin(float64(7*i+3*b)))
		}
	}
	var want mat.VecDense
	if err := want.SolveVec(whole, y); err != nil {
		t.Fatal(err)
	}
	var normal, inverse mat.Dense
	normal.Mul(whole.T(), whole)
	if err := inverse.Inverse(&normal); err != nil {
		t.Fatal(err)
	}
	var covariance mat.SymDense
	if err := s.Covariance(&covariance); err != nil {
		t.Fatal(err)
	}
	for i := range 3 {
		if math.Abs(m.P[i]-want.AtVec(i)) > 1e-12 {
			t.Errorf("parameter %d: %v, want %v", i, m.P[i], want.AtVec(i))
		}
		for j := range 3 {
			if math.Abs(covariance.At(i, j)-inverse.At(i, j)) > 1e-12 {
				t.Errorf("covariance %d,%d: %v, want %v", i, j, covariance.At(i, j), inverse.At(i, j))
			}
		}
	}
}

func TestSingular(t *testing.T) {
	s := NewSolver(Problem{
		Parameters: 2,
		Blocks:     []Block{{Residuals: 3, Columns: []int{0, 1}}},
		Evaluate: func(_ int, p, r []float64, j *mat.Dense) {
			for i := range r {
				r[i] = p[0] + p[1] - float64(i)
				if j != nil {
					j.Set(i, 0, 1)
					j.Set(i, 1, 1)
				}
			}
		},
	})
	m, err := s.Minimize([]float64{3, 4}, Settings{})
	if err != nil || math.Abs(m.SumSquares-2) > 1e-9 {
		t.Errorf("sum of squares %v, want 2; %v", m.SumSquares, err)
	}
	var covariance mat.SymDense
	if err := s.Covariance(&covariance); !errors.Is(err, ErrSingular) {
		t.Errorf("covariance of a sum that cannot be split: %v", err)
	}
}

// TestDomain: log is not finite left of 0, and the first full step goes there.
func TestDomain(t *testing.T) {
	s := NewSolver(Problem{
		Parameters: 1,
		Blocks:     []Block{{Residuals: 1, Columns: []int{0}}},
		Evaluate: func(_ int, p, r []float64, j *mat.Dense) {
			r[0] = math.Log(p[0]) + 3
			if j != nil {
				j.Set(0, 0, 1/p[0])
			}
		},
	})
	m, err := s.Minimize([]float64{2}, Settings{Polish: true})
	if err != nil || math.Abs(m.P[0]-math.Exp(-3)) > 1e-12 {
		t.Errorf("%v, want exp(-3); %v", m.P[0], err)
	}
	if _, err := s.Minimize([]float64{-1}, Settings{}); !errors.Is(err, ErrDomain) {
		t.Errorf("start outside the domain: %v", err)
	}
}

// TestNoAllocation: after NewSolver a search allocates nothing.
func TestNoAllocation(t *testing.T) {
	s := NewSolver(line([]float64{0, 1, 2, 3, 5, 8}))
	start := []float64{5, 5, 5}
	if n := testing.AllocsPerRun(10, func() {
		if _, err := s.Minimize(start, Settings{}); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%v allocations a search", n)
	}
}

// Where neither bent nor straight steps come to the minimum, point, sum of squares
// and triangle are those of the better of the two.
func TestIterationsUsedUp(t *testing.T) {
	for limit := 1; limit < 8; limit++ {
		banana := Problem{Parameters: 2, Blocks: []Block{{Residuals: 2, Columns: []int{0, 1}}},
			Evaluate: func(_ int, p, r []float64, jacobian *mat.Dense) {
				r[0], r[1] = 100*(p[1]-p[0]*p[0]), 1-p[0]
				if jacobian != nil {
					jacobian.SetRow(0, []float64{-200 * p[0], 100})
					jacobian.SetRow(1, []float64{-1, 0})
				}
			}}
		s := NewSolver(banana)
		m, err := s.Minimize([]float64{-1.2, 1}, Settings{MaxIterations: limit})
		quick, _ := NewSolver(banana).Minimize([]float64{-1.2, 1}, Settings{MaxIterations: limit, Quick: true})
		if !errors.Is(err, ErrIterations) {
			t.Fatalf("%d iterations: %v", limit, err)
		}
		if sum := s.SumSquares(m.P); sum != m.SumSquares || m.SumSquares > quick.SumSquares {
			t.Errorf("%d iterations: sum of squares %g, %g at the point, %g without the second try", limit,
				m.SumSquares, sum, quick.SumSquares)
		}
		var held, there mat.TriDense
		triangle(s, &held)
		s.Linearize(m.P)
		triangle(s, &there)
		if !mat.Equal(&held, &there) {
			t.Errorf("%d iterations: the triangle is that of another point", limit)
		}
	}
}

// Runs of residuals that depend on the first columns only give what whole rows give,
// whatever stands in the other columns.
func TestRuns(t *testing.T) {
	const residuals, columns = 200, 7
	element := func(i, j int) float64 { return math.Sin(float64(3*i+7*j*j+1)) + 0.1*float64(j) }
	runs := []Run{{70, 3}, {1, 3}, {99, 6}, {30, 7}}
	in := func(i int) int {
		for _, run := range runs {
			if i -= run.Residuals; i < 0 {
				return run.Columns
			}
		}
		panic("no run")
	}
	var got [2]mat.SymDense
	for n, outside := range []float64{0, math.NaN()} {
		b := Block{Residuals: residuals, Columns: []int{6, 2, 0, 1, 5, 4, 3}}
		if n == 1 {
			b.Runs = runs
		}
		s := NewSolver(Problem{Parameters: columns, Blocks: []Block{b},
			Evaluate: func(_ int, p, r []float64, jacobian *mat.Dense) {
				for i := range r {
					r[i] = 1 / float64(i+1)
					for j, c := range b.Columns {
						e := 0.0
						if j < in(i) {
							e = element(i, j)
						}
						r[i] += e * p[c]
						if jacobian != nil && (j < in(i) || n == 0) {
							jacobian.Set(i, j, e)
						} else if jacobian != nil {
							jacobian.Set(i, j, outside)
						}
					}
				}
			}})
		m, err := s.Minimize(make([]float64, columns), Settings{})
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Covariance(&got[n]); err != nil {
			t.Fatal(err)
		}
		for c, x := range m.P { // one step leads to the minimum of a linear problem
			got[n].SetSym(c, c, got[n].At(c, c)+1e-3*x)
		}
	}
	if !mat.EqualApprox(&got[0], &got[1], 1e-13*mat.Max(&got[0])) {
		t.Errorf("covariance and minimum\n%.15g\n%.15g", mat.Formatted(&got[0]), mat.Formatted(&got[1]))
	}
}

// triangle copies the triangle of the Jacobian at the last minimum into dst:
// the information matrix is its RᵀR.
func triangle(s *Solver, dst *mat.TriDense) {
	s.catchUp()
	dst.Reset()
	dst.ReuseAsTri(s.n, mat.Upper)
	for i := range s.n {
		for j := i; j < s.n; j++ {
			dst.SetTri(i, j, s.r.Data[i*s.n+j])
		}
	}
}
