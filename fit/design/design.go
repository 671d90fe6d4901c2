// Package design divides a measurement's effort among its candidates so that it
// tells most about some of the parameters: D-optimal design for a subset of
// parameters (V. V. Fedorov, Theory of Optimal Experiments, 1972; for excitation
// signals: R. Pintelon, J. Schoukens, System Identification: A Frequency Domain
// Approach, 2nd ed., 2012, chapter 5; both from memory), averaged over what the
// truth may be (K. Chaloner, I. Verdinelli, Statistical Science 10(3), 1995).
//
// With shares v of the effort and Fisher's information M_i of all the effort put
// into candidate i, M = sum v_i M_i + prior. The information on the first
// parameters, the others being unknown too, is the Schur complement S, and log
// det S = log det M - log det M_nuisance.
package design

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Truth is something that may be true, with the information that each
// candidate would then give with all the effort. The parameters of interest
// come first in the matrices.
type Truth struct {
	Probability float64
	Information []*mat.SymDense
	Prior       *mat.SymDense // nil: none
}

// ErrSingular: the candidates together do not determine the parameters.
var ErrSingular = errors.New("no set of frequencies separates the parameters")

const (
	maxIterations = 2000
	// settled is the gain in log det per iteration at which the search ends.
	settled = 1e-6
)

// Shares divides the effort: a part fixed goes as base says, the rest where it
// raises the mean of log det S over the truths most. Interest is the number of
// parameters of interest. The shares sum to 1 as base does.
//
// The algorithm multiplies each free share by the square root of the derivative
// of the criterion, which raises it in each step (S. D. Silvey, D. M.
// Titterington, B. Torsney, 1978; Y. Yu, Annals of Statistics 38(3), 2010; from
// memory). The derivative itself oscillates where there are nuisances.
func Shares(truths []Truth, interest int, base []float64, fixed float64) ([]float64, error) {
	free := slices.Clone(base)
	shares := make([]float64, len(base))
	gain := make([]float64, len(base))
	last := math.Inf(-1)
	for range maxIterations {
		for i := range shares {
			shares[i] = fixed*base[i] + (1-fixed)*free[i]
			gain[i] = 0
		}
		criterion := 0.0
		for _, t := range truths {
			value, err := t.slope(shares, interest, gain)
			if err != nil {
				return nil, err
			}
			criterion += t.Probability * value
		}
		if criterion-last < settled {
			break
		}
		last = criterion
		sum := 0.0
		for i := range free {
			free[i] *= math.Sqrt(max(gain[i], 0))
			sum += free[i]
		}
		for i := range free {
			free[i] /= sum
		}
	}
	return shares, nil
}

// Total is the information of a division of the effort, the prior included.
func (t Truth) Total(shares []float64) *mat.SymDense {
	total := mat.NewSymDense(t.Information[0].SymmetricDim(), nil)
	if t.Prior != nil {
		total.CopySym(t.Prior)
	}
	var part mat.SymDense
	for i, m := range t.Information {
		part.ScaleSym(shares[i], m)
		total.AddSym(total, &part)
	}
	return total
}

// slope adds to gain the derivatives of log det S by the shares, times the
// truth's probability, and returns log det S.
func (t Truth) slope(shares []float64, interest int, gain []float64) (float64, error) {
	total := t.Total(shares)
	n := total.SymmetricDim()
	var all, nuisance mat.Cholesky
	if !all.Factorize(total) {
		return 0, ErrSingular
	}
	value := all.LogDet()
	var inverse mat.SymDense
	if err := all.InverseTo(&inverse); err != nil && !isCondition(err) {
		return 0, ErrSingular
	}
	if interest < n {
		if !nuisance.Factorize(total.SliceSym(interest, n)) {
			return 0, ErrSingular
		}
		value -= nuisance.LogDet()
		var held mat.SymDense
		if err := nuisance.InverseTo(&held); err != nil && !isCondition(err) {
			return 0, ErrSingular
		}
		for i := interest; i < n; i++ {
			for j := i; j < n; j++ {
				inverse.SetSym(i, j, inverse.At(i, j)-held.At(i-interest, j-interest))
			}
		}
	}
	for k, m := range t.Information {
		trace := 0.0
		for i := range n {
			trace += inverse.At(i, i) * m.At(i, i)
			for j := i + 1; j < n; j++ {
				trace += 2 * inverse.At(i, j) * m.At(i, j)
			}
		}
		gain[k] += t.Probability * trace
	}
	return value, nil
}

// isCondition: the matrix was inverted, but badly conditioned.
func isCondition(err error) bool {
	_, ok := errors.AsType[mat.Condition](err)
	return ok
}
