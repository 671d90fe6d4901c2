package design

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// regression is the information of points of [-1, 1] on the coefficients of the
// given powers of x.
func regression(points int, powers ...float64) Truth {
	t := Truth{Probability: 1}
	for i := range points {
		x := -1 + 2*float64(i)/float64(points-1)
		m := mat.NewSymDense(len(powers), nil)
		row := mat.NewVecDense(len(powers), nil)
		for k, p := range powers {
			row.SetVec(k, math.Pow(x, p))
		}
		m.SymRankOne(m, 1, row)
		t.Information = append(t.Information, m)
	}
	return t
}

func even(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = 1 / float64(n)
	}
	return out
}

// The designs for a parabola on [-1, 1] are in every book (J. Kiefer and J.
// Wolfowitz, Annals of Mathematical Statistics 30, 1959; from memory): a third
// of the effort each at -1, 0 and 1 for all three coefficients; a quarter, a
// half, a quarter for that of the square alone.
func TestParabola(t *testing.T) {
	for _, c := range []struct {
		interest int
		powers   []float64
		want     [3]float64
	}{
		{3, []float64{0, 1, 2}, [3]float64{1. / 3, 1. / 3, 1. / 3}},
		{1, []float64{2, 0, 1}, [3]float64{0.25, 0.5, 0.25}},
	} {
		const n = 21
		truth := regression(n, c.powers...)
		shares, err := Shares([]Truth{truth}, c.interest, even(n), 0)
		if err != nil {
			t.Fatal(err)
		}
		best := make([]float64, n)
		best[0], best[(n-1)/2], best[n-1] = c.want[0], c.want[1], c.want[2]
		told := func(shares []float64) float64 {
			total := truth.Total(shares)
			det := mat.Det(total)
			if c.interest < 3 {
				det /= mat.Det(total.SliceSym(c.interest, 3))
			}
			return math.Pow(det, 1/float64(c.interest))
		}
		efficiency := told(shares) / told(best)
		t.Logf("interest in %d of x^%v: efficiency %.4f, evenly %.4f", c.interest, c.powers, efficiency,
			told(even(n))/told(best))
		if efficiency < 0.99 || efficiency > 1+1e-9 {
			t.Errorf("interest in %d of x^%v: %.4f of what the best design tells", c.interest, c.powers, efficiency)
		}
	}
}

// Whatever the truths, no share falls below its fixed part, they sum to 1, and
// the mean criterion is not below that of the base.
func TestFixedPart(t *testing.T) {
	const n, fixed = 21, 0.3
	parabola, line := regression(n, 0, 1, 2), regression(n, 0, 1, 3)
	parabola.Probability, line.Probability = 0.7, 0.3
	truths := []Truth{parabola, line}
	shares, err := Shares(truths, 3, even(n), fixed)
	if err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for i, s := range shares {
		sum += s
		if s < fixed/n*(1-1e-12) {
			t.Errorf("share %d is %g, less than its fixed part %g", i, s, fixed/n)
		}
	}
	if math.Abs(sum-1) > 1e-12 {
		t.Errorf("the shares sum to %g", sum)
	}
	mean := func(shares []float64) (m float64) {
		for _, x := range truths {
			det, _ := mat.LogDet(x.Total(shares))
			m += x.Probability * det
		}
		return m
	}
	if mean(shares) <= mean(even(n))+0.1 {
		t.Errorf("criterion %g, evenly %g", mean(shares), mean(even(n)))
	}
}

func TestSingular(t *testing.T) {
	if _, err := Shares([]Truth{regression(2, 0, 1, 2)}, 3, even(2), 0); !errors.Is(err, ErrSingular) {
		t.Errorf("two points for a parabola: %v", err)
	}
	// A prior makes up for what the points do not tell.
	x := regression(2, 0, 1, 2)
	x.Prior = mat.NewSymDense(3, []float64{1, 0, 0, 0, 1, 0, 0, 0, 1})
	if _, err := Shares([]Truth{x}, 3, even(2), 0); err != nil {
		t.Error(err)
	}
}
