package batch

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Anova is a one-way analysis of variance: groups of measurements of the same
// thing, here of the same coil.
type Anova struct {
	BetweenDF, WithinDF int
	BetweenSS, WithinSS float64
	BetweenMS, WithinMS float64
	F, P                float64 // P: probability of such an F or a larger one if all coils were alike
	// RepeatabilitySD is that of measuring one coil again, s_r; BetweenSD that
	// of the coils themselves, s_L, 0 where the groups differ by no more than
	// repeatability explains (ISO 5725-2:2019, 7.4).
	RepeatabilitySD float64
	BetweenSD       float64
}

// ErrNoRepeats: no group has two values, or there is one group only.
var ErrNoRepeats = errors.New("nothing was measured twice")

// AnovaOf analyses groups of values; empty groups are left out. The sums are
// taken of deviations from a mean that is corrected for its own rounding, so
// that nothing is lost where the values differ in their last digits only.
func AnovaOf(groups [][]float64) (Anova, error) {
	var a Anova
	n, squares, k := 0, 0, 0
	var all []float64
	for _, g := range groups {
		if len(g) > 0 {
			k++
		}
		n += len(g)
		squares += len(g) * len(g)
		all = append(all, g...)
	}
	a.BetweenDF, a.WithinDF = k-1, n-k
	if a.BetweenDF < 1 || a.WithinDF < 1 {
		return Anova{}, ErrNoRepeats
	}
	grand := mean(all)
	for _, g := range groups {
		if len(g) == 0 {
			continue
		}
		m := mean(g)
		a.BetweenSS += float64(len(g)) * (m - grand) * (m - grand)
		_, ss := sumOfSquares(g, m)
		a.WithinSS += ss
	}
	a.BetweenMS, a.WithinMS = a.BetweenSS/float64(a.BetweenDF), a.WithinSS/float64(a.WithinDF)
	a.F = a.BetweenMS / a.WithinMS
	a.P = distuv.F{D1: float64(a.BetweenDF), D2: float64(a.WithinDF)}.Survival(a.F)
	if math.IsNaN(a.F) || math.IsInf(a.F, 0) { // no scatter within the groups
		a.P = math.NaN()
	}
	// The mean size of the groups as it counts for s_L.
	size := (float64(n) - float64(squares)/float64(n)) / float64(a.BetweenDF)
	a.RepeatabilitySD = math.Sqrt(a.WithinMS)
	a.BetweenSD = math.Sqrt(math.Max(0, (a.BetweenMS-a.WithinMS)/size))
	return a, nil
}

// mean of x, corrected by the mean of the residuals.
func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	m := sum / float64(len(x))
	rest, _ := sumOfSquares(x, m)
	return m + rest/float64(len(x))
}

// sumOfSquares is the sum of the deviations of x from m, and of their squares.
func sumOfSquares(x []float64, m float64) (sum, squares float64) {
	for _, v := range x {
		sum += v - m
		squares += (v - m) * (v - m)
	}
	return sum, squares - sum*sum/float64(len(x))
}

// deviation is the standard deviation of x; NaN for less than two values.
func deviation(x []float64) float64 {
	if len(x) < 2 {
		return math.NaN()
	}
	_, squares := sumOfSquares(x, mean(x))
	return math.Sqrt(squares / float64(len(x)-1))
}
