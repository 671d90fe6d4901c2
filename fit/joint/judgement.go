package joint

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"coilsweep/fit/leastsquares"

	"gonum.org/v1/gonum/mat"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// Limits of what counts as known.
const (
	// knownU is the largest relative standard uncertainty of L, C, R and of a
	// take's numbers.
	knownU = 0.2
	// eddyU is the largest relative u of a share or corner.
	eddyU = 0.5
)

// misfitLimit is the factor on the noise beyond which the terms of the chosen
// model say nothing about the coil.
const misfitLimit = 1.5

// noForm is the reason why the terms of a model are not known.
const noForm = "no model explains the takes: inspect the residuals, and check the bench"

// estimate is the whole uncertainty of one quantity: noise and priors, the sound
// card, its clock, and the choice of the model.
func (a *analysis) estimate(d derived) estimate {
	e := a.known.of(d)
	if math.IsNaN(e.value) {
		return e
	}
	if a.card != nil {
		// The fit holds the card's ripple for noise.
		card := min(a.cardVariance(e, d), e.shares[sourceNoise])
		e.shares[sourceNoise] -= card
		e.shares[sourceCard] += card
	}
	model := a.modelU(d)
	e.shares[sourceModel] = model * model
	variance := e.u*e.u + model*model
	if d.isFrequency() {
		u := a.clockU() * e.value
		e.shares[sourceClock] = u * u
		variance += u * u
	}
	if edge := a.edgeU(d); edge > 0 {
		e.shares[sourceCard] += edge * edge
		variance += edge * edge
	}
	e.u = math.Sqrt(variance)
	return e
}

// cardVariance is what the card's ripple has of u² of an estimate.
func (a *analysis) cardVariance(e estimate, d derived) float64 {
	var on mat.VecDense
	on.MulVec(a.known.c, mat.NewVecDense(len(e.gradient), e.gradient))
	card := mat.Inner(&on, a.card, &on)
	if !d.linear {
		card *= e.value * e.value
	}
	return card
}

// edgeU is the standard uncertainty of a peak from what the fit takes for the upper
// edge of the card: it may be a cover's, which one pole does not describe, and a
// cover's shielding belongs to the peak.
func (a *analysis) edgeU(d derived) float64 {
	j, x := a.best.joint, a.best.x
	if d.name != namePeak && d.name != namePeakDB || j.takes[d.index].Referenced {
		return 0
	}
	hz := j.at(derived{name: namePeak, index: d.index}, x)
	card := j.cardAt(x)
	lnEdge := func(f float64) float64 {
		w := 2 * math.Pi * f
		return math.Log(cmplx.Abs(card.at(w) / (highPass(w, card.corner[0]) * highPass(w, card.corner[1]))))
	}
	if d.name == namePeakDB {
		return math.Abs(20 / math.Ln10 * lnEdge(hz))
	}
	// The maximum of ln|v| moves by the slope of the edge over the curvature.
	c, load := j.coilIn(d.index, x), j.loadOf(d.index, x).circuit()
	ln := func(f float64) float64 { return math.Log(cmplx.Abs(c.Transfer(complex(0, 2*math.Pi*f), load))) }
	h := 1e-3 * hz
	curvature := (ln(hz+h) - 2*ln(hz) + ln(hz-h)) / (h * h)
	slope := (lnEdge(hz+h) - lnEdge(hz-h)) / (2 * h)
	return math.Abs(slope / curvature)
}

// clockU is the relative standard uncertainty of every frequency: the limit of
// the sound card's crystal (what it does to L and C, twice as much, is far below
// their parts), or what the clocks of playback and recording were found to differ
// by, since neither is known to be the right one.
func (a *analysis) clockU() float64 {
	ppm := 0.0
	for _, t := range a.request.takes {
		ppm = max(ppm, t.limits().ClockPPM, math.Abs(t.DriftPPM))
	}
	return ppm * 1e-6 / math.Sqrt(3)
}

// quantity judges an estimate: its value with U95 where the takes and the
// known parts determine it, null with the reason where they do not.
func (a *analysis) quantity(d derived, limit float64) fit.Quantity {
	if (a.widen > misfitLimit || a.doubted()) && d.isOfForm() {
		return fit.Unknown(noForm)
	}
	if why := a.otherForms(); why != "" && d.isOfForm() && d.name != nameCover {
		return fit.Unknown(why)
	}
	e := a.estimate(d)
	if math.IsNaN(e.value) {
		return fit.Unknown(d.missing())
	}
	if weak := e.shares[sourceWeak]; weak > fit.WeakShare*(e.u*e.u-e.shares[sourceModel]) &&
		weak > square(fit.WeakU*e.value) {
		return fit.Unknown("undetermined: " + a.missingFact())
	}
	relative := e.u
	if !d.linear {
		relative = e.u / e.value
	}
	if relative > limit {
		if e.shares[sourceAssumed] > 0.5*e.u*e.u {
			return fit.Unknown("it depends on the input's resistance, which is not stated: measure it, and state it " +
				"with every take")
		}
		return fit.Unknown(fmt.Sprintf("undetermined: U95 would be ±%.0f %%; %s", 100*quantity.Coverage95*relative,
			a.missingFact()))
	}
	return fit.Quantity{Value: e.value, U: e.u, U95: quantity.Coverage95 * e.u}
}

// sureOfForm is the probability of a structure from which its terms are told.
const sureOfForm = 0.95

// otherForms says which other structures explain the takes about as well as the
// chosen one; "" where that is sure.
func (a *analysis) otherForms() string {
	chosen := a.best.joint.form.Structure()
	odds := a.oddsOf(chosen)
	if odds >= sureOfForm {
		return ""
	}
	text := fmt.Sprintf("%s (probability %.2g)", chosen.Supposition(), odds)
	var seen []fit.Form
	for _, s := range a.solutions {
		other := s.joint.form.Structure()
		if odds := a.oddsOf(other); other != chosen && odds >= (1-sureOfForm)/3 && !slices.Contains(seen, other) {
			seen = append(seen, other)
			text += fmt.Sprintf(", %s (%.2g)", other.Supposition(), odds)
		}
	}
	return "undetermined: the takes do not tell apart " + text + "; see " + fit.BranchName
}

func square(x float64) float64 { return x * x }

// missingFact says which fact is missing for L and C.
func (a *analysis) missingFact() string {
	loads := map[partIndices]bool{}
	for _, at := range a.request.parts.ofTake {
		loads[at] = true
	}
	if len(loads) < 2 {
		if a.resistive {
			return "one load shows resonance and Q, and with these losses the DC resistance says too little; add a " +
				"take with a known capacitor"
		}
		return "one load shows resonance and Q, two numbers for L, C and R; add a take with a known capacitor, or " +
			"the DC resistance"
	}
	if a.widen > 1 {
		return noForm
	}
	return "the takes' loads differ too little against the noise; add a take with a larger known capacitor"
}

// fewValues enlarges a spread that is known from two or three values only: the
// 97.5 % point of Student's t for 2 degrees of freedom over that of the normal
// distribution (JCGM 100:2008, G.3).
const fewValues = 4.303 / quantity.Coverage95

// doubted tells whether a fact was let go, but what the circuit leaves is no noise: the
// fact may be right, and the circuit wrong, as of a winding whose capacitance is spread
// along it.
func (a *analysis) doubted() bool { return len(a.request.letGo) > 0 && a.halves != nil }

// modelU is the standard uncertainty of a quantity from the choice of the form. That
// of a term of the form is how much it moves with cover and dielectric loss: in
// another structure it does not exist.
func (a *analysis) modelU(d derived) float64 {
	if d.isOfForm() {
		return a.termU(d)
	}
	return a.spread(1, a.best.joint.steps(), func(j *joint, x, dst []float64) { dst[0] = j.at(d, x) })[0]
}

// termU is the standard uncertainty of a term of the form, from the forms of the
// same structure.
func (a *analysis) termU(d derived) float64 {
	best := a.best.joint
	rank := slices.Index(best.eddyOrder(a.best.x), d.index)
	value := best.at(d, a.best.x)
	var u2, all float64
	for i, s := range a.solutions {
		other := s.joint.form
		if other.Structure() != best.form.Structure() || d.name == nameCover && !other.Cover {
			continue
		}
		at := d
		if d.name != nameCover {
			at.index = s.joint.eddyOrder(s.x)[rank]
		}
		all += a.probability[i]
		if other != best.form {
			u2 += a.probability[i] * square(s.joint.at(at, s.x)-value)
		}
	}
	if all == 0 {
		return 0
	}
	return math.Sqrt(u2 / all)
}

// spread is the standard uncertainty of count quantities from the choice of the
// form: that of the forms that are nearly as good, weighted by exp(-Δ/2) as rivals are, or
// the largest distance to solutions that disagree. h are the steps on which
// the quantities depend, of the chosen form. A solution in which a quantity
// does not exist says nothing of it.
func (a *analysis) spread(count int, h []float64, f function) []float64 {
	best, other, u := make([]float64, count), make([]float64, count), make([]float64, count)
	f(a.best.joint, a.best.x, best)
	away := func(j *joint, x []float64, each func(k int, apart float64)) {
		f(j, x, other)
		for k, v := range other {
			if apart := math.Abs(v - best[k]); !math.IsNaN(apart) {
				each(k, apart)
			}
		}
	}
	weight := 1.0
	for _, r := range a.rivals {
		weight += r.weight
		away(r.solution.joint, r.solution.x, func(k int, apart float64) { u[k] += r.weight * apart * apart })
	}
	for k := range u {
		u[k] = math.Sqrt(u[k] / weight)
	}
	// What disagrees was pulled as the takes alone would have it.
	bestAt := slices.Clone(best)
	if s := a.pulled; s != nil {
		f(s.joint, a.holding(s), best)
	}
	for _, s := range a.disagreeing {
		away(s.joint, a.holding(s), func(k int, apart float64) { u[k] = max(u[k], fewValues*apart) })
	}
	copy(best, bestAt)
	if s := a.pulled; s != nil {
		away(s.joint, a.holding(s), func(k int, apart float64) { u[k] = math.Hypot(u[k], apart) })
	}
	if p := a.request.know.resistance; a.resistive && a.widen > 1 || p != nil && a.doubted() {
		// A form that does not fit has been pulling at R.
		read := slices.Clone(a.best.x)
		read[atR] = math.Log(p.nominal)
		away(a.best.joint, read, func(k int, apart float64) { u[k] = max(u[k], apart) })
	}
	for _, w := range a.halves {
		half := w.carry(count, h, f)
		for k, v := range half.value {
			// The part beyond the uncertainty of the half itself.
			if apart, own := math.Abs(v-best[k]), 4*half.variance(k); apart*apart > own {
				u[k] = max(u[k], math.Sqrt(apart*apart-own))
			}
		}
	}
	return u
}

// holding are the parameters of a solution, with the parts as they hold where the
// takes pulled at them.
func (a *analysis) holding(s *solution) []float64 {
	if a.pulled == nil {
		return s.x
	}
	x := slices.Clone(s.x)
	copy(x[s.joint.firstPart:s.joint.scale], a.best.x[a.best.joint.firstPart:a.best.joint.scale])
	return x
}

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
	if !q.Known() || q.U < profileU*q.Value || a.pulled != nil {
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
	// rise is sqrt of the growth of the sum of squares, less coverage, with the
	// parameter held at offset from its best value.
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
