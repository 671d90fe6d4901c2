package joint

import (
	"fmt"
	"math"
	"slices"

	"coilsweep/capture"
	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/leastsquares"
)

// source names where a piece of knowledge, and so of uncertainty, comes from.
type source string

const (
	sourceNoise    source = "noise"
	sourceAddedC   source = "added capacitors"
	sourceAddedR   source = "added resistors"
	sourceFixtureC source = "fixture capacitance"
	sourceLoad     source = "load resistance"
	sourceDCR      source = "DC resistance"
	sourceMeter    source = "meter inductance"
	sourceScale    source = "common scale of the parts"
	sourceAssumed  source = "assumed input resistance"
	sourceWeak     source = "weak prior"
	sourceModel    source = "model"
	sourceClock    source = "clock"
	sourceCard     source = "sound card"
	sourceLoss     source = "loss of added capacitors"
	// sourceDrive is how far the exciter is from a current source.
	sourceDrive source = "drive of the exciter"
	// sourceTemperature is that of the coil, which drifts from take to take.
	sourceTemperature source = "temperature between takes"
)

// sources are all of them, for budgets.
var sources = []source{sourceNoise, sourceCard, sourceAddedC, sourceLoss, sourceAddedR, sourceScale, sourceFixtureC,
	sourceLoad, sourceAssumed, sourceDCR, sourceTemperature, sourceMeter, sourceDrive, sourceClock, sourceModel,
	sourceWeak}

// part is one physical part across the coil: an added capacitor, the input
// resistance, … . Takes that name the same value share the part: the same text
// means the same piece.
type part struct {
	what    string // "added C 470p 1%"
	source  source
	unit    quantity.Unit
	nominal float64 // SI
	// u is the relative standard uncertainty of nominal: the sd of the
	// logarithm of the true value.
	u        float64
	limit    bool // u comes from a limit: the distribution is rectangular
	measured bool // valued with the meter whose scale error is common
	loss     dissipation
}

// dissipation is what is known of a capacitor's dissipation factor, the same at all
// frequencies. u is 0 for what is not a capacitor.
type dissipation struct{ mean, u float64 }

// unstatedTolerance is the limit assumed for a part without one: common
// practice for unmarked film and ceramic parts.
const unstatedTolerance = 0.05

// AssumedInputOhm is the input resistance where none is stated, with the sd of
// its logarithm: common practice for an instrument input is 0.5 to 2 Mohm.
const (
	AssumedInputOhm = 1e6
	AssumedInputLnU = 0.5
)

func partOf(kind string, source source, v quantity.Value, measured bool) (part, string) {
	v, warning := WithTolerance(kind, v)
	return part{
		what:     fmt.Sprintf("%s %s", kind, v.String()),
		source:   source,
		unit:     v.Unit,
		nominal:  v.SI,
		u:        v.U() / v.SI,
		limit:    v.Basis != quantity.Expanded,
		measured: measured,
	}, warning
}

// WithTolerance is v with the limit that is assumed where none is stated, and what is said
// then; "" where one is.
func WithTolerance(kind string, v quantity.Value) (quantity.Value, string) {
	if v.Basis != quantity.Unstated {
		return v, ""
	}
	said := fmt.Sprintf("%s %s has no tolerance stated: a limit of ±%g %% is assumed", kind, v.String(),
		100*unstatedTolerance)
	v.Basis, v.Half = quantity.Limit, unstatedTolerance*v.SI
	return v, said
}

// partIndices are the parts across the coil in one take; -1: none.
type partIndices struct {
	addedC, addedR inParallel
	fixtureC, load int
}

// inParallel are the indices of added parts of one kind, then -1.
type inParallel [quantity.MostParallel]int

// addAll adds the parts of v, nil for none. Two of the same text in one take are two
// pieces.
func (l *partList) addAll(kind string, source source, v *quantity.Value) (at inParallel) {
	for i := range at {
		at[i] = -1
	}
	if v == nil {
		return at
	}
	pieces := map[string]int{}
	for i, c := range v.Components() {
		piece := kind
		if pieces[c.String()]++; pieces[c.String()] > 1 {
			piece = fmt.Sprintf("%s (no. %d)", kind, pieces[c.String()])
		}
		at[i] = l.add(piece, source, c, true)
		if source == sourceAddedC {
			d, u, _ := capture.CapacitorLoss(c.Dielectric)
			l.parts[at[i]].loss = dissipation{d, u}
		}
	}
	return at
}

// partList gathers the parts of all takes. warnings names the assumptions.
type partList struct {
	parts    []part
	ofTake   []partIndices
	warnings []string
	// fixtureKnown: every take states its fixture capacitance, so that the
	// coil's own C can be told from it.
	fixtureKnown bool
	// first is the take whose fixture C holds.
	first int
	index map[string]int
}

// firstFixture is the fixture whose capacitance C holds; -1: none is known.
func (l *partList) firstFixture() int { return l.ofTake[l.first].fixtureC }

// ownFixture is l with a fixture of which nothing is known in one take.
func (l partList) ownFixture(take int, what string) partList {
	l.parts, l.ofTake = slices.Clone(l.parts), slices.Clone(l.ofTake)
	own := l.parts[l.ofTake[take].fixtureC]
	own.what = what
	l.ofTake[take].fixtureC = len(l.parts)
	l.parts = append(l.parts, own)
	if l.first == take {
		l.first++
	}
	return l
}

func gatherParts(takes []Take) partList {
	l := partList{fixtureKnown: true, index: map[string]int{}}
	for _, t := range takes {
		if t.Load.FixtureC == nil {
			l.fixtureKnown = false
		}
	}
	someFixture := false
	for _, t := range takes {
		var addedC, addedR *quantity.Value
		if t.Load.AddedC != nil {
			addedC = &t.Load.AddedC.Value
		}
		if t.Load.AddedR != nil {
			addedR = &t.Load.AddedR.Value
		}
		at := partIndices{fixtureC: -1, addedC: l.addAll("added C", sourceAddedC, addedC),
			addedR: l.addAll("added R", sourceAddedR, addedR)}
		if c := t.Load.FixtureC; c != nil {
			someFixture = true
			if l.fixtureKnown {
				at.fixtureC = l.add("fixture C", sourceFixtureC, c.Value, false)
			}
		}
		if r := t.Load.FixtureR; r != nil {
			at.load = l.add("load", sourceLoad, r.Value, false)
		} else {
			at.load = l.addAssumedInput()
		}
		l.ofTake = append(l.ofTake, at)
	}
	if someFixture && !l.fixtureKnown {
		l.warnings = append(l.warnings, "the fixture's capacitance is stated for some takes only: the same fixture "+
			"is assumed for all, and its capacitance stays part of the coil's")
	}
	return l
}

func (l *partList) add(kind string, source source, v quantity.Value, measured bool) int {
	key := kind + "|" + v.String()
	if i, ok := l.index[key]; ok {
		return i
	}
	p, warning := partOf(kind, source, v, measured)
	if warning != "" {
		l.warnings = append(l.warnings, warning)
	}
	return l.put(key, p)
}

func (l *partList) addAssumedInput() int {
	const key = "assumed input"
	if i, ok := l.index[key]; ok {
		return i
	}
	l.warnings = append(l.warnings, fmt.Sprintf(
		"the input's resistance is not stated: about %s is assumed (typical of an instrument input), uncertain by a "+
			"factor of %.1f; measure it, and state it with every take",
		quantity.Format(AssumedInputOhm, quantity.Ohm, 2), math.Exp(quantity.Coverage95*AssumedInputLnU)))
	return l.put(key, part{what: "input resistance (assumed)", source: sourceAssumed, unit: quantity.Ohm,
		nominal: AssumedInputOhm, u: AssumedInputLnU})
}

func (l *partList) put(key string, p part) int {
	l.index[key] = len(l.parts)
	l.parts = append(l.parts, p)
	return len(l.parts) - 1
}

// resistancePrior is the prior of R during the takes from the meter: the DC
// resistance carried to the coil's temperature then. ok is false where no reading
// is there.
func resistancePrior(coil capture.Coil) (p part, warnings []string, ok bool) {
	if coil.DCR == nil {
		return part{}, nil, false
	}
	p, warning := partOf("DC resistance", sourceDCR, coil.DCR.Value, false)
	if warning != "" {
		warnings = append(warnings, warning)
	}
	read, then := coil.DCR.Celsius, coil.CelsiusAtTakes
	switch {
	case read != nil && then != nil:
		p.nominal *= exciter.CopperFactor(*read, *then)
	default:
		// The takes are made at the bench where the meter lies: a limit of
		// 3 K between the two, common practice for a room.
		u := exciter.CopperPerKelvin20 * unstatedKelvin / math.Sqrt(3)
		p.u = math.Hypot(p.u, u)
		warnings = append(warnings, fmt.Sprintf(
			"the coil's temperature during the takes or the resistance reading is not stated: within %g K of each "+
				"other is assumed, which adds %.2f %% to U95 of R (state celsius_at_takes in coil.toml)",
			unstatedKelvin, 100*quantity.Coverage95*u))
	}
	return p, warnings, true
}

// Resistance is what is known of a coil's resistance during its takes.
type Resistance struct{ Ohm, RelativeU float64 }

// ResistanceAtTakes is the coil's DC resistance carried to its temperature during the
// takes, and what was assumed for it; ok is false where none is stated.
func ResistanceAtTakes(coil capture.Coil) (r Resistance, assumed []string, ok bool) {
	p, assumed, ok := resistancePrior(coil)
	return Resistance{p.nominal, p.u}, assumed, ok
}

// unstatedKelvin is how far temperatures that are not stated may be apart.
const unstatedKelvin = 3.0

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
			if p.letGo || slices.Contains(found, i) || !p.isFact() && p.source != sourceFixtureC &&
				p.source != sourceScale {
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
		s, err := (&j).finish(leastsquares.NewSolver((&j).problem()), x,
			leastsquares.Settings{Tolerance: settled, MaxIterations: 100})
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
		case a.request.know.resistance != nil && p.what == a.request.know.resistance.what:
			known = *a.request.know.resistance
		case a.request.know.inductance != nil && p.what == a.request.know.inductance.what:
			known = *a.request.know.inductance
		case p.source == sourceScale && a.letGoes(addedScale):
			known = part{what: addedScale, unit: quantity.Ratio, nominal: 1, u: scaleU}
		default:
			continue
		}
		fitted := p.value(newState(j), slices.Clone(a.best.x))
		if p.columns[1] >= 0 {
			fitted -= p.factors[1] * a.best.x[p.columns[1]] // the part, not what its meter shows
		}
		parts = append(parts, fit.Part{
			What: known.what, Unit: string(known.unit), Nominal: known.nominal, U: known.u * known.nominal,
			Fitted: math.Exp(fitted), Pull: a.best.pull(i) * p.u / max(known.u, exactU),
			Suspect: a.letGoes(known.what) || slices.Contains(suspects, i),
		})
	}
	return parts
}

// letGoes tells whether the numbers are without what is called so.
func (a *analysis) letGoes(what string) bool {
	return slices.ContainsFunc(a.letGo, func(found []trial) bool { return found[0].doubt.what == what })
}

// suspectText says what is wrong with a part; ofTake: of one that is in one take only.
func suspectText(p fit.Part, ofTake bool) string {
	unit := quantity.Unit(p.Unit)
	if p.What == addedScale {
		word := "larger"
		if p.Fitted < 1 {
			word = "smaller"
		}
		return fmt.Sprintf("the takes and the other facts fit better if all added parts are %.2g %% %s than stated: the "+
			"meter they were valued with is off, or they are another series", 100*math.Abs(p.Fitted-1), word)
	}
	why := "a wrong part, or a wrong reading"
	if ofTake {
		why = "a wrong part, or another cable or another coil in that take"
	}
	return fmt.Sprintf("%s is stated as %s; the takes fit better with %s, %.1f standard uncertainties away: %s",
		p.What, quantity.Format(p.Nominal, unit, 4), quantity.Format(p.Fitted, unit, 4), math.Abs(p.Pull), why)
}

// prior is Gaussian knowledge of a linear combination of parameters: mostly of
// one, but a part measured with a meter depends on the meter's scale too. With
// meter set it is knowledge of what an LCR meter shows.
type prior struct {
	source  source
	columns [2]int // -1 for none
	factors [2]float64
	mean    float64
	u       float64
	part    int  // index of the part, -1 for others
	limit   bool // stated as a limit: rectangular
	what    string
	letGo   bool // the takes contradict it
	meter   *meterInductance
}

// meterInductance is how a meter's inductance was read.
type meterInductance struct {
	hz       float64
	parallel bool
}

// value is what mean is the expectation of; s is scratch memory.
func (p *prior) value(s *state, x []float64) float64 {
	if p.meter != nil {
		return math.Log(p.meter.shown(s, x))
	}
	var v float64
	for k, c := range p.columns {
		if c >= 0 {
			v += p.factors[k] * x[c]
		}
	}
	return v
}

// slope hands the derivatives of value to set.
func (p *prior) slope(s *state, x []float64, set func(column int, d float64)) {
	if p.meter == nil {
		for k, c := range p.columns {
			if c >= 0 {
				set(c, p.factors[k])
			}
		}
		return
	}
	p.meter.slope(s, x, set)
}

// along is the derivative of value in the direction v.
func (p *prior) along(j *joint, x []float64, v func(column int) float64) float64 {
	var sum float64
	p.slope(newState(j), x, func(column int, d float64) { sum += d * v(column) })
	return sum
}

// setBare puts the coil alone at x into s.coil: all the C less the fixture's, or
// half of it where the fixture is not known. It returns how far ln of that C
// moves with ln of all the C and with ln of the fixture's.
func (m *meterInductance) setBare(s *state, x []float64) (byAll, byFixture float64) {
	s.setCoil(x)
	if !s.j.parts.fixtureKnown {
		s.coil.CapacitanceF /= 2
		return 1, 0
	}
	all, fixture := s.coil.CapacitanceF, s.j.loadOf(0, x).firstFixtureC
	s.coil.CapacitanceF = max(all-fixture, 0)
	if s.coil.CapacitanceF == 0 {
		return 0, 0
	}
	return all / s.coil.CapacitanceF, -fixture / s.coil.CapacitanceF
}

// shown is the inductance that the meter shows of the coil alone; s is scratch
// memory.
func (m *meterInductance) shown(s *state, x []float64) float64 {
	m.setBare(s, x)
	r := s.coil.Meter(m.hz, circuit.Open())
	if m.parallel {
		return r.ParallelInductanceH
	}
	return r.SeriesInductanceH
}

// slope hands the derivatives of ln shown to set: L_s = Im Z/w,
// L_p = -1/(w Im 1/Z), and d(1/Z) = -dZ/Z².
func (m *meterInductance) slope(s *state, x []float64, set func(column int, d float64)) {
	byAll, byFixture := m.setBare(s, x)
	z := s.coil.ImpedanceGradient(circuit.At(complex(0, 2*math.Pi*m.hz)), circuit.Open(), &s.gradient)
	relative := func(dz complex128) float64 { return imag(dz) / imag(z) }
	if m.parallel {
		relative = func(dz complex128) float64 { return imag(dz/(z*z)) / imag(1/z) }
	}
	g, j := &s.gradient, s.j
	set(atL, relative(g.LnInductance))
	set(atR, relative(g.LnResistance))
	set(atC, byAll*relative(g.LnCapacitance))
	column := j.firstRing
	s.setShares(1, func(dz complex128) {
		set(column, relative(dz))
		column++
	})
	if byFixture != 0 {
		set(j.firstPart+j.parts.firstFixture(), byFixture*relative(g.LnCapacitance))
	}
}

// isFact tells whether the prior is a fact that was stated of a part or by a
// meter, and holds.
func (p *prior) isFact() bool {
	if p.letGo {
		return false
	}
	switch p.source {
	case sourceAddedC, sourceAddedR, sourceLoad, sourceDCR, sourceMeter:
		return true
	}
	return false
}

// pull is by how many of its standard uncertainties the solution moves what a
// prior says.
func (s *solution) pull(i int) float64 {
	p := &s.joint.priors[i]
	return (p.value(newState(s.joint), s.x) - p.mean) / p.u
}

// Limits of how far known facts may be pulled: each, and the sum of squares of all
// together, at 1 %.
const (
	factPull   = 2.6
	factNormal = 2.326
)

// factsAgree tests all known facts together. One of them sets the scale.
func (s *solution) factsAgree() bool {
	var sum float64
	n := -1.0
	for i := range s.joint.priors {
		if s.joint.priors[i].isFact() {
			pull := s.pull(i)
			if math.Abs(pull) > factPull {
				return false
			}
			sum += pull * pull
			n++
		}
	}
	if n < 1 {
		return true
	}
	// The quantile of chi-square by E. B. Wilson and M. M. Hilferty, Proc. Natl.
	// Acad. Sci. 17 (1931) 684.
	root := 1 - 2/(9*n) + factNormal*math.Sqrt(2/(9*n))
	return sum <= n*root*root*root
}
