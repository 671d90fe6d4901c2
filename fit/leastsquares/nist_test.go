package leastsquares

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// dataSet is one NIST/ITL Statistical Reference Dataset for nonlinear
// regression (testdata/nist).
type dataSet struct {
	start     [2][]float64
	certified []float64
	sd        []float64
	x, y      []float64
	rss       float64
}

func readDataSet(t testing.TB, name string) dataSet {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "nist", name+".csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		return v
	}
	var d dataSet
	in := bufio.NewScanner(f)
	for in.Scan() {
		line := in.Text()
		cells := strings.Split(line, ",")
		switch {
		case strings.HasPrefix(line, "# rss"):
			d.rss = number(strings.Split(line, "=")[1])
		case cells[0] == "p":
			d.start[0] = append(d.start[0], number(cells[2]))
			d.start[1] = append(d.start[1], number(cells[3]))
			d.certified = append(d.certified, number(cells[4]))
			d.sd = append(d.sd, number(cells[5]))
		case cells[0] == "d":
			d.x = append(d.x, number(cells[1]))
			d.y = append(d.y, number(cells[2]))
		}
	}
	return d
}

// nistModels are the models of the data sets with their derivatives.
var nistModels = map[string]func(x float64, b, d []float64) float64{
	"Misra1a": func(x float64, b, d []float64) float64 {
		e := math.Exp(-b[1] * x)
		d[0], d[1] = 1-e, b[0]*x*e
		return b[0] * (1 - e)
	},
	"BoxBOD": func(x float64, b, d []float64) float64 {
		e := math.Exp(-b[1] * x)
		d[0], d[1] = 1-e, b[0]*x*e
		return b[0] * (1 - e)
	},
	"Lanczos3": func(x float64, b, d []float64) float64 {
		var y float64
		for i := 0; i < 6; i += 2 {
			e := math.Exp(-b[i+1] * x)
			d[i], d[i+1] = e, -b[i]*x*e
			y += b[i] * e
		}
		return y
	},
	"MGH17": func(x float64, b, d []float64) float64 {
		e1, e2 := math.Exp(-x*b[3]), math.Exp(-x*b[4])
		d[0], d[1], d[2], d[3], d[4] = 1, e1, e2, -x*b[1]*e1, -x*b[2]*e2
		return b[0] + b[1]*e1 + b[2]*e2
	},
	"Kirby2":  rational(3, 2),
	"Hahn1":   rational(4, 3),
	"Thurber": rational(4, 3),
	"MGH09": func(x float64, b, d []float64) float64 {
		n, m := x*x+x*b[1], x*x+x*b[2]+b[3]
		d[0], d[1], d[2], d[3] = n/m, b[0]*x/m, -b[0]*n*x/(m*m), -b[0]*n/(m*m)
		return b[0] * n / m
	},
	"MGH10": func(x float64, b, d []float64) float64 {
		e := math.Exp(b[1] / (x + b[2]))
		d[0], d[1], d[2] = e, b[0]*e/(x+b[2]), -b[0]*e*b[1]/((x+b[2])*(x+b[2]))
		return b[0] * e
	},
	"Eckerle4": func(x float64, b, d []float64) float64 {
		z := (x - b[2]) / b[1]
		g := math.Exp(-z*z/2) / b[1]
		d[0], d[1], d[2] = g, b[0]*g*(z*z-1)/b[1], b[0]*g*z/b[1]
		return b[0] * g
	},
	"Rat43": func(x float64, b, d []float64) float64 {
		e := math.Exp(b[1] - b[2]*x)
		y := b[0] * math.Pow(1+e, -1/b[3])
		d[0] = y / b[0]
		d[1] = -y * e / (b[3] * (1 + e))
		d[2] = x * y * e / (b[3] * (1 + e))
		d[3] = y * math.Log1p(e) / (b[3] * b[3])
		return y
	},
	"ENSO": func(x float64, b, d []float64) float64 {
		year := 2 * math.Pi * x
		d[0], d[1], d[2] = 1, math.Cos(year/12), math.Sin(year/12)
		y := b[0] + b[1]*d[1] + b[2]*d[2]
		for i := 3; i < 9; i += 3 {
			c, s := math.Cos(year/b[i]), math.Sin(year/b[i])
			d[i+1], d[i+2] = c, s
			d[i] = (b[i+1]*s - b[i+2]*c) * year / (b[i] * b[i])
			y += b[i+1]*c + b[i+2]*s
		}
		return y
	},
}

// rational is a polynomial of numerator+... terms over 1 + a polynomial.
func rational(numerator, denominator int) func(x float64, b, d []float64) float64 {
	return func(x float64, b, d []float64) float64 {
		var n float64
		m, power := 1.0, 1.0
		for i := range numerator {
			d[i] = power
			n += b[i] * power
			power *= x
		}
		power = x
		for i := range denominator {
			d[numerator+i] = power
			m += b[numerator+i] * power
			power *= x
		}
		for i := range numerator {
			d[i] /= m
		}
		for i := range denominator {
			d[numerator+i] *= -n / (m * m)
		}
		return n / m
	}
}

func (d dataSet) problem(model func(x float64, b, d []float64) float64) Problem {
	columns := make([]int, len(d.certified))
	for i := range columns {
		columns[i] = i
	}
	gradient := make([]float64, len(columns))
	return Problem{
		Parameters: len(columns),
		Blocks:     []Block{{Residuals: len(d.x), Columns: columns}},
		Evaluate: func(_ int, p, r []float64, j *mat.Dense) {
			for i, x := range d.x {
				r[i] = model(x, p, gradient) - d.y[i]
				if j != nil {
					copy(j.RawRowView(i), gradient)
				}
			}
		},
	}
}

// digits is the number of correct decimal digits of got.
func digits(got, want float64) float64 {
	return -math.Log10(max(math.Abs(got-want)/math.Abs(want), 1e-15))
}

// TestNIST checks against the certified values (11 digits) of the NIST/ITL
// Statistical Reference Datasets, Nonlinear Regression, from both of their
// starts.
func TestNIST(t *testing.T) {
	for name, model := range nistModels {
		for start := range 2 {
			t.Run(name+"/start"+strconv.Itoa(start+1), func(t *testing.T) {
				d := readDataSet(t, name)
				s := NewSolver(d.problem(model))
				m, err := s.Minimize(d.start[start], Settings{MaxIterations: 2000, Polish: true})
				if err != nil {
					t.Fatal(err)
				}
				var covariance mat.SymDense
				if err := s.Covariance(&covariance); err != nil {
					t.Fatal(err)
				}
				variance := m.SumSquares / float64(len(d.x)-len(d.certified))
				worst, worstSD := 15.0, 15.0
				for i := range d.certified {
					worst = min(worst, digits(m.P[i], d.certified[i]))
					worstSD = min(worstSD, digits(math.Sqrt(variance*covariance.At(i, i)), d.sd[i]))
				}
				t.Logf("digits: parameters %.1f, standard deviations %.1f, sum of squares %.1f; %d iterations, %d "+
					"evaluations",
					worst, worstSD, digits(m.SumSquares, d.rss), m.Iterations, m.Evaluations)
				if worst < 9 || worstSD < 9 {
					t.Errorf("parameters to %.1f digits, standard deviations to %.1f", worst, worstSD)
				}
			})
		}
	}
}
