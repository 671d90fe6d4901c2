package joint

import (
	"cmp"
	"fmt"
	"math"

	"coilsweep/capture"
	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/meter"
)

// meterReadings compares the readings in coil.toml with the fitted circuit.
func (a *analysis) meterReadings(coil capture.Coil) []fit.MeterResult {
	results := []fit.MeterResult{}
	if coil.DCR != nil {
		results = append(results, a.directReading(coil))
	}
	for _, m := range coil.Meter {
		v, err := m.Value()
		if err != nil {
			continue // a coil folder with such a reading does not open
		}
		r := &reading{a: a, m: m, v: v,
			is: meter.Reading{What: m.What, Mode: cmp.Or(m.Mode, fit.ModeSeries), AtHz: m.AtHz, Warmth: 1}}
		read, then := m.Temperature(), coil.CelsiusAtTakes
		if r.temperatureKnown = read != nil && then != nil; r.temperatureKnown {
			r.is.Warmth = exciter.CopperFactor(*then, *read)
		}
		results = append(results, r.result())
	}
	return results
}

// reading is one meter reading with the state of the coil at it.
type reading struct {
	a                *analysis
	m                capture.MeterReading
	v                quantity.Value
	is               meter.Reading
	temperatureKnown bool
}

// unknownShare is the part of all the C that counts as the coil's own where the
// fixture is not known: the middle of its range.
const unknownShare = 0.5

// circuitAt is the coil as the meter has it: without the fixture, at its
// temperature then.
func (r *reading) circuitAt(j *joint, x []float64) circuit.Coil {
	var c circuit.Coil
	if r.a.request.parts.fixtureKnown {
		c = bareAt(j, x)
	} else {
		c = j.coilAt(x)
		c.CapacitanceF *= unknownShare
	}
	c.ResistanceOhm *= r.is.Warmth
	return c
}

// windingTanDelta is the largest dissipation factor of a winding's own
// capacitance, enamel and wax (common practice: 0.01 to 0.03). Within the sweep
// it is part of the fitted losses.
const windingTanDelta = 0.03

func (r *reading) result() fit.MeterResult {
	a, hz := r.a, r.m.AtHz
	best := r.circuitAt(a.best.joint, a.best.x)
	out := fit.MeterResult{What: r.m.What, AtHz: hz, Mode: r.is.Mode, Reading: r.v.SI, U95: r.v.U95()}
	explanation := &fit.MeterExplanation{}
	out.Explanation = explanation
	note := func(format string, args ...any) {
		explanation.Notes = append(explanation.Notes, fmt.Sprintf(format, args...))
	}

	value := r.is.Shows(best)
	v := a.propagated(r.circuitAt, 1, func(c circuit.Coil, dst []float64) { dst[0] = r.is.Shows(c) })[0]
	limit := func(other ...float64) { // a rectangular distribution out to the farthest
		half := 0.0
		for _, x := range other {
			half = max(half, math.Abs(x-value))
		}
		v.Fit += half * half / 3
	}
	if !r.temperatureKnown {
		warm := best
		warm.ResistanceOhm *= 1 + exciter.CopperPerKelvin20*unstatedKelvin
		limit(r.is.Shows(warm))
		note("the coil's temperature at the reading or during the takes is not stated: within %g K of each other is "+
			"assumed (celsius, celsius_at_takes in coil.toml)", unstatedKelvin)
	}
	if !a.request.parts.fixtureKnown {
		none, all := best, best
		none.CapacitanceF, all.CapacitanceF = 1e-15, best.CapacitanceF/unknownShare
		limit(r.is.Shows(none), r.is.Shows(all))
		note("the fixture's capacitance is not known: the coil's own is taken to lie between nothing and all of %s "+
			"(state it, fixture_c, with every take)",
			quantity.Format(best.CapacitanceF/unknownShare, quantity.Farad, 3))
	}
	if low, high := a.sweptHz(); hz < low || hz > high {
		if s := a.runnerUp(); s != nil {
			d := r.is.Shows(r.circuitAt(s.joint, s.x)) - value
			v.Model += d * d
		}
		if hz > high {
			lossy := circuit.Load{ResistanceOhm: 1 / (2 * math.Pi * hz * best.CapacitanceF * windingTanDelta)}
			limit(r.is.ShowsWith(best, lossy))
		}
		note("%s lies outside the sweep (%s to %s): the circuit is extrapolated, and U95 was widened for losses that "+
			"the sweep does not show",
			quantity.Format(hz, quantity.Hertz, 3), quantity.Format(low, quantity.Hertz, 2),
			quantity.Format(high, quantity.Hertz, 2))
	}
	what := map[string]string{"L": "inductance", "C": "capacitance", "R": "resistance", "Q": "Q", "D": "D"}[r.m.What]
	out.Expected = v.Judge(value, fit.Sought{Missing: derived{name: nameCapacitanceCoil}.missing()}, a.missingFact())
	if f0, q, ok := best.Resonance(circuit.Open()); ok && math.Abs(hz/f0-1) < 1/q && out.Expected.Known() {
		out.Expected = fit.Unknown(fmt.Sprintf(
			"the coil's self-resonance is at about %s: so near to it a meter shows no steady %s",
			quantity.Format(f0, quantity.Hertz, 3), what))
	}
	if a.ambiguous != "" {
		out.Expected = fit.Unknown(a.ambiguous)
	}
	if out.Expected.Known() {
		explanation.From, explanation.Effects = r.is.Effects(best)
	}
	r.score(&out, best)
	return out
}

// score judges the reading.
func (r *reading) score(out *fit.MeterResult, best circuit.Coil) {
	switch {
	case r.m.UseInFit:
		out.Verdict = "not scored: the reading is part of the fit"
		return
	case !out.Expected.Known():
		out.Verdict = "not scored: what the meter should show is not known"
		return
	case r.v.Basis == quantity.Unstated:
		out.Verdict = fmt.Sprintf(`not scored: the meter's accuracy is not stated (as in "2.31H 0.5%% + 2 digits"); the reading lies %s`, meter.Apart(out.Reading, out.Expected.Value))
		return
	}
	en := fit.En(out.Reading, out.U95, out.Expected.Value, out.Expected.U95)
	out.En = &en
	if math.Abs(en) <= 1 {
		out.Verdict = "agrees"
		return
	}
	out.Verdict = "does not agree: the reading lies " + meter.Apart(out.Reading, out.Expected.Value)
	out.Explanation.Causes = r.is.Causes(*out, best, meter.Facts{
		TotalF: r.a.best.coil().CapacitanceF, AddedCapacitors: r.leansOn(sourceAddedC),
		TemperatureKnown: r.temperatureKnown,
	})
}

// sweptHz is the range of frequencies that the takes show.
func (a *analysis) sweptHz() (low, high float64) {
	low = math.Inf(1)
	for _, omega := range a.best.joint.omega {
		low, high = min(low, omega[0]), max(high, omega[len(omega)-1])
	}
	return low / (2 * math.Pi), high / (2 * math.Pi)
}

// runnerUp is the next best form; nil where one alone was tried. Outside the
// sweep it may be as good as the best.
func (a *analysis) runnerUp() *solution {
	var next *solution
	for _, s := range a.solutions {
		if s.joint.form == a.best.joint.form {
			continue
		}
		if next == nil || s.bic(a.widen*a.widen) < next.bic(a.widen*a.widen) {
			next = s
		}
	}
	return next
}

// leansOn tells whether much of the uncertainty of L comes from one source.
func (r *reading) leansOn(s source) bool {
	e := r.a.known.of(derived{name: nameInductance})
	return e.shares[s] > 0.01*e.u*e.u
}

// directReading is the DC resistance, which is part of the fit; its note gives
// the resistance by the takes without it.
func (a *analysis) directReading(coil capture.Coil) fit.MeterResult {
	v := coil.DCR.Value
	out := fit.MeterResult{What: "R", Mode: fit.ModeDC, Reading: v.SI, U95: v.U95(),
		Verdict: "not scored: the reading is part of the fit"}
	warmth := 1.0
	known := v.Celsius != nil && coil.CelsiusAtTakes != nil
	if known {
		warmth = exciter.CopperFactor(*coil.CelsiusAtTakes, *v.Celsius)
	}
	e := &fit.MeterExplanation{From: math.Exp(a.best.x[atR]), Effects: []fit.MeterEffect{}}
	out.Explanation = e
	out.Expected = a.quantity(derived{name: nameResistance}, knownU)
	if out.Expected.Known() {
		out.Expected = fit.Quantity{Value: warmth * out.Expected.Value, U: warmth * out.Expected.U,
			U95: warmth * out.Expected.U95}
	}
	if warmth != 1 {
		e.Effects = append(e.Effects, fit.MeterEffect{What: "temperature", Percent: 100 * (warmth - 1)})
	}
	if p := a.request.know.resistance; p != nil {
		lnR, u, ok := a.best.x[atR], math.Sqrt(a.known.c.At(atR, atR)), true
		if a.resistive {
			lnR, u, ok = without(*p, lnR, u)
		} else {
			out.Verdict = "not scored: the takes contradict the reading, and it was left out of the fit"
		}
		if !ok || u > knownU {
			e.Notes = append(e.Notes, "the takes alone hardly tell R: the reading cannot be checked against them")
			return out
		}
		alone := math.Exp(lnR) * warmth
		en := fit.En(out.Reading, quantity.Coverage95*p.u*out.Reading, alone, quantity.Coverage95*u*alone)
		word := "agree"
		if math.Abs(en) > 1 {
			word = "do not agree"
			e.Causes = append(e.Causes,
				fmt.Sprintf("another temperature: the coil would have been %.0f K warmer during the takes than at "+
					"the reading, beyond what is stated", (alone/out.Reading-1)/exciter.CopperPerKelvin20),
				"a break or a shorted turn between the reading and the takes, or another coil",
				"an input that loads the coil more than the fixture's stated resistance says")
		}
		e.Notes = append(e.Notes, fmt.Sprintf(
			"without the reading the takes give %s at its temperature: the two %s (En %s)",
			quantity.FormatWithU95(alone, quantity.Coverage95*u*alone, quantity.Ohm), word, minus("%.2f", en)))
	}
	return out
}

// without takes a prior's knowledge out of an estimate x ± u of a parameter's
// logarithm; ok is false where hardly anything is left.
func without(p part, x, u float64) (rest, restU float64, ok bool) {
	left := 1/(u*u) - 1/(p.u*p.u)
	if left < 1e-3/(p.u*p.u) {
		return 0, 0, false
	}
	return (x/(u*u) - math.Log(p.nominal)/(p.u*p.u)) / left, 1 / math.Sqrt(left), true
}
