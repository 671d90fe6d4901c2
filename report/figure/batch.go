package figure

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"coilsweep/fit/batch"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/words"
)

// BatchStyles gives styles of their own to coils that fail or stand out, in the
// order of how far; the others are thin lines in the style left for them.
func BatchStyles(b *batch.Batch) []CoilStyle {
	styles := make([]CoilStyle, len(b.Coils))
	var marked []int
	far := make([]float64, len(b.Coils))
	for i, c := range b.Coils {
		styles[i].Group = "t" + strconv.Itoa(i)
		for _, p := range b.Properties {
			if p.Outlying(i) {
				far[i] = math.Max(far[i], math.Abs(p.Scores[i]))
			}
		}
		if far[i] > 0 || b.Judged && c.Verdict == batch.Fail {
			marked = append(marked, i)
		}
	}
	slices.SortStableFunc(marked, func(x, y int) int {
		if far[x] > far[y] {
			return -1
		}
		return 1
	})
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
	factor, symbol := scaled(largest, words.UnitOf(p.Property))
	f := &plot.Figure{ID: "chart-" + strings.ReplaceAll(p.Key, "_", "-"), Title: "Control chart of " + p.Name,
		Width: 420, Height: 240,
		X: plot.Axis{Label: "coil, in the order of time", Whole: true, Min: 0.3, Max: float64(len(c.Values)) + 0.7}}
	e := plot.NoExtent()
	e.Take([]float64{c.Lower * factor, c.Upper * factor})
	for n, v := range c.Values {
		half := p.Values[p.Charted[n]].U95 * factor
		if !(half >= 0) || math.IsInf(half, 0) {
			half = 0
		}
		e.Take([]float64{v*factor - half, v*factor + half})
		style := 0
		if slices.ContainsFunc(c.Signals, func(s batch.Signal) bool { return s.At == n }) {
			style = 1
		}
		f.Marks = append(f.Marks, plot.Mark{X: float64(n + 1), Y: v * factor, YHalf: half, Style: style})
	}
	level := func(kind plot.Kind, y float64) {
		f.Series = append(f.Series, plot.Series{Kind: kind, X: []float64{f.X.Min, f.X.Max},
			Y: []float64{y * factor, y * factor}})
	}
	level(plot.Floor, c.Lower)
	level(plot.Floor, c.Upper)
	level(plot.Guide, c.Centre)
	f.Y = e.Axis(axisName(p.Name, symbol), 1e-6*largest*factor)
	f.Description = sentence(fmt.Sprintf("%s of %s over time within control limits; %s", notation.UpperFirst(p.Name),
		notation.Count(len(c.Values), "coil"), notation.Count(len(c.Signals), "signal")))
	return f
}
