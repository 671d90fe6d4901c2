package joint

import (
	"math"
	"slices"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/leastsquares"
)

// profileU is the relative standard uncertainty above which the interval of a
// positive quantity is taken from the profile of its likelihood: below it, the
// interval is symmetric to a few per cent of its width.
const profileU = 0.03

// profile puts the 95 % interval from the profile likelihood (D. M. Bates and
// D. G. Watts, Nonlinear Regression Analysis and Its Applications, 1988, 6.1)
// in place of the symmetric one: the values of the parameter at which the
// least sum of squares, all other parameters being free, is larger than the
// minimum by coverage². An end that is not reached makes the quantity unknown.
func (a *analysis) profile(q fit.Quantity, column int) fit.Quantity {
	if !q.Known() || q.U < profileU*q.Value {
		return q
	}
	best := a.best
	base := best.solver.Linearize(best.x)
	j := *best.joint
	pin := len(j.priors)
	j.priors = append(slices.Clone(j.priors), prior{source: sourceWeak, columns: [2]int{column, -1},
		factors: [2]float64{1, 0}, u: 1e-4, part: -1})
	solver := leastsquares.NewSolver((&j).problem())
	u := q.U / q.Value
	// rise is sqrt of what the sum of squares has grown by, less coverage, with
	// the parameter held at offset from its best value.
	x := slices.Clone(best.x)
	rise := func(offset float64) (float64, bool) {
		j.priors[pin].mean = best.x[column] + offset
		m, err := solver.Minimize(x, leastsquares.Settings{Tolerance: settled, MaxIterations: 60, Quick: true})
		if err != nil {
			return 0, false
		}
		copy(x, m.P)
		return math.Sqrt(max(0, m.SumSquares-base)) - quantity.Coverage95, true
	}
	var ends [2]float64
	for side, sign := range []float64{-1, 1} {
		copy(x, best.x)
		inner, outer := 0.0, sign*quantity.Coverage95*u
		innerRise, outerRise := -quantity.Coverage95, math.NaN()
		reached := false
		for range 8 {
			r, ok := rise(outer)
			if !ok {
				break
			}
			if r >= 0 {
				outerRise, reached = r, true
				break
			}
			inner, innerRise = outer, r
			outer *= 1.5
		}
		if !reached {
			return fit.Unknown("undetermined: the takes set no limit to it on one side; " + a.missingFact())
		}
		for range 12 {
			if math.Abs(outer-inner) < 0.005*math.Abs(outer) {
				break
			}
			// Regula falsi, kept off the ends.
			t := innerRise / (innerRise - outerRise)
			t = min(max(t, 0.1), 0.9)
			middle := inner + t*(outer-inner)
			r, ok := rise(middle)
			if !ok {
				break
			}
			if r < 0 {
				inner, innerRise = middle, r
			} else {
				outer, outerRise = middle, r
			}
		}
		if math.Abs(outer) < 0.3*quantity.Coverage95*u {
			// Much nearer than the curvature at the minimum allows: the searches
			// beside it got stuck, and say nothing.
			return q
		}
		ends[side] = q.Value * math.Exp(outer)
	}
	q.Low, q.High = ends[0], ends[1]
	// The spread of the models is not part of the profile.
	grow := q.U95 / (quantity.Coverage95 * a.known.of(derived{name: columnNames[column]}).u)
	if grow > 1 {
		q.Low, q.High = q.Value-grow*(q.Value-q.Low), q.Value+grow*(q.High-q.Value)
	}
	q.U95 = max(q.Value-q.Low, q.High-q.Value)
	return q
}

// columnNames are the quantities that are parameters themselves.
var columnNames = map[int]string{atL: nameInductance, atR: nameResistance, atC: nameCapacitance}
