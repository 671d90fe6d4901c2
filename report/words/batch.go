package words

import (
	"fmt"
	"math"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/batch"
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
	}
	return words
}

// Spread is a standard deviation against the mean: in percent, for levels in dB.
func Spread(p batch.Property, sd float64) string {
	switch {
	case math.IsNaN(sd):
		return notation.None
	case p.Decibel:
		return notation.TwoDigits(sd) + " dB"
	case p.Median == 0:
		return notation.None
	}
	return notation.Percent(100 * sd / math.Abs(p.Median))
}

// BetweenSD is how far coils usually differ from each other: the robust spread
// where there is one, so that one bad coil does not speak for all, with the
// measurement's part taken off where something was measured twice.
func BetweenSD(p batch.Property) float64 {
	sd := p.RobustSD
	if p.Scores == nil { // too few coils for it
		sd = p.SD
	}
	if p.Anova != nil {
		sd = math.Sqrt(math.Max(0, sd*sd-p.Anova.RepeatabilitySD*p.Anova.RepeatabilitySD))
	}
	return sd
}

// RepeatSD is how far measurements of the same coil differ; NaN where none was
// measured twice.
func RepeatSD(p batch.Property) float64 {
	if p.Anova != nil {
		return p.Anova.RepeatabilitySD
	}
	return math.NaN()
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

// batchSignals are the signals of the control charts, without coils that stand
// out anyhow.
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
		for _, s := range p.Chart.Signals {
			one := signal{p.Family(), p.Charted[s.At], s}
			if p.Outlying(one.coil) || said[one] {
				continue // it is named already
			}
			said[one] = true
			words = append(words, fmt.Sprintf("Over time, %s of %s: %s.",
				p.Name, notation.Visible(b.Coils[p.Charted[s.At]].Name), notation.Typeset(string(s.What))))
		}
	}
	return words
}

// AnovaBetween is the spread between coils by analysis of variance; NaN where
// there is none.
func AnovaBetween(p batch.Property) float64 {
	if p.Anova == nil {
		return math.NaN()
	}
	return p.Anova.BetweenSD
}

// VarianceRatio is F; it has no value where nothing scatters.
func VarianceRatio(f float64) string {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return notation.None
	}
	return fmt.Sprintf("%.3g", f)
}

// Probability is the P of a variance ratio.
func Probability(p float64) string {
	switch {
	case math.IsNaN(p):
		return "P " + notation.None
	case p < 0.001:
		return "P < 0.001"
	}
	return fmt.Sprintf("P %.2g", p)
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
		"by moving ranges (ISO 7870-2), in the order of time.")
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
