package batch

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// Limits bound a quantity of a good coil.
type Limits struct {
	Lower, Upper float64 // -Inf, +Inf: none
	// U is the standard uncertainty of the limits themselves: that of the
	// reference coil they stand around; 0 for limits that were agreed upon.
	U float64
	// Named: they were stated for this quantity. A coil of which it is not known does not
	// pass.
	Named bool
}

// Verdict is the outcome of a measured quantity against its limits.
type Verdict string

// The verdicts.
const (
	Pass      Verdict = "pass"
	Fail      Verdict = "fail"
	Undecided Verdict = "undecided" // too near to a limit for this uncertainty
	Unknown   Verdict = "unknown"   // not measured
)

// Judgement is a quantity against its limits.
type Judgement struct {
	Verdict Verdict
	// Probability that the quantity lies within the limits, for a normal
	// distribution about the estimate (JCGM 106:2012, 7.2 … 7.4); NaN where
	// unknown.
	Probability float64
	// Limit is the one that is nearest, and Beyond by how much the quantity lies outside
	// it, negative inside, with U95; NaN where unknown.
	Limit, Beyond, U95 float64
}

// Judge checks a quantity against limits with guard bands w = guard·U95 (JCGM
// 106:2012, 8.3): it passes where it lies inside both limits by w, and fails
// where it lies outside one by w; in between it is undecided. With guard 0 the
// limits decide alone (simple acceptance, 8.2).
func (l Limits) Judge(q fit.Quantity, guard float64) Judgement {
	return l.judge(q, math.Hypot(q.U, l.U), guard)
}

// judge is Judge with the standard uncertainty of the quantity against the limits.
func (l Limits) judge(q fit.Quantity, u, guard float64) Judgement {
	if !q.Known() {
		return Judgement{Unknown, math.NaN(), math.NaN(), math.NaN(), math.NaN()}
	}
	w := guard * quantity.Coverage95 * u
	j := Judgement{Verdict: Undecided, Probability: probabilityWithin(q.Value, u, l.Lower, l.Upper),
		U95: quantity.Coverage95 * u}
	if j.Limit, j.Beyond = l.Upper, q.Value-l.Upper; l.Lower-q.Value > j.Beyond {
		j.Limit, j.Beyond = l.Lower, l.Lower-q.Value
	}
	switch {
	case j.Beyond <= -w:
		j.Verdict = Pass
	case j.Beyond > w:
		j.Verdict = Fail
	}
	return j
}

func probabilityWithin(y, u, lower, upper float64) float64 {
	if u == 0 {
		if y >= lower && y <= upper {
			return 1
		}
		return 0
	}
	return distuv.UnitNormal.CDF((upper-y)/u) - distuv.UnitNormal.CDF((lower-y)/u)
}

// worse is the verdict of a coil with both verdicts: a failure counts before
// what is open, and that before a pass.
func worse(a, b Verdict) Verdict {
	for _, v := range []Verdict{Fail, Undecided, Unknown, Pass} {
		if a == v || b == v {
			return v
		}
	}
	return b
}
