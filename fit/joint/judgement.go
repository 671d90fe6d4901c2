package joint

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"coilsweep/fit/leastsquares"

	"gonum.org/v1/gonum/mat"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
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
	if (a.widen > misfitLimit || a.structured()) && d.isOfForm() {
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
	// By the chi-square of the wrong one without noise: see testdata/README.md.
	more := "takes with a reference, or more sweeps, tell more"
	if !slices.ContainsFunc(a.request.takes, func(t Take) bool { return !t.Referenced }) {
		more = "more sweeps tell more"
	}
	return "undetermined: the takes do not tell apart " + text + "; " + more + "; see " + fit.BranchName
}

func square(x float64) float64 { return x * x }

// missingFact says which fact is missing for L and C.
func (a *analysis) missingFact() string {
	if a.oneLoad() {
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

// structured tells whether a fact was let go, but what the circuit leaves is no noise: the
// fact may be right, and the circuit wrong, as of a winding whose capacitance is spread
// along it.
func (a *analysis) structured() bool { return len(a.request.letGo) > 0 && a.halves != nil }

// modelU is the standard uncertainty of a quantity from the choice of the form. That
// of a term of the form is how much it moves with cover and dielectric loss: in
// another structure it does not exist.
func (a *analysis) modelU(d derived) float64 {
	if d.isOfForm() {
		return a.termU(d)
	}
	f := func(j *joint, x, dst []float64) { dst[0] = j.at(d, x) }
	u := a.spread(1, a.best.joint.steps(), d.isOfTake(), f)[0]
	if d.isOfTake() { // what takes show, they show with their input
		return u
	}
	return math.Hypot(u, a.inputU(1, f)[0])
}

// inputU is the standard uncertainty of count quantities from what the input may have
// behind a resistor, which no form has.
func (a *analysis) inputU(count int, f function) []float64 {
	u := make([]float64, count)
	if a.behind == nil {
		return u
	}
	best := make([]float64, count)
	f(a.best.joint, a.best.x, best)
	f(a.best.joint, a.behind, u)
	for k, v := range best {
		if u[k] = math.Abs(u[k] - v); math.IsNaN(u[k]) {
			u[k] = 0
		}
	}
	return u
}

// isOfTake tells whether the quantity is that of a take, not of the coil.
func (d derived) isOfTake() bool {
	switch d.name {
	case nameResonance, nameQ, nameLC, namePeak, namePeakDB, nameWidth:
		return true
	}
	return false
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
	return math.Hypot(math.Sqrt(u2/all), a.inputU(1, func(j *joint, x, dst []float64) { dst[0] = j.at(d, x) })[0])
}

// spread is the standard uncertainty of count quantities from the choice of the
// form: that of the forms that are nearly as good, weighted by exp(-Δ/2) as rivals are, or
// the largest distance to solutions that disagree. h are the steps on which
// the quantities depend, of the chosen form. A solution in which a quantity
// does not exist says nothing of it. With ofTakes the quantities are those of
// single takes.
//
// Where the takes contradict what was stated, and do not tell what of it is wrong, the
// largest distance to what else may be wrong is a limit.
func (a *analysis) spread(count int, h []float64, ofTakes bool, f function) []float64 {
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
	if p := a.request.know.resistance; a.resistive && a.widen > 1 || p != nil && a.structured() {
		// A form that does not fit has been pulling at R.
		read := slices.Clone(a.best.x)
		read[atR] = math.Log(p.nominal)
		away(a.best.joint, read, func(k int, apart float64) { u[k] = max(u[k], apart) })
	}
	limit := make([]float64, count)
	for _, s := range a.doubted {
		if !ofTakes || len(s.joint.takes) == len(a.best.joint.takes) {
			away(s.joint, s.x, func(k int, apart float64) { limit[k] = max(limit[k], apart) })
		}
	}
	for k := range u {
		u[k] = math.Hypot(u[k], limit[k]/math.Sqrt(3))
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
	base := best.solver.SumSquares(best.x)
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

// doubt is the supposition that something that was stated is wrong: a fact, the
// fixture of one take, or the scale of all added parts.
type doubt struct {
	what string // as Part has it
	// fact: a stated part or reading; else something that several facts follow from.
	fact bool
	// take is the only one in which the part takes part; -1: there are several.
	take int
	// without is the request of a fit that does not know it.
	without func(q request) request
}

// scaleU is the relative standard uncertainty of a scale of all added parts that is
// in doubt: a meter out of order or a mixed-up series, not a slip of the point.
const scaleU = 0.05

// doubts are all that can be supposed of the facts that hold.
func (a *analysis) doubts(best *solution) []doubt {
	q := a.request
	uses := map[int][]int{} // takes by added part
	for t, at := range q.parts.ofTake {
		for _, p := range slices.Concat(at.addedC[:], at.addedR[:]) {
			uses[p] = append(uses[p], t)
		}
	}
	var list []doubt
	for i := range best.joint.priors {
		p := &best.joint.priors[i]
		if !p.isFact() {
			continue
		}
		d := doubt{what: p.what, fact: true, take: -1, without: func(q request) request {
			q.letGo = append(slices.Clone(q.letGo), p.what)
			return q
		}}
		if takes := uses[p.part]; p.part >= 0 && len(takes) == 1 {
			d.take = takes[0]
		}
		list = append(list, d)
	}
	measured := 0
	for _, p := range q.parts.parts {
		if p.measured && !slices.Contains(q.letGo, p.what) {
			measured++
		}
	}
	if measured > 1 && q.know.scaleU < scaleU {
		list = append(list, doubt{what: addedScale, take: -1, without: func(q request) request {
			q.know.scaleU = scaleU
			return q
		}})
	}
	common := 0
	for _, at := range q.parts.ofTake {
		if at.fixtureC == q.parts.firstFixture() {
			common++
		}
	}
	if !q.parts.fixtureKnown || common < 3 {
		return list
	}
	for t, at := range q.parts.ofTake {
		own := func(part int) bool { return part >= 0 && len(uses[part]) == 1 }
		if at.fixtureC != q.parts.firstFixture() || slices.ContainsFunc(at.addedC[:], own) {
			continue // what the fixture does, an added capacitor does too
		}
		d := doubt{what: fmt.Sprintf("fixture C of take %q", q.takes[t].Name), take: t}
		d.without = func(q request) request {
			q.parts = q.parts.ownFixture(t, d.what)
			q.letGo = append(slices.Clone(q.letGo), d.what)
			return q
		}
		list = append(list, d)
	}
	return list
}

// addedScale is what the common scale of all added parts is called.
const addedScale = "common scale of the added parts"

// Something stated is let go where the takes contradict it: where a fact is pulled by
// more than askPull or stands in the way of a fit better by agreeingBIC, and without
// what is in doubt the best circuit, the freedom counted as a parameter, has a BIC
// lower than the best with it by more than letGoBIC (strong evidence; R. E. Kass and
// A. E. Raftery, J. Am. Stat. Assoc. 90 (1995) 773), explains the takes, and agrees with
// at least two facts that are left. Where a circuit agrees with all facts, a wrong fact
// is far less likely than one loss more, and the evidence must be agreeingBIC.
const (
	askPull     = 3.5
	letGoBIC    = 6.0
	agreeingBIC = 40.0
	letGoU      = 1.0 // of a logarithm: a factor of 3
)

// trial is a fit without what is in doubt.
type trial struct {
	doubt    doubt
	solution *solution
	bic      float64
}

// try fits a form without what is in doubt, the freedom counted in its BIC as a
// parameter. agrees tells whether that explains the takes and agrees with the facts
// that are left; the error is that of ctx.
func (a *analysis) try(ctx context.Context, d doubt, form fit.Form, start circuit.Coil) (t trial, agrees bool,
	err error) {
	s, err := a.searches.solve(ctx, d.without(a.request), form, []circuit.Coil{start})
	if ctx.Err() != nil || err != nil {
		return t, false, ctx.Err()
	}
	t = trial{d, s, s.bic(1) + math.Log(float64(s.joint.rows()))}
	return t, s.misfit() == 1 && s.factsAgree(), nil
}

// contradicted are the doubts that explain what the takes contradict, the likeliest
// first: none where nothing is contradicted. All of them are as good, but for what
// the takes cannot tell.
func (a *analysis) contradicted(ctx context.Context, best *solution) ([]trial, error) {
	if !a.climbed {
		return nil, nil // the fact may be right, and the model that was asked for wrong
	}
	limit, agree := best.bic(1)-letGoBIC, best.misfit() == 1 && best.factsAgree()
	if agree {
		limit = best.bic(1) - agreeingBIC
	}
	// Every fourth point is enough to tell which are worth a fit.
	var coarse []trial
	for _, d := range a.doubts(best) {
		q := d.without(a.request)
		q.takes = thin(q.takes, 4)
		for _, s := range a.solutions {
			if !s.worthDoubting(d, best, agree, limit) {
				continue
			}
			without, err := a.searches.solve(ctx, q, s.joint.form, []circuit.Coil{s.coil()})
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			if err == nil {
				coarse = append(coarse, trial{d, without, without.bic(1)})
			}
		}
	}
	slices.SortStableFunc(coarse, func(x, y trial) int { return cmp.Compare(x.bic, y.bic) })
	var found []trial
	tried := map[string]int{}
	for _, c := range coarse {
		if tried[c.doubt.what] == coarseForms || c.bic > coarse[0].bic+coarseBIC {
			continue
		}
		tried[c.doubt.what]++
		t, agrees, err := a.try(ctx, c.doubt, c.solution.joint.form, c.solution.coil())
		if err != nil {
			return nil, err
		}
		if agrees && t.bic < limit {
			found = append(found, t)
		}
	}
	if found = likeliest(found); len(found) > 0 {
		return found, nil
	}
	switch {
	case best.facts() < 3:
	case (a.resistive || a.metered) && best.slowLoop():
		return a.standIn(ctx, best)
	case agree:
		return nil, a.strained(ctx, best)
	}
	return nil, nil
}

// Of what is in doubt, as many forms are fitted to all points, and those that are not
// worse than the best by more than coarseBIC through every fourth.
const (
	coarseForms = 2
	coarseBIC   = 30
)

// worthDoubting tells whether the form of s is worth a fit without what is in doubt.
// Where no circuit agrees with the facts, that is each of the plain forms, and the
// best.
func (s *solution) worthDoubting(d doubt, best *solution, agree bool, limit float64) bool {
	if s.facts() < 3 {
		return false
	}
	form := s.joint.form
	plain := !form.Cover && !form.Loss && (form.Rings > 0 || form.Cylinder)
	gross := !agree && (s == best || plain)
	if gross || !d.fact {
		return gross // a loop may have taken up what is wrong: no fact need be pulled
	}
	for i := range s.joint.priors {
		if p := &s.joint.priors[i]; p.what == d.what && p.isFact() {
			pulled := math.Abs(s.pull(i)) >= askPull || s.gain(i) > agreeingBIC
			return pulled && s.misfit() <= 4 && s.bic(1)-s.gain(i) < limit+letGoSlack
		}
	}
	return false
}

// letGoSlack is by how much a fit without a fact may be better than a linear circuit
// would make it.
const letGoSlack = 60

// slowHz is below the corner of any loop that pole pieces, a baseplate or a cover
// make (typical: above some hundred hertz).
const slowHz = 250

// slowLoop tells whether the circuit has a loop so slow that over nearly all of the
// band it is a resistance in series with the coil.
func (s *solution) slowLoop() bool {
	const slowest = 1 / (2 * math.Pi * slowHz)
	return slices.ContainsFunc(s.coil().Rings, func(r circuit.Ring) bool { return r.TimeS > slowest })
}

// slowOdds is what a slow loop must make up in chi-square against a wrong fact to be
// as likely: loops so slow are one in ten (typical value, no source).
const slowOdds = 4.6

// standIn are the facts in whose place a slow loop may stand: the circuit without that
// loop explains the takes better once one of them is let go. Where it explains them as
// well the facts stay, and the other circuits are in doubt.
func (a *analysis) standIn(ctx context.Context, best *solution) ([]trial, error) {
	form, coil := best.joint.form, best.coil()
	form.Rings--
	slow := slices.MaxFunc(coil.Rings, func(a, b circuit.Ring) int { return cmp.Compare(a.TimeS, b.TimeS) })
	coil.Rings = slices.DeleteFunc(coil.Rings, func(r circuit.Ring) bool { return r == slow })
	coil.ResistanceOhm += coil.InductanceH * slow.Share / slow.TimeS
	coil.InductanceH *= 1 - slow.Share
	for i := range coil.Rings {
		coil.Rings[i].Share /= 1 - slow.Share
	}
	var found []trial
	for _, d := range a.doubts(best) {
		t, agrees, err := a.try(ctx, d, form, coil)
		if err != nil {
			return nil, err
		}
		if agrees {
			found = append(found, t)
		}
	}
	if found = likeliest(found); len(found) == 0 {
		return nil, nil
	}
	better := best.chi2Priors - found[0].solution.chi2Priors
	switch {
	case better > letGoBIC-slowOdds:
		return found, nil
	case better > -letGoBIC-math.Log(float64(best.joint.rows())):
		a.inDoubt(found, fmt.Sprintf("only if an eddy-current loop has its corner at %s, below that of any usual "+
			"part", quantity.Format(1/(2*math.Pi*slow.TimeS), quantity.Hertz, 2)))
	}
	return nil, nil
}

// likeliest are the best trial of each doubt, as far as they are as likely as the
// first, sorted.
func likeliest(found []trial) []trial {
	slices.SortStableFunc(found, func(x, y trial) int { return cmp.Compare(x.bic, y.bic) })
	seen := map[string]bool{}
	return slices.DeleteFunc(found, func(f trial) bool {
		again := seen[f.doubt.what] || f.bic > found[0].bic+letGoBIC
		seen[f.doubt.what] = true
		return again
	})
}

// inDoubt keeps the facts, and lets U95 include that one of them is wrong.
func (a *analysis) inDoubt(found []trial, how string) {
	for _, f := range found {
		a.doubted = append(a.doubted, f.solution)
	}
	a.remark = fmt.Sprintf("the takes agree with %s %s: if it is wrong L is %s and R %s, and U95 includes that",
		found[0].doubt.what, how, quantity.Format(found[0].solution.coil().InductanceH, quantity.Henry, 4),
		quantity.Format(found[0].solution.coil().ResistanceOhm, quantity.Ohm, 4))
}

// strained puts facts in doubt that agree with the circuit, but with which it explains
// the takes less well than without them, the freedom counted as a parameter.
func (a *analysis) strained(ctx context.Context, best *solution) error {
	var found []trial
	for _, d := range a.doubts(best) {
		at := slices.IndexFunc(best.joint.priors, func(p prior) bool { return p.what == d.what && p.isFact() })
		if !d.fact || best.joint.priors[at].meter != nil || best.gain(at) < math.Log(float64(best.joint.rows())) {
			continue
		}
		t, agrees, err := a.try(ctx, d, best.joint.form, best.coil())
		if err != nil {
			return err
		}
		if agrees && t.bic < best.bic(1) {
			found = append(found, t)
		}
	}
	if found = likeliest(found); len(found) > 0 {
		a.inDoubt(found, "less well than with another value")
	}
	return nil
}

// doubt gathers the solutions in which something else is wrong than what was let go:
// the other parts that explain the takes as well, and for a part or fixture of one
// take the take itself, which may be that of another coil.
func (a *analysis) doubt(ctx context.Context) error {
	for _, found := range a.letGo {
		for _, other := range found[1:] {
			a.doubted = append(a.doubted, other.solution)
		}
		take := found[0].doubt.take
		if take < 0 || len(a.letGo) > 1 || len(a.request.takes) < 3 {
			continue
		}
		q := a.request
		q.takes = slices.Delete(slices.Clone(q.takes), take, take+1)
		q.parts = gatherParts(q.takes)
		best, _ := a.pick()
		without, err := a.searches.solve(ctx, q, best.joint.form, []circuit.Coil{best.coil()})
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err == nil {
			a.doubted = append(a.doubted, without)
		}
	}
	return nil
}

// gain is by how much chi-square would fall without a prior, were the circuit linear
// in its parameters: pull²/(1 - h), h the part of what is known of the parameter that
// comes from the prior (R. D. Cook, Technometrics 19 (1977) 15).
func (s *solution) gain(i int) float64 {
	p := &s.joint.priors[i]
	c, err := s.covariance()
	if err != nil || p.meter != nil {
		return math.Inf(1)
	}
	var variance float64
	for k, a := range p.columns {
		for l, b := range p.columns {
			if a >= 0 && b >= 0 {
				variance += p.factors[k] * p.factors[l] * c.At(a, b)
			}
		}
	}
	left := 1 - variance/(p.u*p.u)
	if left < 1e-6 {
		return math.Inf(1)
	}
	return square(s.pull(i)*s.joint.widen) / left
}

// facts is the number of facts that hold.
func (s *solution) facts() int {
	n := 0
	for i := range s.joint.priors {
		if s.joint.priors[i].isFact() {
			n++
		}
	}
	return n
}
