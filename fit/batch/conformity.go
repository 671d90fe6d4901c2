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
}

// Judge checks a quantity against limits with guard bands w = guard·U95 (JCGM
// 106:2012, 8.3): it passes where it lies inside both limits by w, and fails
// where it lies outside one by w; in between it is undecided. With guard 0 the
// limits decide alone (simple acceptance, 8.2).
func (l Limits) Judge(q fit.Quantity, guard float64) Judgement {
	if !q.Known() {
		return Judgement{Unknown, math.NaN()}
	}
	u := math.Hypot(q.U, l.U)
	w := guard * quantity.Coverage95 * u
	j := Judgement{Verdict: Undecided, Probability: probabilityWithin(q.Value, u, l.Lower, l.Upper)}
	switch {
	case q.Value >= l.Lower+w && q.Value <= l.Upper-w:
		j.Verdict = Pass
	case q.Value < l.Lower-w || q.Value > l.Upper+w:
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
