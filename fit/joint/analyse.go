package joint

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
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
	a, err := analyse(ctx, coil, takes, options, searches{})
	if err != nil {
		return nil, err
	}
	return a.result(ctx, coil, takes, options)
}

// analysis is a coil with every model fitted and one chosen.
type analysis struct {
	request   request
	searches  searches
	solutions []*solution // in the order tried
	best      *solution   // with the u of the data enlarged where needed
	widen     float64     // by which it was enlarged
	reduced   float64     // its reduced chi-square before that
	rivals    []rival
	// disagreeing are solutions that show the error of a model that does not fit;
	// halves those of a model whose residuals have a structure that the sound
	// card might have made.
	disagreeing []*solution
	halves      []*uncertainty
	known       *uncertainty
	warnings    []string
	resistive   bool // a DC resistance took part
	metered     bool // a meter's L took part
	ambiguous   string
	climbed     bool // the form was chosen from the ladder, not given
}

// rival is a model nearly as good as the best, with its weight.
type rival struct {
	solution *solution
	weight   float64
}

// rivalAIC is the difference in Akaike's criterion beyond which a form is out of
// the running (K. P. Burnham and D. R. Anderson, Model Selection and Multimodel
// Inference, 2002). It is not BIC, which chooses the form: a loss too small to
// be chosen may still be there.
const rivalAIC = 10

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

	forms, climb := options.Forms, false
	if len(forms) == 0 {
		forms, climb = fit.Ladder(), true
	}
	a.climbed = climb
	starts := startCoils(a.request.takes, a.request.parts, a.request.know)
	solved := map[fit.Form]*solution{}
	for _, form := range forms {
		if climb && !worthTrying(form, solved) {
			continue
		}
		s, err := a.searches.solve(ctx, a.request, form, a.startsFor(form, solved, starts))
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", form.Name(), err)
		}
		solved[form] = s
		a.solutions = append(a.solutions, s)
	}
	if err := a.choose(ctx); err != nil {
		return nil, err
	}
	if err := a.lookForSecond(ctx); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err // losses not found for that reason are not missing
	}
	return a, a.searches.end()
}

// worthTrying tells whether a model can still win: one more loop where the last
// one helped or nothing fits yet; a cover on the best model without one and on
// the model below it, or on every model where none fits without.
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
		top := bestBare.joint.form
		form.Cover = false
		return form == top || form == fit.Form{Rings: max(0, top.Rings-1)}
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
		a.warnings = append(a.warnings, warnings...)
	}
	for _, m := range coil.Meter {
		if !m.UseInFit {
			continue
		}
		if m.What != "L" || a.request.know.inductance != nil {
			return fmt.Errorf("coil.toml: use_in_fit is for one inductance reading, not for %s at %g Hz", m.What, m.AtHz)
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
		if s := solved[fewer]; s != nil {
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
	reduced := s.reduced()
	limit := 1 + 4*math.Sqrt(2/float64(s.dof))
	if reduced <= limit {
		return 1
	}
	return math.Sqrt(reduced * s.correlation)
}

// choose picks the form with the least BIC and enlarges u where even that one
// does not fit.
func (a *analysis) choose(ctx context.Context) error {
	least := slices.MinFunc(a.solutions, func(x, y *solution) int {
		if x.reduced() < y.reduced() {
			return -1
		}
		return 1
	})
	a.widen = least.misfit()
	bic := func(s *solution) float64 { return s.bic(a.widen * a.widen) }
	aic := func(s *solution) float64 {
		return s.chi2Priors/(a.widen*a.widen) + 2*float64(s.joint.form.Parameters())
	}
	best := slices.MinFunc(a.solutions, func(x, y *solution) int {
		if bic(x) < bic(y) {
			return -1
		}
		return 1
	})
	a.widen = max(a.widen, best.misfit())
	for _, s := range a.solutions {
		if d := aic(s) - aic(best); s != best && d < rivalAIC {
			a.rivals = append(a.rivals, rival{s, math.Exp(-max(d, 0) / 2)})
		}
	}
	switch {
	case a.widen > 1:
		a.disagreeing = append(a.halve(ctx, best), a.runnerUpOf(best, bic)...)
	case best.runsZ < structureLimit:
		for _, s := range a.halve(ctx, best) {
			if u, err := s.uncertainty(); err == nil {
				a.halves = append(a.halves, u)
			}
		}
		a.warnings = append(a.warnings, fmt.Sprintf(
			"the residuals are not random over frequency (runs test %s), but small enough to come from the sound card: U95 includes how far the fits below and above the resonance disagree; a reference channel would settle it", minus("%.0f", best.runsZ)))
	}
	a.reduced = best.reduced()
	var err error
	if a.best, err = a.searches.widen(best, a.widen); err != nil {
		return err
	}
	if a.widen > 1 {
		a.warnings = append(a.warnings, fmt.Sprintf(
			"no model explains the takes to within their noise (reduced chi-square %.3g): every uncertainty was enlarged by the factor %.2g",
			best.reduced(), a.widen))
	}
	a.known, err = a.best.uncertainty()
	return err
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
			q.takes[i].Response = t.Response.Select(func(f float64) bool { return (f < hz) == below })
			if len(q.takes[i].Response.H) < 20 {
				return found
			}
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

// lookForSecond looks for a second minimum on the other side of the blind
// spot of a resistance alone: the impedance level sqrt(L/C) mirrored at
// sqrt(R R_load), which has the same Q.
func (a *analysis) lookForSecond(ctx context.Context) error {
	if !a.oneLoad() {
		return nil // loads that differ leave no blind spot
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
		return nil
	}
	second, err := a.searches.solve(ctx, a.request, a.best.joint.form, []circuit.Coil{mirror})
	if err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return nil
	}
	apart := math.Abs(second.x[atL] - a.best.x[atL])
	u := math.Sqrt(a.known.c.At(atL, atL))
	if apart > 2*u && apart > 1e-3 && second.chi2Priors-a.best.chi2Priors < 2*quantity.Coverage95*quantity.Coverage95*a.widen*a.widen {
		a.ambiguous = fmt.Sprintf("two circuits explain the takes equally well, one with %s and one with %s: near the blind spot of the DC resistance Q does not depend on L",
			quantity.Format(math.Exp(a.best.x[atL]), quantity.Henry, 3), quantity.Format(math.Exp(second.x[atL]), quantity.Henry, 3))
	}
	return nil
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
