package joint

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/mat"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/response"
)

// result puts the analysis into the shape of result.json.
func (a *analysis) result(ctx context.Context, coil capture.Coil, all []Take, options fit.Options) (*fit.Result,
	error) {
	r := &fit.Result{
		Schema:   fit.ResultSchema,
		Program:  options.Program,
		Coil:     coil.Title(),
		Basis:    a.basis(),
		Meter:    a.meterReadings(coil),
		Warnings: []string{},
	}
	a.card = a.best.information()
	j := a.best.joint
	r.Model = fit.Model{Name: j.form.Name(), Chi2Reduced: a.reduced, DoF: a.best.dofApart}
	r.Model.Probability = a.oddsOf(j.form.Structure())
	for i, s := range a.solutions {
		r.Model.Tried = append(r.Model.Tried, fit.Tried{
			Probability: a.probability[i],
			Name:        s.joint.form.Name(), Parameters: s.joint.form.Parameters(),
			BIC: s.bic(a.widen * a.widen), Chi2Reduced: s.reducedApart(), RunsZ: s.runsZ, Note: s.note,
		})
	}

	r.Inductance = a.profile(a.main(derived{name: nameInductance}), atL)
	r.Capacitance = a.profile(a.main(derived{name: nameCapacitance}), atC)
	r.Resistance = a.profile(a.quantity(derived{name: nameResistance}, knownU), atR)
	const noFixture = "the fixture's capacitance is not known: measure it, and state it (fixture_c) with every take"
	r.CapacitanceCoil, r.BareResonance, r.BareQ = fit.Unknown(noFixture), fit.Unknown(noFixture), fit.Unknown(noFixture)
	if a.request.parts.fixtureKnown {
		r.CapacitanceCoil = a.main(derived{name: nameCapacitanceCoil})
		if r.CapacitanceCoil.Known() {
			r.BareResonance = a.quantity(derived{name: nameBareResonance}, knownU)
			r.BareQ = a.quantity(derived{name: nameBareQ}, knownU)
		} else {
			r.BareResonance, r.BareQ = fit.Unknown(r.CapacitanceCoil.Why), fit.Unknown(r.CapacitanceCoil.Why)
		}
	}
	r.Eddy = a.eddy(r.Model.Probability)
	if j.form.Cover {
		q := a.quantity(derived{name: nameCover}, eddyU)
		r.CoverCorner = &q
	}
	r.Branch = a.branch(r)
	r.Covariance = a.covariance(r)
	r.Parts = a.parts()
	a.nameContradicted(r)
	r.Line = a.line(r)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	used := 0
	for _, t := range all {
		tr := fit.TakeResult{Name: t.Name, Flags: t.Flags, AudioSHA256: t.AudioSHA256}
		if tr.Flags == nil {
			tr.Flags = []string{}
		}
		if c := t.Load.AddedC; c != nil {
			tr.AddedC = c.SI
		}
		if x := t.Load.AddedR; x != nil {
			tr.AddedR = &x.SI
		}
		if t.Unfit != "" || t.Response == nil {
			why := "the take was left out: " + t.Unfit
			for _, q := range []*fit.Quantity{&tr.Resonance, &tr.LC, &tr.Peak, &tr.PeakDB, &tr.Q, &tr.WidthHz} {
				*q = fit.Unknown(why)
			}
			r.Takes = append(r.Takes, tr)
			continue
		}
		tr.Used = true
		tr.SNRdB = t.Response.SNRdB
		tr.Resonance = a.quantity(derived{name: nameResonance, index: used}, knownU)
		tr.Q = a.quantity(derived{name: nameQ, index: used}, knownU)
		tr.LC = a.quantity(derived{name: nameLC, index: used}, knownU)
		tr.Peak = a.quantity(derived{name: namePeak, index: used}, knownU)
		tr.PeakDB = a.quantity(derived{name: namePeakDB, index: used, linear: true}, math.Inf(1))
		tr.WidthHz = a.quantity(derived{name: nameWidth, index: used}, knownU)
		if a.request.free {
			tr.Peak, tr.PeakDB = a.measuredPeak(used)
			tr.WidthHz = fit.Unknown("the model has only what differs between the takes")
		}
		tr.Curve = a.curve(used)
		a.flagDistortion(&tr, t)
		a.warnOfDrive(t)
		r.Takes = append(r.Takes, tr)
		used++
	}
	r.Budget = a.budgets(r)
	if a.widen > misfitLimit {
		// The benefit of a further take is not known either.
	} else if options.Advise || !r.Inductance.Known() || !r.Capacitance.Known() {
		r.Advice = a.advise(r, options.AtHand)
	}
	r.Warnings = append(r.Warnings, a.warnings...)
	if options.MonteCarlo > 0 {
		var err error
		if r.MonteCarlo, err = a.monteCarlo(ctx, options.MonteCarlo, options.Seed, options.Progress); err != nil {
			return nil, err
		}
		if m := r.MonteCarlo; 100*m.Failed > m.Trials {
			r.Warnings = append(r.Warnings,
				fmt.Sprintf("%d of %d Monte Carlo trials found no minimum and are left out of the distributions",
					m.Failed, m.Trials))
		}
	}
	return r, nil
}

// nameContradicted names first what was stated and the takes contradict.
func (a *analysis) nameContradicted(r *fit.Result) {
	var first []string
	letGo := map[string]bool{}
	for _, found := range a.letGo {
		d := found[0].doubt
		letGo[d.what] = true
		at := slices.IndexFunc(r.Parts, func(p fit.Part) bool { return p.What == d.what })
		text := suspectText(r.Parts[at], d.take >= 0)
		if a.structured() {
			text += ", or something in the coil that no model has, as a winding whose capacitance is spread along it"
		}
		text += "; the numbers are without it"
		if len(found) > 1 {
			text += "; the takes could also be explained by another error, and U95 includes that: " + found[1].doubt.what
			for _, other := range found[2:] {
				text += ", or " + other.doubt.what
			}
		}
		first = append(first, text)
		r.Contradicted = append(r.Contradicted, d.what)
	}
	for _, p := range r.Parts {
		if p.Suspect && !letGo[p.What] {
			first = append(first, suspectText(p, false))
			r.Contradicted = append(r.Contradicted, p.What)
		}
	}
	if a.remark != "" {
		first = append(first, a.remark)
	}
	if a.pulled != nil && a.best.misfit() == 1 {
		first = append(first, "the takes contradict the known parts: a wrong part, or something in the coil that no "+
			"model has; U95 includes how far they move the result")
		if a.climbed { // else it may be the model that was asked for
			r.Contradicted = append(r.Contradicted, "the known parts together")
		}
	}
	if !a.resistive {
		a.warnings = slices.DeleteFunc(a.warnings, func(w string) bool { return slices.Contains(a.onReading, w) })
	}
	a.warnings = slices.Concat(first, a.warnings)
}

// eddy are the terms of the chosen structure, which has that probability.
func (a *analysis) eddy(probability float64) []fit.Eddy {
	j, list := a.best.joint, []fit.Eddy{}
	for _, i := range j.eddyOrder(a.best.x) {
		form := "ring"
		if j.form.Cylinder {
			form = "cylinder"
		}
		list = append(list, fit.Eddy{
			Share:  a.quantity(derived{name: nameShare, index: i}, eddyU),
			Corner: a.quantity(derived{name: nameCorner, index: i}, eddyU),
			Form:   form,
			If:     j.form.Structure().Supposition(),
			Weight: probability,
		})
	}
	return list
}

// main judges L or C: unknown too where two circuits explain the takes, and
// where a resistance alone would have to set the scale. It does so through Q,
// and so only of a coil whose losses beside the wire's are known; a lossy coil
// with one load looks like another coil without losses.
func (a *analysis) main(d derived) fit.Quantity {
	if a.needsLosses() {
		q := fit.Unknown("one load and the DC resistance give L and C only of a coil whose losses are known: add a " +
			"take with a known capacitor, or choose the loss-free model if the coil has no metal in it")
		if a.bare != nil {
			given := a.bare.quantity(d, knownU)
			for column, name := range columnNames {
				if name == d.name {
					given = a.bare.profile(given, column)
				}
			}
			if given.Known() {
				q.Given = &fit.Given{If: a.bare.supposed, Quantity: given}
			}
		}
		return q
	}
	if a.ambiguous != "" {
		return fit.Unknown(a.ambiguous)
	}
	return a.quantity(d, knownU)
}

// needsLosses tells whether L and C would follow only from the coil's losses.
func (a *analysis) needsLosses() bool { return a.climbed && a.resistive && !a.metered && a.oneLoad() }

// eddyOrder are the indices of the eddy-current loops, the lowest corner first,
// or that of the solid core.
func (j *joint) eddyOrder(x []float64) []int {
	n := j.form.Rings
	if j.form.Cylinder {
		n = 1
	}
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Compare(x[j.firstRing+2*b+1], x[j.firstRing+2*a+1])
	})
	return order
}

// covariance of L, C and R in SI units, of those that are known.
func (a *analysis) covariance(r *fit.Result) *fit.Covariance {
	c := &fit.Covariance{}
	var sensitivities []float64
	var names []string
	for _, q := range []struct {
		key      string
		quantity fit.Quantity
		name     string
	}{
		{"inductance_h", r.Inductance, nameInductance},
		{"capacitance_f", r.Capacitance, nameCapacitance},
		{"resistance_ohm", r.Resistance, nameResistance},
	} {
		if !q.quantity.Known() {
			continue
		}
		e := a.known.of(derived{name: q.name})
		c.Order, names = append(c.Order, q.key), append(names, q.name)
		for _, g := range e.gradient {
			sensitivities = append(sensitivities, e.value*g)
		}
	}
	n := len(c.Order)
	if n == 0 {
		return nil
	}
	m := propagate(mat.NewDense(n, len(sensitivities)/n, sensitivities), a.known.c)
	for i, name := range names {
		// The spread of the forms is in u, so it belongs on the diagonal.
		m.SetSym(i, i, m.At(i, i)+square(a.modelU(derived{name: name})))
	}
	for i := range n {
		c.Matrix = append(c.Matrix, mat.Row(nil, i, m))
	}
	return c
}

// budgets splits u² of the main quantities by source.
func (a *analysis) budgets(r *fit.Result) []fit.Budget {
	var budgets []fit.Budget
	add := func(key string, quantity fit.Quantity, d derived) {
		if !quantity.Known() {
			return
		}
		e := a.estimate(d)
		b := fit.Budget{Quantity: key}
		for _, s := range sources {
			if share := 100 * e.shares[s] / (e.u * e.u); share >= 0.05 {
				b.Shares = append(b.Shares, fit.BudgetLine{Source: string(s), Percent: share})
			}
		}
		for i, p := range a.best.joint.priors {
			switch {
			case p.part >= 0:
				b.Parts = append(b.Parts, fit.Contribution{What: a.request.parts.parts[p.part].what, U: e.byPrior[i]})
			case p.source == sourceDCR:
				b.Parts = append(b.Parts, fit.Contribution{What: p.what, U: e.byPrior[i]})
			case p.source == sourceScale:
				b.Parts = append(b.Parts, fit.Contribution{What: string(sourceScale), U: e.byPrior[i]})
			}
		}
		slices.SortStableFunc(b.Shares, func(x, y fit.BudgetLine) int { return cmp.Compare(y.Percent, x.Percent) })
		budgets = append(budgets, b)
	}
	add("inductance_h", r.Inductance, derived{name: nameInductance})
	add("capacitance_f", r.Capacitance, derived{name: nameCapacitance})
	add("resistance_ohm", r.Resistance, derived{name: nameResistance})
	add("capacitance_coil_f", r.CapacitanceCoil, derived{name: nameCapacitanceCoil})
	add("bare_resonance_hz", r.BareResonance, derived{name: nameBareResonance})
	add("bare_q", r.BareQ, derived{name: nameBareQ})
	used := 0
	for _, t := range r.Takes {
		if !t.Used {
			continue
		}
		add("resonance_hz of "+t.Name, t.Resonance, derived{name: nameResonance, index: used})
		add("q of "+t.Name, t.Q, derived{name: nameQ, index: used})
		used++
	}
	for _, p := range r.Branch {
		inductance, resistance := p.Keys()
		add(inductance, p.Inductance, derived{name: nameBranchL, hz: p.Hz})
		add(resistance, p.Resistance, derived{name: nameBranchR, hz: p.Hz})
	}
	return budgets
}

// flagDistortion flags a take in which something was driven out of its linear
// range: it shows in harmonics everywhere, or about the peak alone, where the
// level is highest and an input clips softly first, or in a response that differs
// at a lower level.
func (a *analysis) flagDistortion(tr *fit.TakeResult, t Take) {
	flag := func(format string, args ...any) {
		if name := string(capture.Distorted); !slices.Contains(tr.Flags, name) {
			tr.Flags = append(slices.Clone(tr.Flags), name)
		}
		a.warnings = append(a.warnings, fmt.Sprintf("take "+tr.Name+": "+format, args...))
	}
	if l := t.Linearity; l != nil && !l.Linear {
		flag("not linear: at %s dBFS the response differs from that at %s dBFS by %s dB near %.0f Hz; record again "+
			"at the lower level, or farther from the exciter",
			minus("%g", l.LevelsDBFS[0]), minus("%g", l.LevelsDBFS[1]), minus("%.2f", -l.DeviationDB), l.AtHz)
	}
	r := t.Response
	for _, order := range []int{2, 3} {
		ratio, seen := r.HarmonicRatio(order)
		if seen && ratio >= response.DistortionLimit {
			flag("harmonic %d is %.2g %% of the fundamental: exciter, amplifier, input or a core is driven out of "+
				"its linear range; record again at a lower level", order, 100*ratio)
			continue
		}
		if !tr.Peak.Known() {
			continue
		}
		peak, seen := r.HarmonicRatioAt(order, tr.Peak.Value)
		if seen && peak >= response.DistortionLimit && peak > 3*ratio {
			flag("harmonic %d rises to %.2g %% of the fundamental at the peak: the input is near its limit there "+
				"(soft clipping); lower its gain or the level", order, 100*peak)
		}
	}
}

// minus prints a number with a minus sign.
func minus(format string, x float64) string { return quantity.Minus(fmt.Sprintf(format, x)) }

// warnOfDrive warns of a drive stated as a current that is not a current source,
// if the response is not corrected for it.
func (a *analysis) warnOfDrive(t Take) {
	if f := t.DriveFall; f.Matters() {
		a.warnings = append(a.warnings, fmt.Sprintf("take %s: the exciter's current is %.2g dB lower at %s than that "+
			"of a current source, and this is not corrected: state the drive as a voltage with the same values, "+
			"record a current reference, or use a larger series resistor",
			t.Name, f.DB, quantity.Format(f.AtHz, quantity.Hertz, 2)))
	}
}

// curve is a take as measured and as fitted, over the plateau.
func (a *analysis) curve(take int) *fit.Curve {
	j, x := a.best.joint, a.best.x
	c, load := j.coilIn(take, x), j.loadOf(take, x).circuit()
	response := j.takes[take].Response
	plateau := c.Plateau(load)
	db := func(v float64) float64 { return 20 * math.Log10(v) }
	beside, residual := j.besideCoil(take, x, plateau), a.residuals(take)
	out := &fit.Curve{FrequencyHz: response.FrequencyHz}
	out.FitU95DB, out.FitPhaseU95Deg = a.bands(take)
	for i, w := range j.omega[take] {
		k := beside[i]
		measured := response.H[i] / k
		fitted := c.Transfer(complex(0, w), load) / complex(plateau, 0)
		u := j.totalU(take, i) / cmplx.Abs(k)
		out.MagnitudeDB = append(out.MagnitudeDB, db(cmplx.Abs(measured)))
		out.PhaseDeg = append(out.PhaseDeg, cmplx.Phase(measured/fitted)*180/math.Pi+unwrapped(fitted))
		out.FitMagnitudeDB = append(out.FitMagnitudeDB, db(cmplx.Abs(fitted)))
		out.FitPhaseDeg = append(out.FitPhaseDeg, unwrapped(fitted))
		out.MagnitudeU95DB = append(out.MagnitudeU95DB, db(1+quantity.Coverage95*u/cmplx.Abs(measured)))
		out.PhaseU95Deg = append(out.PhaseU95Deg, phaseU95Deg(u/cmplx.Abs(measured)))
		out.Residual = append(out.Residual, residual[i]*cmplx.Conj(k)/complex(cmplx.Abs(k), 0))
		if i < len(response.NoiseFloor) {
			out.NoiseFloorDB = append(out.NoiseFloorDB, db(response.NoiseFloor[i]/cmplx.Abs(k)))
		}
	}
	inDB := func(list [][]float64, n int) (levels []float64) {
		if n < len(list) {
			for _, v := range list[n] {
				levels = append(levels, db(v))
			}
		}
		return levels
	}
	out.Harmonic2DB, out.Harmonic2FloorDB = inDB(response.Harmonic, 0), inDB(response.HarmonicFloor, 0)
	out.Harmonic3DB, out.Harmonic3FloorDB = inDB(response.Harmonic, 1), inDB(response.HarmonicFloor, 1)
	return out
}

// measuredPeak is the peak of a take's response as measured: the least of a cubic
// through 1/|H|² about the highest point, over the level between 100 and 400
// Hz, where the model's shape is near enough. Without a reference the upper edge of
// the sound card's band is known as its priors have it.
func (a *analysis) measuredPeak(take int) (hz, db fit.Quantity) {
	j, x := a.best.joint, a.best.x
	r := j.takes[take].Response
	c, load := j.coilIn(take, x), j.loadOf(take, x).circuit()
	var card cardResponse
	if !j.takes[take].Referenced {
		card = j.cardAt(x)
		card.edge = [6]float64{}
	}
	ln := make([]float64, len(r.H)) // of the response
	var level, weight float64
	top := -1
	for k, h := range r.H {
		if !j.takes[take].Referenced {
			h /= card.at(j.omega[take][k])
		}
		ln[k] = math.Log(cmplx.Abs(h))
		f := r.FrequencyHz[k]
		if f > 100 && f < 400 {
			w := square(cmplx.Abs(h) / j.totalU(take, k))
			shape := cmplx.Abs(c.Transfer(complex(0, 2*math.Pi*f), load)) / c.Plateau(load)
			level, weight = level+w*(ln[k]-math.Log(shape)), weight+w
		}
		if f > 400 && (top < 0 || ln[k] > ln[top]) {
			top = k
		}
	}
	none := fit.Unknown(derived{name: namePeak}.missing())
	if weight == 0 || top < 0 {
		return none, none
	}
	level /= weight
	// 1/|H|² over that at the top: c0 + c1 t + c2 t² + c3 t³ about it, t = ln f.
	normal, right := mat.NewSymDense(4, nil), mat.NewVecDense(4, nil)
	for k := range ln {
		y := math.Exp(2 * (ln[top] - ln[k]))
		near := k > top-3 && k < top+3
		if t := math.Log(r.FrequencyHz[k] / r.FrequencyHz[top]); near || y < 1.5 && math.Abs(t) < 0.04 {
			w := square(cmplx.Abs(r.H[k]) / j.totalU(take, k) / (2 * y))
			row := mat.NewVecDense(4, []float64{1, t, t * t, t * t * t})
			normal.SymRankOne(normal, w, row)
			right.AddScaledVec(right, w*y, row)
		}
	}
	var chol mat.Cholesky
	var p mat.VecDense
	var cov mat.SymDense
	if !chol.Factorize(normal) || chol.SolveVecTo(&p, right) != nil || chol.InverseTo(&cov) != nil ||
		p.AtVec(2) <= 0 || math.Abs(p.AtVec(1)) > 0.08*p.AtVec(2) || ln[top] <= level {
		return none, none
	}
	at := 0.0
	for range 20 { // Newton's steps to where the slope is none
		at -= (p.AtVec(1) + at*(2*p.AtVec(2)+3*at*p.AtVec(3))) / (2*p.AtVec(2) + 6*at*p.AtVec(3))
	}
	lowest := p.AtVec(0) + at*(p.AtVec(1)+at*(p.AtVec(2)+at*p.AtVec(3)))
	curvature := p.AtVec(2) / lowest // of ln|H|
	if !(math.Abs(at) < 0.04) || !(lowest > 0) {
		return none, none
	}
	hz.Value = r.FrequencyHz[top] * math.Exp(at)
	uHz := cov.At(1, 1) / square(2*p.AtVec(2))
	uLevel := cov.At(0, 0)/square(2*lowest) + 1/weight
	if !j.takes[take].Referenced {
		f2 := square(hz.Value / edgeHz)
		for i, f := 0, f2; i < 3; i, f = i+1, f*f2 {
			uLevel += square(edgeU[i] * f)
			uHz += square(float64(2*i+2) * edgeU[i] * f / curvature)
		}
	}
	hz.U = hz.Value * math.Sqrt(uHz+square(a.clockU()))
	const neperDB = 20 / math.Ln10
	db.Value, db.U = neperDB*(ln[top]-level-math.Log(lowest)/2), neperDB*math.Sqrt(uLevel)
	hz.U95, db.U95 = quantity.Coverage95*hz.U, quantity.Coverage95*db.U
	return hz, db
}

// residuals are (measured - fitted)/u of a take, u per component, with what
// the takes have in common taken off as far as it can be known: each with the
// standard deviation that it has after that. Where the model explains the takes they
// are those that it was chosen by.
func (a *analysis) residuals(take int) []complex128 {
	shown := a.best
	if a.widen == 1 && a.pulled == nil {
		shown = a.chosen
	}
	j := shown.joint
	g, place := j.groupOf(take)
	rows := 2 * len(j.omega[take])
	raw := make([][]float64, len(g.takes))
	s := newState(j)
	for i, t := range g.takes {
		raw[i] = make([]float64, rows)
		s.evaluate(t, shown.x, raw[i], nil, 0, nil)
	}
	if g.common() && j.free {
		j.unwrap(g, func(i int) []float64 { return raw[i] })
	}
	out := make([]complex128, rows/2)
	for k := range out {
		out[k] = -complex(raw[place][2*k], raw[place][2*k+1]) * complex(j.widen, 0)
		if !g.common() {
			continue
		}
		var along complex128
		for i, v := range g.ripple {
			along -= cmplx.Conj(v[k]) * complex(raw[i][2*k], raw[i][2*k+1]) * complex(j.widen, 0)
		}
		v := g.ripple[place][k]
		part := 1 / (1 + g.square[k])
		out[k] = (out[k] - v*along*complex(part, 0)) / complex(math.Sqrt(1-part*(real(v)*real(v)+imag(v)*imag(v))), 0)
	}
	return out
}

// unwrapped is the phase of a passive coil's response in degrees, between 0
// and -360 (the cover adds a third pole).
func unwrapped(h complex128) float64 {
	p := cmplx.Phase(h) * 180 / math.Pi
	if p > 90 {
		p -= 360
	}
	return p
}

// phaseU95Deg is U95 in degrees of the phase of a point whose real and imaginary parts
// are uncorrelated and have u each, relative to its magnitude. Turned into the
// direction of the point and that across it, the covariance stays as it is
// (JCGM 102:2011, 6.2), and across it the point lies beyond a line through the origin
// at the angle p with the chance that a normal deviate exceeds sin(p)/u. Where u is small
// that is the linear u of the phase, in rad; a point that noise may carry beyond the
// origin has no phase.
func phaseU95Deg(u float64) float64 {
	if sine := quantity.Coverage95 * u; sine < 1 {
		return math.Asin(sine) * 180 / math.Pi
	}
	return 180
}

// bands are U95 of the fitted magnitude in dB and of the fitted phase in degrees at each
// frequency.
func (a *analysis) bands(take int) (db, deg []float64) {
	j := a.best.joint
	x := slices.Clone(a.best.x)
	points := len(j.omega[take])
	magnitude, phase := mat.NewDense(points, j.firstCorner, nil), mat.NewDense(points, j.firstCorner, nil)
	level := func(column int, sign float64) {
		const h = 1e-4
		x[column] = a.best.x[column] + sign*h
		c, load := j.coilIn(take, x), j.loadOf(take, x).circuit()
		plateau := c.Plateau(load)
		for i, w := range j.omega[take] {
			v := c.Transfer(complex(0, w), load)
			magnitude.Set(i, column, magnitude.At(i, column)+sign*math.Log(cmplx.Abs(v)/plateau)/(2*h))
			phase.Set(i, column, phase.At(i, column)+sign*unwrapped(v)/(2*h))
		}
		x[column] = a.best.x[column]
	}
	touches := j.columnsOf(take)
	for _, column := range touches {
		if column < j.firstCorner {
			level(column, 1)
			level(column, -1)
		}
	}
	sub := a.known.c.SliceSym(0, j.firstCorner)
	for i := range points {
		m, p := magnitude.RowView(i), phase.RowView(i)
		db = append(db, 20/math.Ln10*quantity.Coverage95*math.Sqrt(max(0, mat.Inner(m, sub, m))))
		deg = append(deg, quantity.Coverage95*math.Sqrt(max(0, mat.Inner(p, sub, p))))
	}
	return db, deg
}

// line is 1/w² of each take, from its own data, against its added C; L and C
// are slope and intercept (Bureau of Standards Circular 74, 1924).
func (a *analysis) line(r *fit.Result) *fit.Line {
	j, x := a.best.joint, a.best.x
	if !r.Inductance.Known() || !r.Capacitance.Known() || a.request.free {
		return nil // or no take says anything by itself
	}
	l := &fit.Line{Slope: r.Inductance}
	e := a.known.of(derived{name: nameCapacitance})
	el := a.known.of(derived{name: nameInductance})
	product := e.value * el.value
	sum := mat.NewVecDense(len(e.gradient), nil)
	sum.AddVec(mat.NewVecDense(len(e.gradient), e.gradient), mat.NewVecDense(len(el.gradient), el.gradient))
	u := product * math.Sqrt(mat.Inner(sum, a.known.c, sum))
	l.Intercept = fit.Quantity{Value: product, U: u, U95: quantity.Coverage95 * u}
	l.AxisCrossing = r.Capacitance
	l.AxisCrossing.Value = -l.AxisCrossing.Value
	if l.AxisCrossing.Low != 0 || l.AxisCrossing.High != 0 {
		l.AxisCrossing.Low, l.AxisCrossing.High = -r.Capacitance.High, -r.Capacitance.Low
	}
	for take, t := range j.takes {
		if t.Load.AddedR != nil {
			continue
		}
		shift, u := a.ownCapacitance(take)
		inductance := math.Exp(x[atL])
		total := math.Exp(x[atC]) + j.loadOf(take, x).circuit().CapacitanceF
		p := fit.LinePoint{Take: t.Name, InverseW2: inductance * total * math.Exp(shift),
			UInverseW2: inductance * total * u}
		if c := t.Load.AddedC; c != nil {
			p.AddedC = c.SI
		}
		l.Points = append(l.Points, p)
	}
	return l
}

// ownCapacitance is by how much (in its logarithm) one take by itself would
// move its total capacitance from the joint solution, and the u of that: one
// Gauss-Newton step in the take's C, gain and delay.
func (a *analysis) ownCapacitance(take int) (shift, u float64) {
	j, x := a.best.joint, a.best.x
	s := newState(j)
	columns := j.columnsOf(take)
	rows := 2 * len(j.omega[take])
	jacobian, residual := mat.NewDense(rows, len(columns), nil), make([]float64, rows)
	local := make([]int, len(columns))
	for i := range local {
		local[i] = i
	}
	s.evaluate(take, x, residual, jacobian, 0, local)
	for i := range rows {
		// A single take shows the card as it is.
		total := 1 / (j.totalU(take, i/2) * j.weight[take][i/2])
		residual[i] *= total
		for k := range columns {
			jacobian.Set(i, k, jacobian.At(i, k)*total)
		}
	}
	reduced := mat.NewDense(rows, 3, nil)
	total := math.Exp(x[atC]) + j.loadOf(take, x).circuit().CapacitanceF
	for k, c := range columns {
		switch c {
		case atC:
			for i := range rows {
				reduced.Set(i, 0, jacobian.At(i, k)*total/math.Exp(x[atC]))
			}
		case j.gain(take):
			reduced.SetCol(1, mat.Col(nil, k, jacobian))
		case j.delay(take):
			reduced.SetCol(2, mat.Col(nil, k, jacobian))
		}
	}
	var normal, inverse mat.Dense
	normal.Mul(reduced.T(), reduced)
	if err := inverse.Inverse(&normal); err != nil {
		return 0, math.Inf(1)
	}
	var right, step mat.VecDense
	right.MulVec(reduced.T(), mat.NewVecDense(rows, residual))
	step.MulVec(&inverse, &right)
	return -step.AtVec(0), math.Sqrt(inverse.At(0, 0))
}
