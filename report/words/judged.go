package words

import (
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/batch"
	"coilsweep/report/notation"
)

// Judged says of a quantity that is not clearly within its limits by how much; empty
// where it is.
func Judged(j batch.Judged) string {
	unit := UnitOf(j.Property)
	side := "above"
	if j.Limit == j.Limits.Lower {
		side = "below"
	}
	by := func(x float64) string { return notation.Quantity(fit.Quantity{Value: x, U95: j.U95}, unit) }
	limit := quantity.Format(j.Limit, unit, 4)
	switch j.Verdict {
	case batch.Fail:
		return j.Name + " is " + by(j.Beyond) + " " + side + " the limit of " + limit
	case batch.Undecided:
		if j.Beyond > 0 {
			return j.Name + " is only " + by(j.Beyond) + " " + side + " the limit of " + limit
		}
		return j.Name + " is only " + by(-j.Beyond) + " within the limit of " + limit
	case batch.Unknown:
		return j.Name + ": " + j.Value.Why
	}
	return ""
}

// JudgedLine is a coil's verdict in one line, with what decided it: "fail: Q is 0.7 ± 0.1
// below the limit of 3".
func JudgedLine(verdict batch.Verdict, all []batch.Judged) string {
	var why []string
	for _, wanted := range []batch.Verdict{batch.Fail, batch.Undecided, batch.Unknown} {
		for _, j := range all {
			// What repeats a quantity at another frequency is not worth a word beside it.
			if j.Verdict == wanted && (j.Base == "" || why == nil) {
				why = append(why, notation.Typeset(Judged(j)))
			}
		}
	}
	if why == nil {
		return string(verdict)
	}
	return string(verdict) + ": " + strings.Join(why, "; ")
}

// BatchLines are the coils of a batch, a line each: name, folder where a name is not the
// only one of its kind, verdict and why.
func BatchLines(b *batch.Batch) []string {
	names := BatchTable(b).Names
	lines := make([]string, len(b.Coils))
	for i, name := range names {
		var all []batch.Judged
		for _, p := range b.Properties {
			if p.Judgements != nil {
				all = append(all, batch.Judged{Property: p.Property, Value: p.Values[i], Limits: *p.Limits,
					Judgement: p.Judgements[i]})
			}
		}
		for _, p := range b.Unjudged {
			all = append(all, batch.Judged{Property: p, Value: fit.Unknown("not measured"),
				Judgement: batch.Judgement{Verdict: batch.Unknown}})
		}
		lines[i] = name + "  " + JudgedLine(b.Coils[i].Verdict, all)
	}
	return lines
}

// Failing names the coils that fail.
func Failing(b *batch.Batch) []string {
	var names []string
	for i, name := range BatchTable(b).Names {
		if b.Judged && b.Coils[i].Verdict == batch.Fail {
			names = append(names, name)
		}
	}
	return names
}
