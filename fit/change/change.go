// Package change says what changed physically about one coil between two of its
// states, such as before and after potting: which of its quantities differ by more than
// U95 and chance explain, and what usually makes them do so.
package change

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/comparison"
)

// Verdict says of one quantity whether it changed.
type Verdict string

// The verdicts. A quantity is Doubtful where its difference is larger than its U95, but
// not than the one of several quantities that chance puts beyond it as often as 1 in 20.
const (
	Changed   Verdict = "changed"
	Doubtful  Verdict = "doubtful"
	Unchanged Verdict = "unchanged"
	Open      Verdict = "?" // not known of both states by their takes
)

// Finding is one quantity of both states.
type Finding struct {
	comparison.Property
	Before fit.Quantity
	comparison.Difference
	Verdict Verdict
}

// Change is a coil against an earlier state of it.
type Change struct {
	Before, After comparison.Coil
	// Findings are those of the circuit, C, L, R and the AC resistance at 10 kHz, and
	// after them resonance and Q with the least load that both states have in common.
	Findings []Finding
	// SameDCR: R changed although the same DC resistance is stated of both.
	SameDCR bool
	// Causes are what usually does such a thing (common practice), each for a part of
	// what changed; none where nothing did, or nothing simple explains it.
	Causes []string
}

// The keys of the quantities of the circuit; C of the coil stands for C where it is
// known.
const (
	capacitance     = "capacitance_f"
	capacitanceCoil = "capacitance_coil_f"
	inductance      = "inductance_h"
	resistance      = "resistance_ohm"
	acResistance    = "branch_10000hz_resistance_ohm"
)

// Of are the changes that a comparison shows: of every coil that is the reference in
// another state.
func Of(c *comparison.Comparison) []Change {
	var changes []Change
	for i, coil := range c.Coils {
		if coil.SameCoil(c.Coils[c.Reference]) {
			changes = append(changes, between(c, i))
		}
	}
	return changes
}

// between is the change from the reference to coil i.
func between(c *comparison.Comparison, i int) Change {
	ch := Change{Before: c.Coils[c.Reference], After: c.Coils[i]}
	rows := map[string]comparison.Row{}
	for _, r := range c.Rows {
		rows[r.Key] = r
	}
	known := func(key string) bool {
		r, ok := rows[key]
		return ok && r.Differences[i].Verdict != comparison.Open
	}
	ofC := capacitance
	if known(capacitanceCoil) {
		ofC = capacitanceCoil
	}
	resonance, q := "resonance_hz", "q"
	if !known(resonance) {
		resonance, q = "bare_resonance_hz", "bare_q"
	}
	compared := 0
	for _, key := range []string{ofC, inductance, resistance, acResistance, resonance, q} {
		if r, ok := rows[key]; ok {
			ch.Findings = append(ch.Findings, Finding{r.Property, r.Values[c.Reference], r.Differences[i], Open})
			if known(key) {
				compared++
			}
		}
	}
	limit := sure(compared)
	for n := range ch.Findings {
		f := &ch.Findings[n]
		switch {
		case f.En == nil:
		case math.Abs(*f.En) > limit:
			f.Verdict = Changed
		case math.Abs(*f.En) > 1:
			f.Verdict = Doubtful
		default:
			f.Verdict = Unchanged
		}
	}
	s := ch.signs(limit)
	ch.SameDCR = s.r*s.r == 1 && comparison.SameDCR(ch.Before.Result, ch.After.Result)
	ch.Causes = causes(s)
	return ch
}

// sure is the |En| from which on one of n differences has changed: without a change the
// chance that any of them is as large is 1 in 20 (C. E. Bonferroni, 1936), for a normal
// distribution.
func sure(n int) float64 {
	if n < 2 {
		return 1
	}
	return distuv.UnitNormal.Quantile(1-0.05/float64(2*n)) / quantity.Coverage95
}

// find is the finding on a quantity.
func (c Change) find(keys ...string) (Finding, bool) {
	for _, f := range c.Findings {
		for _, key := range keys {
			if f.Key == key {
				return f, true
			}
		}
	}
	return Finding{}, false
}

// signs are how the quantities of the circuit changed: +1 where one rose, −1 where it
// fell, 0 where it did not as far as the takes can tell, and NaN where it is not known
// of both states.
type signs struct {
	c, l, r float64
	// metal is that of the AC resistance, beyond what goes with L and R: eddy currents in
	// the same metal take the same share of L.
	metal float64
	// kelvin is the change of temperature that would explain R.
	kelvin float64
}

func (c Change) signs(limit float64) signs {
	sign := func(keys ...string) (Finding, float64) {
		f, ok := c.find(keys...)
		switch {
		case !ok || f.Verdict == Open:
			return f, math.NaN()
		case f.Verdict == Changed:
			return f, math.Copysign(1, f.Delta.Value)
		}
		return f, 0
	}
	var s signs
	_, s.c = sign(capacitance, capacitanceCoil)
	ofL, l := sign(inductance)
	ofR, r := sign(resistance)
	ac, metal := sign(acResistance)
	s.l, s.r, s.metal = l, r, metal
	if r != 0 {
		s.kelvin = ofR.Percent / 100 / exciter.CopperPerKelvin20
	}
	if metal == 1 || metal == -1 {
		rest := ac.Delta.Value
		if r*r == 1 {
			rest -= ofR.Delta.Value
		}
		if l*l == 1 {
			rest -= ofL.Percent / 100 * (ac.Before.Value - ofR.Before.Value)
		}
		if s.metal = 0; math.Abs(rest) > limit*ac.Delta.U95 {
			s.metal = math.Copysign(1, rest)
		}
	}
	return s
}

// With are the findings with a verdict. Resonance and Q follow from the circuit: they
// are among them only where the circuit's quantities have nothing to say, and so are
// silent beside a change of one of these.
func (c Change) With(v Verdict) []Finding {
	var ofCircuit, follow []Finding
	explained := false
	for _, f := range c.Findings {
		switch f.Key {
		case capacitance, capacitanceCoil, inductance, resistance, acResistance:
			explained = explained || f.Verdict == Changed
			if f.Verdict == v {
				ofCircuit = append(ofCircuit, f)
			}
		default:
			if f.Verdict == v {
				follow = append(follow, f)
			}
		}
	}
	if explained {
		return ofCircuit
	}
	return append(ofCircuit, follow...)
}
