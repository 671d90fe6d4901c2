package joint

import (
	"fmt"
	"math"
	"slices"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/leastsquares"
)

// suspectPull is how many of its standard uncertainties a part may be moved by
// the fit before it is named: three of its tolerances, each a limit of
// sqrt(3) u.
const suspectPull = 3 * 1.7320508

// suspects are the indices of the priors that the takes contradict. The one
// that is pulled most is let go and the rest fitted anew, until none is pulled
// too far: a wrong part pulls at its neighbours, and these are not to blame.
// Where no form fits, none can be named.
func (a *analysis) suspects() []int {
	if a.widen > misfitLimit {
		return nil
	}
	j := *a.best.joint
	j.priors = slices.Clone(j.priors)
	x := a.best.x
	limit := suspectPull
	if a.halves != nil {
		limit *= 2 // the form may be pulling
	}
	var found []int
	for range len(j.priors) {
		worst, most := -1, limit
		for i := range j.priors {
			p := &j.priors[i]
			if p.source == sourceWeak || p.source == sourceAssumed || slices.Contains(found, i) {
				continue
			}
			if pull := math.Abs(p.value(newState(&j), slices.Clone(x))-p.mean) / p.u; pull > most {
				worst, most = i, pull
			}
		}
		if worst < 0 {
			break
		}
		found = append(found, worst)
		j.priors[worst].u = 1 // of a logarithm: a factor of 3
		s, err := (&j).finish(leastsquares.NewSolver((&j).problem()), x, leastsquares.Settings{Tolerance: settled, MaxIterations: 100})
		if err != nil {
			break
		}
		x = s.x
	}
	return found
}

// parts reports how far the fit moved each known part.
func (a *analysis) parts() []fit.Part {
	j := a.best.joint
	suspects := a.suspects()
	var parts []fit.Part
	for i := range j.priors {
		p := &j.priors[i]
		var known part
		switch {
		case p.part >= 0:
			known = a.request.parts.parts[p.part]
		case p.source == sourceDCR:
			known = *a.request.know.resistance
		case p.source == sourceMeter:
			known = *a.request.know.inductance
		default:
			continue
		}
		fitted := p.value(newState(j), slices.Clone(a.best.x))
		if p.columns[1] >= 0 {
			fitted -= p.factors[1] * a.best.x[p.columns[1]] // the part, not what its meter shows
		}
		parts = append(parts, fit.Part{
			What: known.what, Unit: string(known.unit), Nominal: known.nominal, U: known.u * known.nominal,
			Fitted: math.Exp(fitted), Pull: (p.value(newState(j), slices.Clone(a.best.x)) - p.mean) / p.u,
			Suspect: slices.Contains(suspects, i),
		})
	}
	return parts
}

func suspectText(p fit.Part) string {
	unit := quantity.Unit(p.Unit)
	return fmt.Sprintf("%s is stated as %s; the takes fit better with %s, %.1f standard uncertainties away: a wrong part, or a wrong reading",
		p.What, quantity.Format(p.Nominal, unit, 4), quantity.Format(p.Fitted, unit, 4), math.Abs(p.Pull))
}
