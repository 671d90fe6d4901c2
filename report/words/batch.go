package words

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/batch"
	"coilsweep/fit/comparison"
	"coilsweep/report/notation"
)

// Batch is a batch in plain sentences.
func Batch(b *batch.Batch) []string {
	first := notation.Count(len(b.Coils), "coil")
	switch n := b.Repeats(); {
	case n == 1:
		first += ", 1 of them measured more than once"
	case n > 1:
		first += fmt.Sprintf(", %d of them measured more than once", n)
	}
	words := []string{first + "."}
	if b.Others != nil {
		state := func(name string) string { return cmp.Or(name, "as first measured") }
		words = append(words, fmt.Sprintf("State of the coils: %s. Left out are their measurements in other states: %s.",
			state(b.State), strings.Join(notation.Each(b.Others, state), ", ")))
	}
	if b.Judged {
		var parts []string
		for _, v := range []struct {
			verdict   batch.Verdict
			one, many string
		}{
			{batch.Pass, "passes", "pass"}, {batch.Fail, "fails", "fail"},
			{batch.Undecided, "is too close to a limit to decide", "are too close to a limit to decide"},
			{batch.Unknown, "cannot be judged: something was not measured",
				"cannot be judged: something was not measured"},
		} {
			switch n := b.Count(v.verdict); {
			case n == 1:
				parts = append(parts, "1 "+v.one)
			case n > 1:
				parts = append(parts, fmt.Sprintf("%d %s", n, v.many))
			}
		}
		words = append(words, notation.UpperFirst(strings.Join(parts, ", "))+".")
		if b.Unjudged != nil {
			words = append(words, "Limits are stated for "+list(notation.Each(b.Unjudged,
				func(p comparison.Property) string { return p.Name }))+", which is known of no coil: none passes.")
		}
	}
	return append(words, failures(b)...)
}

// mostFailures bounds the coils of which it is said why they fail.
const mostFailures = 12

// failures say which coils fail, and which limit.
func failures(b *batch.Batch) (said []string) {
	for i, c := range b.Coils {
		if !b.Judged || c.Verdict != batch.Fail {
			continue
		}
		if len(said) == mostFailures {
			return append(said, "The table below shows the others that fail.")
		}
		var broken []string
		for _, p := range failed(b, i) {
			unit := UnitOf(p.Property)
			broken = append(broken, fmt.Sprintf("%s is %s, and is to be %s", p.Name,
				quantity.Format(p.Values[i].Value, unit, limitDigits), Limits(p.Limits, unit)))
		}
		said = append(said, notation.Visible(c.Name)+" fails: "+strings.Join(broken, "; ")+".")
	}
	return said
}

// failed are the properties in which a coil fails.
func failed(b *batch.Batch, coil int) (out []batch.Property) {
	for _, p := range b.Properties {
		if p.Judgements != nil && p.Judgements[coil].Verdict == batch.Fail {
			out = append(out, p)
		}
	}
	return out
}

// limitDigits are those of limits, and of what is set beside them.
const limitDigits = 4

// Limits are limits as text: "2.280 H … 2.520 H", "at least 3.000".
func Limits(l *batch.Limits, unit quantity.Unit) string {
	const digits = limitDigits
	switch {
	case l == nil:
		return notation.None
	case math.IsInf(l.Lower, -1):
		return "at most " + quantity.Format(l.Upper, unit, digits)
	case math.IsInf(l.Upper, 1):
		return "at least " + quantity.Format(l.Lower, unit, digits)
	}
	scale := quantity.ScaleOf(l.Upper, unit, digits)
	return scale.Format(l.Lower, unit, digits) + " … " + scale.Format(l.Upper, unit, digits)
}

// Spreads are a property for whoever winds the coils: what is typical, how far
// coils differ, how far the same coil does when it is measured again, and the
// uncertainty.
//
// How far coils differ is the robust spread where there is one, so that one bad
// coil does not speak for all, with the measurement's part taken off where
// something was measured twice.
func Spreads(p batch.Property) []string {
	between, repeat := p.RobustSD, math.NaN()
	if p.Scores == nil { // too few coils for it
		between = p.SD
	}
	if p.Anova != nil {
		repeat = p.Anova.RepeatabilitySD
		between = math.Sqrt(max(0, between*between-repeat*repeat))
	}
	return []string{Centre(p, p.Median), spread(p, between), spread(p, repeat),
		spread(p, quantity.Coverage95*p.MeasurementU)}
}

// Statistics are a property for whoever asks how it was worked out: how many are
// known, mean, s, median, Qn, s_r and s_L.
func Statistics(p batch.Property) []string {
	repeat, between := math.NaN(), math.NaN()
	if p.Anova != nil {
		repeat, between = p.Anova.RepeatabilitySD, p.Anova.BetweenSD
	}
	return []string{strconv.Itoa(p.Known), Centre(p, p.Mean), spread(p, p.SD), Centre(p, p.Median),
		spread(p, p.RobustSD),
		spread(p, repeat), spread(p, between)}
}

// VarianceTest is F with its P; they have no value where nothing scatters or no
// coil was measured twice.
func VarianceTest(p batch.Property) (f, probability string) {
	f, probability = notation.None, notation.None
	if p.Anova == nil {
		return f, probability
	}
	if x := p.Anova.F; !math.IsNaN(x) && !math.IsInf(x, 0) {
		f = fmt.Sprintf("%.3g", x)
	}
	switch x := p.Anova.P; {
	case x < 0.001:
		probability = "< 0.001"
	case !math.IsNaN(x):
		probability = fmt.Sprintf("%.2g", x)
	}
	return f, probability
}

// spread is a standard deviation against the mean: in percent, for levels in dB.
func spread(p batch.Property, sd float64) string {
	switch {
	case math.IsNaN(sd), !p.Decibel && p.Median == 0:
		return notation.None
	case p.Decibel:
		return notation.TwoDigits(sd) + " dB"
	}
	return notation.Percent(100 * sd / math.Abs(p.Median))
}

// Centre is the mean, the median or a limit of a property, with the digits that
// the uncertainty of a mean of all coils leaves.
func Centre(p batch.Property, x float64) string {
	if math.IsNaN(x) {
		return notation.None
	}
	u95 := quantity.Coverage95 * math.Hypot(p.SD, p.MeasurementU) / math.Sqrt(float64(max(p.Known, 1)))
	return notation.Value(fit.Quantity{Value: x, U95: u95}, UnitOf(p.Property))
}

// Verdict is the verdict on the coil with index i.
func Verdict(b *batch.Batch, i int) string {
	if !b.Judged {
		return notation.None
	}
	return string(b.Coils[i].Verdict)
}

// VerdictOn is Verdict with what it is about: "fail: Q, L".
func VerdictOn(b *batch.Batch, i int) string {
	said := Verdict(b, i)
	if names := notation.Each(failed(b, i), func(p batch.Property) string { return p.Name }); names != nil {
		said += ": " + strings.Join(names, ", ")
	}
	return said
}

// batchSignals are the signals of the control charts, a sentence for each rule and
// quantity, without coils that stand out anyhow.
func batchSignals(b *batch.Batch) []string {
	var words []string
	type signal struct {
		family string
		coil   int
		what   batch.Signal
	}
	said := map[signal]bool{}
	for _, p := range b.Properties {
		if p.Chart == nil {
			continue
		}
		var rules []batch.SignalKind
		coils := map[batch.SignalKind][]string{}
		for _, s := range p.Chart.Signals {
			coil := p.Charted[s.At]
			one := signal{p.Family(), coil, s}
			if p.Outlying(coil) || said[one] {
				continue // it is named already
			}
			said[one] = true
			if coils[s.What] == nil {
				rules = append(rules, s.What)
			}
			coils[s.What] = append(coils[s.What], notation.Visible(b.Coils[coil].Name))
		}
		for _, rule := range rules {
			words = append(words, fmt.Sprintf("Over time, %s of %s: %s.", p.Name, list(coils[rule]),
				notation.Typeset(string(rule))))
		}
	}
	return words
}

// BatchRemarks say how the numbers were made.
func BatchRemarks(b *batch.Batch) []string {
	out := []string{
		"Typical is the median. Coil to coil is the typical spread Qn, without s_r where coils were measured more " +
			"than once.",
		"Spreads are standard deviations in percent of the median: s of the coils, each counted once; " +
			"Qn the same, hardly changed by a few bad coils (Rousseeuw and Croux 1993).",
		"s_r is the repeatability of measuring one coil again, s_L the spread of the coils themselves, " +
			"by one-way analysis of variance (ISO 5725-2). Coils of the same name are one coil.",
		"! marks values more than 3.5 robust standard deviations from the median, including the measurement's own " +
			"uncertainty.",
	}
	if b.Judged {
		out = append(out, fmt.Sprintf("A coil passes if it is at least %g U95 inside every limit, "+
			"and fails if it is that far beyond one (guard bands, JCGM 106).", b.Guard))
	}
	return append(out, "Control limits are three standard deviations from the mean, "+
		"by moving ranges (ISO 7870-2), in the order of time. Signals are a coil beyond them, two of three beyond two "+
		"standard deviations on one side, four of five beyond one, and eight in a row on one side (Western Electric, "+
		"1956); a quantity that has not changed gives one in 92 coils.")
}

// StandsOut says which coils stand out from the others, and why.
func StandsOut(b *batch.Batch) []string {
	var said []string
	for _, c := range b.Coils {
		if c.Suspicion.Findings != nil {
			said = append(said, notation.Visible(c.Name)+" stands out: "+notation.Typeset(c.Suspicion.String())+".")
		}
	}
	return append(said, batchSignals(b)...)
}
