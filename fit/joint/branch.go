package joint

import (
	"fmt"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// branch is the winding branch R + s L(s) at the frequencies of meters and at the
// resonance of the take with nothing added, with the uncertainty of every other
// quantity: the fit's covariance and the spread of the models that the data
// cannot tell apart. Above the sweep nothing is known of the losses; below it L
// and R hold, since eddy currents fade with the square of the frequency.
func (a *analysis) branch(r *fit.Result) []fit.BranchPoint {
	_, high := a.sweptHz()
	list := fit.BranchHz()
	if hz, ok := a.unloadedResonance(); ok {
		list = append(list, hz)
	}
	var points []fit.BranchPoint
	for _, hz := range list {
		p := fit.BranchPoint{Hz: hz}
		judge := func(name string) fit.Quantity {
			switch {
			case !r.Inductance.Known():
				return fit.Unknown(r.Inductance.Why)
			case hz > high:
				return fit.Unknown(fmt.Sprintf("the sweep ends at %s, and what the losses are above it is not known",
					quantity.Format(high, quantity.Hertz, 3)))
			}
			return a.main(derived{name: name, hz: hz})
		}
		p.Inductance, p.Resistance = judge(nameBranchL), judge(nameBranchR)
		points = append(points, p)
	}
	return points
}

// unloadedResonance is the resonance of the first take with nothing added; ok is
// false where there is no such take, or the coil does not resonate in it.
func (a *analysis) unloadedResonance() (hz float64, ok bool) {
	for i, t := range a.request.takes {
		if t.Load.AddedC == nil && t.Load.AddedR == nil {
			if !a.best.joint.resonates(i, a.best.x) {
				return 0, false
			}
			return a.best.joint.at(derived{name: nameResonance, index: i}, a.best.x), true
		}
	}
	return 0, false
}
