package joint

import (
	"fmt"
	"math"
	"slices"

	"coilsweep/fit"
	"coilsweep/fit/leastsquares"

	"coilsweep/capture"
	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
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
)

// sources are all of them, for budgets.
var sources = []source{sourceNoise, sourceAddedC, sourceAddedR, sourceScale, sourceFixtureC, sourceLoad, sourceAssumed,
	sourceDCR, sourceMeter, sourceClock, sourceModel, sourceWeak}

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
}

// unstatedTolerance is the limit assumed for a part without one: common
// practice for unmarked film and ceramic parts.
const unstatedTolerance = 0.05

// assumedInput is the input resistance where none is stated, with the sd of
// its logarithm: common practice for an instrument input is 0.5 to 2 Mohm.
const (
	assumedInputOhm = 1e6
	assumedInputLnU = 0.5
)

func partOf(kind string, source source, v quantity.Value, measured bool) (part, string) {
	p := part{
		what:     fmt.Sprintf("%s %s", kind, v.String()),
		source:   source,
		unit:     v.Unit,
		nominal:  v.SI,
		u:        v.U() / v.SI,
		limit:    v.Basis != quantity.Expanded,
		measured: measured,
	}
	if v.Basis == quantity.Unstated {
		p.u = unstatedTolerance / math.Sqrt(3)
		return p, fmt.Sprintf("%s has no tolerance stated: a limit of ±%g %% is assumed", p.what, 100*unstatedTolerance)
	}
	return p, ""
}

// partIndices are the parts across the coil in one take; -1: none.
type partIndices struct {
	addedC, addedR, fixtureC, load int
}

// partList gathers the parts of all takes. warnings names the assumptions.
type partList struct {
	parts    []part
	ofTake   []partIndices
	warnings []string
	// fixtureKnown: every take states its fixture capacitance, so that the
	// coil's own C can be told from it.
	fixtureKnown bool
	index        map[string]int
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
		at := partIndices{addedC: -1, addedR: -1, fixtureC: -1}
		if c := t.Load.AddedC; c != nil {
			at.addedC = l.add("added C", sourceAddedC, c.Value, true)
		}
		if r := t.Load.AddedR; r != nil {
			at.addedR = l.add("added R", sourceAddedR, r.Value, true)
		}
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
		l.warnings = append(l.warnings, "the fixture's capacitance is stated for some takes only: the same fixture is assumed for all, and its capacitance stays part of the coil's")
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
		"the input's resistance is not stated: about %s is assumed (typical of an instrument input), uncertain by a factor of %.1f; measure it, and state it with every take",
		quantity.Format(assumedInputOhm, quantity.Ohm, 2), math.Exp(quantity.Coverage95*assumedInputLnU)))
	return l.put(key, part{what: "input resistance (assumed)", source: sourceAssumed, unit: quantity.Ohm, nominal: assumedInputOhm, u: assumedInputLnU})
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
			"the coil's temperature during the takes or the resistance reading is not stated: within %g K of each other is assumed, which adds %.2f %% to U95 of R (state celsius_at_takes in coil.toml)",
			unstatedKelvin, 100*quantity.Coverage95*u))
	}
	return p, warnings, true
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
