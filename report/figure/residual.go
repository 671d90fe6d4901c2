package figure

import (
	"fmt"
	"math"

	"coilsweep/report/notation"
	"coilsweep/report/plot"
)

// Residual shows one take's residuals in standard uncertainties.
func Residual(t Take, x plot.Axis, bound float64) *plot.Figure {
	f := &plot.Figure{
		ID: "residual-" + t.Group, Title: "Residuals of " + t.name(), Width: 420, Height: 210,
		X:        x,
		Y:        plot.Axis{Label: "(measured − fit) / u", Min: -bound, Max: bound},
		Expected: 2,
	}
	f.Series = []plot.Series{t.line(plot.Dashes, "", t.ResidualIm, nil), t.line(plot.Dots, "", t.ResidualRe, nil)}
	outside, n := t.Outside()
	f.Description = sentence(fmt.Sprintf(
		"Residuals over frequency, real part as dots and imaginary part as dashes; %s lie beyond 2 u, %s of all",
		notation.Count(outside, "value"), notation.Percent(100*float64(outside)/float64(max(n, 1)))))
	return f
}

// ResidualBound is a common scale for all residual figures: it holds 99.5 %
// of the values and at least ±4.
func ResidualBound(takes []Take) float64 {
	const bins = 2000 // of 0.05 u
	var count [bins + 1]int
	n := 0
	for _, t := range takes {
		for _, part := range [][]float64{t.ResidualRe, t.ResidualIm} {
			for _, v := range part {
				if !math.IsNaN(v) {
					count[min(int(math.Abs(v)*20), bins)]++
					n++
				}
			}
		}
	}
	beyond := n / 200
	bin := bins
	for ; bin > 0 && beyond >= count[bin]; bin-- {
		beyond -= count[bin]
	}
	return math.Max(4, math.Ceil(float64(bin+1)/20))
}
