package joint

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/leastsquares"
)

// ErrNoTakes: there is no take that can be fitted.
var ErrNoTakes = errors.New("no take can be fitted")

// Analyse fits all usable takes of a coil together by maximum likelihood (R.
// Pintelon and J. Schoukens, System Identification: A Frequency Domain Approach,
// 2012: sample maximum likelihood with measured variances), chooses the model by
// the Bayesian information criterion, and judges what is known.
//
// Unusable takes appear in the result, unused. ErrNoTakes where none is left; the
// error of ctx where it ended.
func Analyse(ctx context.Context, coil capture.Coil, takes []Take, options fit.Options) (*fit.Result, error) {
	f, err := Fit(ctx, coil, takes, options)
	if err != nil {
		return nil, err
	}
	return f.Result(ctx)
}

// analysis is a coil with every model fitted and one chosen.
type analysis struct {
	request   request
	searches  searches
	solutions []*solution // in the order tried
	best      *solution   // with the u of the data enlarged where needed
	chosen    *solution   // the best as it was chosen, by noise alone where that explains the takes
	widen     float64     // by which it was enlarged
	reduced   float64     // its reduced chi-square before that
	rivals    []rival
	// probability of each solution, in their order.
	probability []float64
	// disagreeing are solutions that show the error of a model that does not fit;
	// halves those of a model whose residuals have a structure that the sound
	// card might have made.
	disagreeing []*solution
	halves      []*uncertainty
	pulled      *solution // where the takes alone would pull the known facts; nil: they agree
	known       *uncertainty
	behind      []float64 // solution.behindInput of the best
	// letGo is what the takes contradict, one after the other; beside each what may
	// be wrong in its place.
	letGo [][]trial
	// believing are the best solutions with what was then let go.
	believing []*solution
	// doubted are solutions in which something else is wrong, as far as the takes
	// tell; remark says so where nothing was let go.
	doubted   []*solution
	remark    string
	card      *mat.SymDense // solution.information of the best; nil: not worked out
	warnings  []string
	onReading []string // those of the DC resistance, which mean nothing without it
	resistive bool     // a DC resistance took part
	metered   bool     // a meter's L took part
	ambiguous string
	climbed   bool // the form was chosen from the ladder, not given
	// bare is the analysis of a coil without metal, where that decides whether L and
	// C are known; nil where it does not, or the takes speak against it. supposed is
	// what must hold, of such an analysis.
	bare     *analysis
	supposed string
}

// rival is a model nearly as good as the best, with its weight.
type rival struct {
	solution *solution
	weight   float64
}

// rivalLimit is the difference in BIC, which chooses the form, and in Akaike's
// criterion beyond which a form is out of the running (K. P. Burnham and D. R.
// Anderson, Model Selection and Multimodel Inference, 2002). The less of the two
// counts: by BIC a form with less in it may be as likely as the best, and by
// Akaike's a loss too small to be chosen may still be there.
const rivalLimit = 10

func analyse(ctx context.Context, coil capture.Coil, all []Take, options fit.Options, s searches) (*analysis, error) {
	a := &analysis{searches: s}
	for _, t := range all {
		if t.Unfit == "" && t.Response != nil {
			a.request.takes = append(a.request.takes, t)
		}
	}
	if len(a.request.takes) == 0 {
		return nil, ErrNoTakes
	}
	a.request.sharedGain = options.SharedGain
	a.request.parts = gatherParts(a.request.takes)
	a.warnings = append(a.warnings, a.request.parts.warnings...)
	if err := a.know(coil); err != nil {
		return nil, err
	}
	if err := a.climb(ctx, options.Forms); err != nil {
		return nil, err
	}
	said := len(a.warnings)
	if err := a.choose(ctx); err != nil {
		return nil, err
	}
	if err := a.tryFree(ctx, a.warnings[:said]); err != nil {
		return nil, err
	}
	second, err := a.secondCircuit(ctx)
	if err != nil {
		return nil, err
	}
	if second != nil {
		a.ambiguous = fmt.Sprintf("two circuits explain the takes equally well, one with %s and one with %s: near "+
			"the blind spot of the DC resistance Q does not depend on L",
			quantity.Format(math.Exp(a.best.x[atL]), quantity.Henry, 3),
			quantity.Format(math.Exp(second.x[atL]), quantity.Henry, 3))
	}
	if err := a.suppose(ctx); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err // losses not found for that reason are not missing
	}
	return a, a.searches.end()
}

// freeForms are the models that are tried where only the differences between takes
// count: the factor in common stands for a cover, too.
var freeForms = []fit.Form{{}, {Rings: 1}, {Cylinder: true}}

// twoCoils says what it means that only differences count.
const twoCoils = "the takes have something in common that no model has: two coils under the exciter, as of a " +
	"hum-cancelling pair, would do that. L, C, R, resonance and Q are those of the whole from how the takes " +
	"differ; peak frequency and peak height are of the response as measured, with the exciter where it was"

// tryFree explains nothing but how the takes differ, where no model explains the
// takes and they have different loads: what an exciter over one of two coils
// induces at the terminals is common to all of them, and cancels. It counts where
// more is known so. said are the warnings up to the choice of a model.
func (a *analysis) tryFree(ctx context.Context, said []string) error {
	if !a.climbed || a.widen <= misfitLimit || a.oneLoad() || !a.sharesCard(a.best.coil()) {
		return nil
	}
	free := &analysis{searches: a.searches, request: a.request, warnings: append(slices.Clone(said), twoCoils),
		onReading: a.onReading}
	q := &free.request
	q.free, q.letGo, q.ownDB = true, nil, a.statedOwnDB()
	free.resistive, free.metered = q.know.resistance != nil, q.know.inductance != nil
	start := a.best.coil()
	err := free.tryForms(ctx, freeForms, []circuit.Coil{{InductanceH: start.InductanceH,
		ResistanceOhm: start.ResistanceOhm, CapacitanceF: start.CapacitanceF}})
	if err == nil {
		err = free.choose(ctx)
	}
	a.searches = free.searches
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err == nil && free.vagueness() < a.vagueness():
		free.climbed = true
		*a = *free
	}
	return nil
}

// vagueness grows with the u of L and the resonances together.
func (a *analysis) vagueness() float64 {
	sought := []derived{{name: nameInductance}}
	for i := range a.request.takes {
		sought = append(sought, derived{name: nameResonance, index: i})
	}
	var sum float64
	for _, d := range sought {
		e := a.estimate(d)
		if math.IsNaN(e.value) {
			return math.Inf(1)
		}
		sum += math.Log(e.u / e.value)
	}
	return sum
}

// suppose works out the coil without metal and without dielectric loss, of which
// one load and the DC resistance give L and C. Where two circuits have that
// resonance and Q, it is the one with the likelier capacitance, and supposed says
// on which side of the blind spot it is.
func (a *analysis) suppose(ctx context.Context) error {
	at := slices.IndexFunc(a.solutions, func(s *solution) bool { return s.joint.form == fit.Form{} })
	if !a.needsLosses() || a.widen > 1 || at < 0 || a.probability[at] < 1-sureOfForm {
		return nil
	}
	chosen := func(s *solution) (*analysis, error) {
		bare := &analysis{searches: a.searches, request: a.request, resistive: true, solutions: []*solution{s},
			supposed: "there is no metal in the coil and no dielectric loss"}
		err := bare.choose(ctx)
		a.searches = bare.searches
		return bare, err
	}
	bare, err := chosen(a.solutions[at])
	if err != nil {
		return err
	}
	second, err := bare.secondCircuit(ctx)
	a.searches = bare.searches
	if err != nil {
		return err
	}
	if second != nil {
		unlike := func(s *solution) float64 {
			own := math.Exp(s.x[atC]) - s.joint.loadOf(0, s.x).fixtureC
			return math.Abs(math.Log(max(own, 1e-15) / usualCoilF))
		}
		limit := (second.x[atL] + bare.best.x[atL]) / 2
		if unlike(second) < unlike(bare.best) {
			if bare, err = chosen(second); err != nil {
				return err
			}
		}
		side := "above"
		if bare.best.x[atL] < limit {
			side = "below"
		}
		bare.supposed += fmt.Sprintf(", and L is %s %s", side,
			quantity.Format(math.Exp(limit), quantity.Henry, 2))
	}
	a.bare = bare
	return nil
}

// usualCoilF is the middle of what coils have in capacitance of their own (typical:
// 50 to 250 pF).
const usualCoilF = 110e-12

// ownSteps are the limits in dB of what the sound card leaves in single takes
// that are supposed one after the other where noise alone, and then the card's own
// limit, explain too little: the last is all of a card's ripple.
var ownSteps = []float64{0.003, 0.01}

// climb fits the models with more and more left to the sound card, until one
// explains the takes and the known facts agree with it.
func (a *analysis) climb(ctx context.Context, forms []fit.Form) error {
	starts := startCoils(a.request.takes, a.request.parts, a.request.know)
	shared := a.sharesCard(starts[0])
	steps := []float64{0}
	for _, db := range append([]float64{a.statedOwnDB()}, ownSteps...) {
		if db > steps[len(steps)-1] && shared {
			steps = append(steps, db)
		}
	}
	for n := 0; n < len(steps); n++ {
		a.request.ownDB = steps[n]
		a.doubted, a.remark = nil, ""
		if err := a.tryForms(ctx, forms, starts); err != nil {
			return err
		}
		best, widen := a.pick()
		wrong, err := a.contradicted(ctx, best)
		if err != nil {
			return err
		}
		if len(wrong) > 0 {
			a.letGo, a.believing = append(a.letGo, wrong), append(a.believing, best)
			a.request = wrong[0].doubt.without(a.request)
			a.solutions = nil
			n = -1
			continue
		}
		if widen == 1 && best.factsAgree() && (n > 0 || best.runsZ >= structureLimit) {
			break
		}
	}
	if err := a.doubt(ctx); err != nil {
		return err
	}
	know := a.request.know
	a.resistive = a.resistive && !slices.Contains(a.request.letGo, know.resistance.what)
	a.metered = a.metered && !slices.Contains(a.request.letGo, know.inductance.what)
	return nil
}

// statedOwnDB is the limit that is stated of what the sound card leaves in one take.
func (a *analysis) statedOwnDB() (limit float64) {
	for _, t := range a.request.takes {
		limit = max(limit, t.limits().RippleTakeDB)
	}
	return limit
}

// sharesCard tells whether some takes went through the same sound card on the
// same grid.
func (a *analysis) sharesCard(start circuit.Coil) bool {
	j := newJoint(fit.Form{}, a.request, start)
	return slices.ContainsFunc(j.groups, func(g group) bool { return g.common() })
}

// farOff is the misfit from which on a solution is no start for the next search.
const farOff = 3

// tryForms fits forms, or climbs the ladder where there are none, from starts or the
// earlier solutions where there are some.
func (a *analysis) tryForms(ctx context.Context, forms []fit.Form, starts []circuit.Coil) error {
	earlier := map[fit.Form]*solution{}
	for _, s := range a.solutions {
		earlier[s.joint.form] = s
	}
	a.climbed = len(forms) == 0
	if a.climbed {
		forms = fit.Ladder()
	}
	a.solutions = nil
	solved := map[fit.Form]*solution{}
	for _, form := range forms {
		if a.climbed && !worthTrying(form, solved) {
			continue
		}
		from := a.startsFor(form, solved, starts)
		if s := earlier[form]; s != nil && s.misfit() < farOff {
			from = []circuit.Coil{s.coil()}
		}
		s, err := a.searches.solve(ctx, a.request, form, from)
		if err := ctx.Err(); err != nil {
			return err
		}
		if err != nil {
			return fmt.Errorf("%s: %w", form.Name(), err)
		}
		solved[form] = s
		a.solutions = append(a.solutions, s)
	}
	if !a.climbed {
		return a.settleClose(ctx)
	}
	if err := a.tryLoss(ctx, earlier); err != nil {
		return err
	}
	return a.settleClose(ctx)
}

// closeBIC is how much worse than the best a model may be to matter in what is
// published.
const closeBIC = 10

// settleClose goes on with the searches of the best models that ended in a flat
// valley.
func (a *analysis) settleClose(ctx context.Context) error {
	best, _ := a.pick()
	for i, s := range a.solutions {
		if s.thorough || s.solver.Promise() < worth || s.bic(1) > best.bic(1)+closeBIC {
			continue
		}
		closer, err := a.searches.closer(s)
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return err
		}
		a.solutions[i] = closer
	}
	return nil
}

// tryLoss fits the models that might win with dielectric loss: the best, those near
// it, and those with no more metal, in whose place it may stand.
func (a *analysis) tryLoss(ctx context.Context, earlier map[fit.Form]*solution) error {
	best, _ := a.pick()
	for _, s := range slices.Clone(a.solutions) {
		form := s.joint.form
		less := !form.Cover && !form.Cylinder && form.Parameters() <= best.joint.form.Parameters()
		if !less && s.bic(1) > best.bic(1)+lossBIC {
			continue
		}
		if s.bic(1)+math.Log(float64(s.joint.rows()))-lossSlack*a.lossGain(s) > best.bic(1)+lossWorth {
			continue
		}
		coil := s.coil()
		form.Loss = true
		if e := earlier[form]; e != nil {
			coil = e.coil()
		}
		with, err := a.searches.solve(ctx, a.request, form, []circuit.Coil{coil})
		if err := ctx.Err(); err != nil {
			return err
		}
		if err == nil {
			a.solutions = append(a.solutions, with)
		}
	}
	return nil
}

// lossGain is the reduction of chi-square that dielectric loss promises a solution,
// to first order.
func (a *analysis) lossGain(s *solution) float64 {
	form := s.joint.form
	form.Loss = true
	j := newJoint(form, a.request, s.coil())
	copy(j.polarity, s.joint.polarity)
	j.widen = s.joint.widen
	solver := leastsquares.NewSolver(j.problem())
	solver.Linearize(slices.Insert(slices.Clone(s.x), j.firstPart-1, 0))
	return solver.Promise() * square(j.widen)
}

// lossSlack is by how much more dielectric loss may do than is promised to first
// order; lossWorth how much worse than the best a model may then be to matter.
const (
	lossSlack = 5
	lossWorth = 6
)

// lossBIC is how much worse than the best a model may be for dielectric loss to be
// tried with it.
const lossBIC = 10

// oddsOf is the probability of what a form says of eddy currents.
func (a *analysis) oddsOf(structure fit.Form) float64 {
	var sum float64
	for i, s := range a.solutions {
		if s.joint.form.Structure() == structure {
			sum += a.probability[i]
		}
	}
	return sum
}

// pick is the solution with the least BIC, and the factor by which u must grow
// where even that does not fit.
func (a *analysis) pick() (best *solution, widen float64) {
	least := leastBy(a.solutions, (*solution).reduced)
	widen = least.misfit()
	best = leastBy(a.solutions, func(s *solution) float64 { return s.bic(widen * widen) })
	if a.request.free && widen > 1 {
		// A loss would imitate what differs from a single coil: the first with which
		// little of that is left.
		at := slices.IndexFunc(a.solutions, func(s *solution) bool { return s.reduced() < 2*least.reduced() })
		best = a.solutions[at]
	}
	return best, max(widen, best.misfit())
}

// leastBy is the first solution with the least value.
func leastBy(solutions []*solution, value func(*solution) float64) *solution {
	return slices.MinFunc(solutions, func(x, y *solution) int {
		if value(x) < value(y) {
			return -1
		}
		return 1
	})
}

// coverBIC is how much worse than the best a model without cover may be for one
// to be tried with it.
const coverBIC = 30

// worthTrying tells whether a model can still win: one more loop where the last
// one helped or nothing fits yet; a cover on every model without one that is near
// the best and on the model below that, or on every model where none fits without.
func worthTrying(form fit.Form, solved map[fit.Form]*solution) bool {
	var best, bestBare *solution
	for _, s := range solved {
		if best == nil || s.bic(1) < best.bic(1) {
			best = s
		}
		if !s.joint.form.Cover && (bestBare == nil || s.bic(1) < bestBare.bic(1)) {
			bestBare = s
		}
	}
	if best == nil {
		return true
	}
	if form.Cover && bestBare.misfit() == 1 {
		form.Cover = false
		bare := solved[form]
		top := bestBare.joint.form
		return bare != nil && (bare.bic(1) < bestBare.bic(1)+coverBIC || form == fit.Form{Rings: max(0, top.Rings-1)})
	}
	if form.Rings < 2 || best.misfit() > 1 {
		return true
	}
	less, least := form, form
	less.Rings--
	least.Rings -= 2
	one, two := solved[less], solved[least]
	return one != nil && (two == nil || one.bic(1) < two.bic(1))
}

// know gathers the knowledge of the coil besides the takes.
func (a *analysis) know(coil capture.Coil) error {
	if p, warnings, ok := resistancePrior(coil); ok {
		a.request.know.resistance = &p
		a.resistive = true
		a.warnings, a.onReading = append(a.warnings, warnings...), warnings
	}
	for _, m := range coil.Meter {
		if !m.UseInFit {
			continue
		}
		if m.What != "L" || a.request.know.inductance != nil {
			return fmt.Errorf("coil.toml: use_in_fit is for one inductance reading, not for %s at %g Hz", m.What,
				m.AtHz)
		}
		v, err := m.Value()
		if err != nil {
			return fmt.Errorf("coil.toml: meter reading: %w", err)
		}
		p, warning := partOf("meter L", sourceMeter, v, false)
		if warning != "" {
			a.warnings = append(a.warnings, warning)
		}
		a.request.know.inductance = &p
		a.request.know.meter = &meterInductance{hz: m.AtHz, parallel: m.Mode == fit.ModeParallel}
		a.metered = true
	}
	a.request.know.scaleU = coil.PartsScale / 100 / math.Sqrt(3)
	return nil
}

// newLosses are the starts of a new loop or solid core: hardly there, so that the
// search goes on from the minimum without it, and well there at several corners.
var newLosses = []circuit.Ring{
	{Share: 0.002, TimeS: 1 / (2 * math.Pi * 3000)},
	{Share: 0.08, TimeS: 1 / (2 * math.Pi * 500)},
	{Share: 0.08, TimeS: 1 / (2 * math.Pi * 2500)},
	{Share: 0.08, TimeS: 1 / (2 * math.Pi * 12000)},
}

// startsFor gives starts for a form: from the solution of the form with one
// loss less, with the new loss put in at several corners.
func (a *analysis) startsFor(form fit.Form, solved map[fit.Form]*solution, closed []circuit.Coil) []circuit.Coil {
	var starts []circuit.Coil
	if form.Cover {
		without := form
		without.Cover = false
		if s := solved[without]; s != nil {
			for _, hz := range []float64{1e4, 2e5} {
				c := s.coil()
				c.CoverTimeS = 1 / (2 * math.Pi * hz)
				starts = append(starts, c)
			}
		}
	}
	fewer := form
	if fewer.Cylinder {
		fewer.Cylinder = false
	} else {
		fewer.Rings--
	}
	if form.Rings > 0 || form.Cylinder {
		bases := closed
		bare := fewer
		bare.Cover = false
		if s := cmp.Or(solved[fewer], solved[bare]); s != nil {
			bases = []circuit.Coil{s.coil()}
		}
		for _, base := range bases {
			for _, loss := range newLosses {
				c := base
				if form.Cylinder {
					c.Cylinder = loss
				} else {
					c.Rings = append(slices.Clone(base.Rings), loss)
					for len(c.Rings) < form.Rings { // a ladder with gaps
						loss.TimeS /= 5
						c.Rings = append(c.Rings, loss)
					}
				}
				starts = append(starts, c)
			}
		}
	} else if len(starts) == 0 || !form.Cover {
		starts = append(starts, closed...)
	}
	for i := range starts {
		if form.Cover && starts[i].CoverTimeS == 0 {
			starts[i].CoverTimeS = 1 / (2 * math.Pi * coverCornerHz)
		}
	}
	return starts
}

// misfit is by how much the u of the data must grow for the solution to be
// consistent with them: 1 where chi-square says that it fits.
func (s *solution) misfit() float64 {
	factor := 1.0
	for _, chi2 := range []struct {
		reduced float64
		dof     int
	}{{s.reduced(), s.dof}, {s.reducedApart(), s.dofApart}} {
		if chi2.reduced > 1+4*math.Sqrt(2/float64(chi2.dof)) {
			factor = max(factor, math.Sqrt(chi2.reduced*s.correlation))
		}
	}
	return factor
}

// choose picks the form with the least BIC and enlarges u where even that one
// does not fit.
func (a *analysis) choose(ctx context.Context) error {
	least := leastBy(a.solutions, (*solution).reduced).misfit()
	best, widen := a.pick()
	a.widen = widen
	bic := func(s *solution) float64 { return s.bic(least * least) }
	aic := func(s *solution) float64 {
		return s.chi2Priors/(least*least) + 2*float64(s.joint.form.Parameters())
	}
	agree := best.factsAgree()
	a.probability = make([]float64, len(a.solutions))
	var all float64
	for i, s := range a.solutions {
		a.probability[i] = math.Exp(min(bic(best)-bic(s), 0) / 2)
		all += a.probability[i]
	}
	for i := range a.probability {
		a.probability[i] /= all
	}
	for _, s := range a.solutions {
		if d := min(aic(s)-aic(best), bic(s)-bic(best)); s != best && d < rivalLimit {
			a.rivals = append(a.rivals, rival{s, math.Exp(-max(d, 0) / 2)})
		}
	}
	switch {
	case a.widen > 1 || !agree:
		a.disagreeing = append(a.halve(ctx, best), a.runnerUpOf(best, bic)...)
	case best.runsZ < structureLimit:
		for _, s := range a.halve(ctx, best) {
			if u, err := s.uncertainty(); err == nil {
				a.halves = append(a.halves, u)
			}
		}
		a.warnings = append(a.warnings, fmt.Sprintf(
			"the residuals are not random over frequency (runs test %s), but small enough to come from the sound "+
				"card: U95 includes how far the fits below and above the resonance disagree; a reference channel "+
				"would settle it", minus("%.0f", best.runsZ)))
	}
	if a.structured() {
		a.doubted = append(a.doubted, a.believing...)
	}
	a.reduced = best.reducedApart()
	var err error
	// Noise alone may explain the takes because the model took up what the card leaves
	// in them, which is below the noise of a point and not below that of Q.
	a.chosen = best
	if a.best, err = a.searches.widen(best, a.widen, max(best.joint.ownDB, a.statedOwnDB())); err != nil {
		return err
	}
	if err = a.holdFacts(); err != nil {
		return err
	}
	if misfit := best.misfit(); misfit > 1 {
		a.warnings = append(a.warnings, fmt.Sprintf(
			"no model explains the takes to within their noise (reduced chi-square %.3g): every uncertainty was "+
				"enlarged by the factor %.2g",
			max(best.reduced(), best.reducedApart()), a.widen))
	}
	a.behind = a.best.behindInput()
	a.known, err = a.best.uncertainty()
	return err
}

// holdFacts goes back to where the known facts agree, if the takes pull at them
// more than they can be wrong: what no circuit of the ladder has pulls so. The u of
// the data is enlarged until the facts hold; how far the circuit moves counts as
// uncertainty.
func (a *analysis) holdFacts() error {
	held := a.best
	for w := a.widen; !held.factsAgree() && w < 1e4*a.widen; {
		w *= 2
		var err error
		if held, err = a.searches.widen(held, w, held.joint.ownDB); err != nil {
			return err
		}
	}
	if held == a.best {
		return nil
	}
	a.pulled = a.best
	j := *held.joint
	j.widen = a.widen
	s := &solution{joint: &j, x: held.x, note: held.note}
	s.solver = leastsquares.NewSolver(s.joint.problem())
	s.judge(s.solver.Linearize(s.x))
	a.best = s
	return nil
}

// structureLimit is the score of the runs test below which the residuals are
// checked more closely.
const structureLimit = -5

// runnerUpOf is the form next to the best, if there is one.
func (a *analysis) runnerUpOf(best *solution, bic func(*solution) float64) []*solution {
	var next *solution
	for _, s := range a.solutions {
		if s != best && (next == nil || bic(s) < bic(next)) {
			next = s
		}
	}
	if next == nil {
		return nil
	}
	return []*solution{next}
}

// halve fits the form to the frequencies below and above each take's resonance
// alone. A circuit that is right gives the same values from each; one that is
// not differs from the truth by about as much as these differ.
func (a *analysis) halve(ctx context.Context, best *solution) []*solution {
	var found []*solution
	coil := best.coil()
	for _, below := range []bool{true, false} {
		q := a.request
		q.takes = slices.Clone(q.takes)
		for i, t := range q.takes {
			load := best.joint.loadOf(i, best.x).circuit()
			hz, _, ok := coil.Resonance(load)
			if !ok {
				hz = coil.LCFrequency(load)
			}
			half := *t.Response
			half.Variance = slices.Clone(half.Variance)
			points := 0
			for k, f := range half.FrequencyHz {
				if (f < hz) != below {
					half.Variance[k] = math.Inf(1) // the takes stay on one grid
				} else {
					points++
				}
			}
			if points < 20 {
				return found
			}
			q.takes[i].Response = &half
		}
		if s, err := a.searches.solve(ctx, q, best.joint.form, []circuit.Coil{coil}); err == nil {
			found = append(found, s)
		}
	}
	return found
}

// oneLoad tells whether the same load is connected across the coil in all takes.
func (a *analysis) oneLoad() bool {
	for _, at := range a.request.parts.ofTake {
		if at != a.request.parts.ofTake[0] {
			return false
		}
	}
	return true
}

// secondCircuit is a second minimum on the other side of the blind spot of a
// resistance alone, nil where there is none: the impedance level sqrt(L/C)
// mirrored at sqrt(R R_load), which has the same Q.
func (a *analysis) secondCircuit(ctx context.Context) (*solution, error) {
	if !a.oneLoad() {
		return nil, nil // loads that differ leave no blind spot
	}
	c := a.best.coil()
	load := a.best.joint.loadOf(0, a.best.x).circuit()
	total := c.CapacitanceF + load.CapacitanceF
	level := c.InductanceH / total // z²
	mirrored := c.ResistanceOhm * load.ResistanceOhm
	factor := mirrored / level // of L and 1/C
	mirror := c
	mirror.InductanceH = c.InductanceH * factor
	mirror.CapacitanceF = total/factor - load.CapacitanceF
	if mirror.CapacitanceF <= 1e-13 || math.Abs(math.Log(factor)) < 1e-3 || !a.best.joint.resonates(0, a.best.x) {
		return nil, nil
	}
	second, err := a.searches.solve(ctx, a.request, a.best.joint.form, []circuit.Coil{mirror})
	if err != nil {
		return nil, ctx.Err()
	}
	apart := math.Abs(second.x[atL] - a.best.x[atL])
	u := math.Sqrt(a.known.c.At(atL, atL))
	if apart > 2*u && apart > 1e-3 &&
		second.chi2Priors-a.best.chi2Priors < 2*quantity.Coverage95*quantity.Coverage95*a.widen*a.widen {
		return second, nil
	}
	return nil, nil
}

// describeTakes says in words what the takes differ in.
func describeTakes(takes []Take) []string {
	var basis []string
	count := func(has func(Take) bool) int {
		n := 0
		for _, t := range takes {
			if has(t) {
				n++
			}
		}
		return n
	}
	plural := func(n int) string {
		if n == 1 {
			return "1 take"
		}
		return fmt.Sprintf("%d takes", n)
	}
	if n := count(func(t Take) bool { return t.Load.AddedC != nil }); n > 0 {
		basis = append(basis, "added capacitors: "+plural(n))
	}
	if n := count(func(t Take) bool { return t.Load.AddedR != nil }); n > 0 {
		basis = append(basis, "added resistors: "+plural(n))
	}
	return basis
}

func (a *analysis) basis() []string {
	basis := describeTakes(a.request.takes)
	if a.resistive {
		basis = append(basis, "DC resistance: meter")
	}
	if a.metered {
		basis = append(basis, "inductance: meter")
	}
	for _, p := range a.request.parts.parts {
		switch p.source {
		case sourceLoad:
			basis = append(basis, "load resistance: "+strings.TrimPrefix(p.what, "load "))
		case sourceAssumed:
			basis = append(basis, "load resistance: assumed")
		case sourceFixtureC:
			basis = append(basis, "fixture capacitance: "+strings.TrimPrefix(p.what, "fixture C "))
		}
	}
	return basis
}
