package joint

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"coilsweep/capture"
	"coilsweep/capture/partsfile"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/leastsquares"
	"coilsweep/fit/response"
)

// Usual parts: E6 values of IEC 60063, with tolerances that are common
// practice for film capacitors and metal film resistors.
var (
	drawerC = []float64{100e-12, 150e-12, 220e-12, 330e-12, 470e-12, 680e-12, 1e-9, 1.5e-9, 2.2e-9}
	drawerR = []float64{47e3, 100e3, 220e3, 470e3}
)

const drawerTolerance = 0.01

// nextPart is a part that a further take may have, with the words for it.
type nextPart struct {
	load capture.Load
	part string // at hand, as it was written; empty: a usual size
}

func (c nextPart) size() (addedC, addedR float64) {
	if c.load.AddedC != nil {
		return c.load.AddedC.SI, 0
	}
	return 0, c.load.AddedR.SI
}

func (c nextPart) words() string {
	addedC, addedR := c.size()
	switch {
	case c.part != "":
		return "your " + c.part
	case addedC > 0:
		return fmt.Sprintf("about %s (%g %%)", quantity.Format(addedC, quantity.Farad, 2), 100*drawerTolerance)
	}
	return fmt.Sprintf("about %s (%g %%)", quantity.Format(addedR, quantity.Ohm, 2), 100*drawerTolerance)
}

// atHand are the parts at hand, the capacitors first.
func atHand(p partsfile.Parts) (parts []nextPart) {
	for _, c := range p.Capacitors {
		parts = append(parts, nextPart{capture.Load{AddedC: &c}, c.String()})
	}
	for _, r := range p.Resistors {
		parts = append(parts, nextPart{capture.Load{AddedR: &r}, r.String()})
	}
	return parts
}

// usualParts are those of the drawers, the capacitors first.
func usualParts() (parts []nextPart) {
	limit := func(x float64, unit quantity.Unit) quantity.Value {
		return quantity.Value{SI: x, Half: x * drawerTolerance, Basis: quantity.Limit, Unit: unit,
			Text: fmt.Sprintf("next %g", x)}
	}
	for _, c := range drawerC {
		parts = append(parts, nextPart{capture.Load{AddedC: &quantity.Capacitance{Value: limit(c, quantity.Farad)}}, ""})
	}
	for _, ohm := range drawerR {
		parts = append(parts, nextPart{capture.Load{AddedR: &quantity.Resistance{Value: limit(ohm, quantity.Ohm)}}, ""})
	}
	return parts
}

// bestPart is the part of some with which one more take leaves the least U95 of the
// quantity, in percent of it; +Inf: none of them tells it. A resistor, which tells L and C
// by the losses alone, has to be clearly better.
func (a *analysis) bestPart(parts []nextPart, name string) (best nextPart, percent float64) {
	percent = math.Inf(1)
	for _, p := range parts {
		clearly := 0.98
		if p.load.AddedR != nil {
			clearly = 0.9
		}
		if u := a.withTake(p.load, name); u < clearly*percent {
			best, percent = p, u
		}
	}
	return best, percent
}

// advise works out, for every part at hand, or every usual one, the uncertainty of L and
// C that one more take with it would leave, from the information matrix at the solution,
// and proposes the best.
func (a *analysis) advise(r *fit.Result, mine partsfile.Parts) []fit.Advice {
	var advice []fit.Advice
	for _, target := range []struct {
		name string
		key  string
		now  fit.Quantity
		unit quantity.Unit
	}{
		{nameInductance, "inductance_h", r.Inductance, quantity.Henry},
		{nameCapacitance, "capacitance_f", r.Capacitance, quantity.Farad},
	} {
		part, then := a.bestPart(atHand(mine), target.name)
		if math.IsInf(then, 1) {
			part, then = a.bestPart(usualParts(), target.name)
		}
		if math.IsInf(then, 1) {
			continue
		}
		best := fit.Advice{Quantity: target.key, ThenPercent: then, Part: part.part}
		best.AddedC, best.AddedR = part.size()
		symbol := map[string]string{nameInductance: "L", nameCapacitance: "C"}[target.name]
		if target.now.Known() {
			best.NowPercent = 100 * target.now.U95 / target.now.Value
			if best.ThenPercent > 0.9*best.NowPercent {
				continue
			}
			best.Text = fmt.Sprintf("one more take with %s across the coil would bring U95 of %s from ±%.2g %% "+
				"to ±%.2g %%", part.words(), symbol, best.NowPercent, best.ThenPercent)
		} else {
			best.Text = fmt.Sprintf("add one take with %s across the coil: U95 of %s would be about ±%.2g %%",
				part.words(), symbol, best.ThenPercent)
		}
		advice = append(advice, best)
	}
	return advice
}

// withTake is U95 of the quantity, in percent of it, with one more take, like the last but
// with the part added instead of what it had.
func (a *analysis) withTake(added capture.Load, name string) float64 {
	j := a.best.joint
	last := len(j.takes) - 1
	model := j.takes[last]
	added.FixtureC, added.FixtureR = model.Load.FixtureC, model.Load.FixtureR
	extra := Take{Name: "next", Referenced: model.Referenced, Ideal: model.Ideal,
		DriveLimitDB: model.DriveLimitDB, Load: added}
	extra.Response = &response.Response{FrequencyHz: model.Response.FrequencyHz,
		H: model.Response.H, Variance: model.Response.Variance}
	q := a.request
	q.takes = append(slices.Clone(j.takes), extra)
	q.parts = gatherParts(q.takes)
	parts := q.parts
	next := newJoint(j.form, q, j.coilAt(a.best.x))
	next.widen = j.widen
	copy(next.polarity, j.polarity)
	x := make([]float64, next.n)
	copy(x[:j.firstPart], a.best.x[:j.firstPart])
	for i, p := range parts.parts {
		x[next.firstPart+i] = math.Log(p.nominal)
		if c := next.lossOf[i]; c >= 0 {
			x[c] = p.loss.mean
		}
		for k, q := range a.request.parts.parts {
			if p.what == q.what {
				x[next.firstPart+i] = a.best.x[j.firstPart+k]
				if c := j.lossOf[k]; c >= 0 {
					x[next.lossOf[i]] = a.best.x[c]
				}
			}
		}
	}
	copy(x[next.firstDrift:], a.best.x[j.firstDrift:j.scale])
	copy(x[next.scale:next.firstTake], a.best.x[j.scale:j.firstTake])
	copy(x[next.firstTake:], a.best.x[j.firstTake:])
	x[next.gain(last+1)], x[next.delay(last+1)] = x[next.gain(last)], x[next.delay(last)]
	next.polarity[last+1] = next.polarity[last]
	// What the card leaves in it is in proportion to what it will be.
	extra.Response.H = next.modelled(last+1, x)
	next.weigh(0)
	solver := leastsquares.NewSolver(next.problem())
	solver.Linearize(x)
	c := mat.NewSymDense(next.n, nil)
	if err := solver.Covariance(c); err != nil {
		return math.Inf(1)
	}
	s := &solution{joint: next, x: x}
	e := (&uncertainty{s: s, c: c}).of(derived{name: name})
	if math.IsNaN(e.value) || e.shares[sourceWeak] > fit.WeakShare*e.u*e.u {
		return math.Inf(1)
	}
	return 100 * quantity.Coverage95 * e.u / e.value
}
