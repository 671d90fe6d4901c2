package figure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"coilsweep/fit/batch"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/words"
)

// BatchStyles gives styles of their own to coils that fail or stand out, in the
// order of how far; the others are thin lines in the style left for them.
func BatchStyles(b *batch.Batch) []CoilStyle {
	styles := newStyles(len(b.Coils))
	var marked []int
	far := make([]float64, len(b.Coils))
	for i, c := range b.Coils {
		for _, p := range b.Properties {
			if p.Outlying(i) {
				far[i] = math.Max(far[i], math.Abs(p.Scores[i]))
			}
		}
		if far[i] > 0 || b.Judged && c.Verdict == batch.Fail {
			marked = append(marked, i)
		}
	}
	slices.SortStableFunc(marked, func(x, y int) int { return cmp.Compare(far[y], far[x]) })
	for n, i := range marked[:min(len(marked), plot.Styles-1)] {
		styles[i].Style, styles[i].Own = n+1, true
	}
	return styles
}

// Control is a property's control chart; nil where there is none.
func Control(p batch.Property) *plot.Figure {
	c := p.Chart
	if c == nil {
		return nil
	}
	largest := 0.0
	for _, v := range c.Values {
		largest = math.Max(largest, math.Abs(v))
	}
	f := newSmall("chart-"+strings.ReplaceAll(p.Key, "_", "-"), "Control chart of "+p.Name, p.Name, largest,
		words.UnitOf(p.Property),
		plot.Axis{Label: "coil, in the order of time", Min: 0.3, Max: float64(len(c.Values)) + 0.7})
	f.extent.Take([]float64{c.Lower * f.factor, c.Upper * f.factor})
	for n, v := range c.Values {
		style := 0
		if slices.ContainsFunc(c.Signals, func(s batch.Signal) bool { return s.At == n }) {
			style = 1
		}
		f.value(float64(n+1), v, p.Values[p.Charted[n]].U95, style)
	}
	f.level(plot.Floor, c.Lower)
	f.level(plot.Floor, c.Upper)
	f.level(plot.Guide, c.Centre)
	limits := ""
	if l := p.Limits; l != nil {
		for _, at := range []float64{l.Lower, l.Upper} {
			if !math.IsInf(at, 0) {
				f.extent.Take([]float64{at * f.factor})
				f.level(plot.Reach, at)
			}
		}
		limits = ", with the limits that coils are judged by"
	}
	return f.done(fmt.Sprintf("%s of %s over time within control limits%s; %s", notation.UpperFirst(p.Name),
		notation.Count(len(c.Values), "coil"), limits, notation.Count(len(c.Signals), "signal")))
}
