package figure

import (
	"fmt"
	"math"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
)

// Octaves shows by how much two sounds differ in each octave; nil where less than two
// are known. Differences that do not count stand in the ink colour.
func Octaves(list []harness.Octave) *plot.Figure {
	n, largest := known(notation.Each(list, func(o harness.Octave) fit.Quantity { return o.Difference }))
	if n < 2 {
		return nil
	}
	f := newSmall("octaves", "Difference by octave", "difference", largest, quantity.Decibel,
		plot.Axis{Label: "octave, Hz", Log: true, Min: 40, Max: 25e3})
	f.level(plot.Guide, 0)
	f.extent.Take([]float64{0})
	for _, o := range list {
		if d := o.Difference; d.Known() {
			style := -1
			if math.Abs(d.Value) > d.U95 {
				style = 1
			}
			f.value(o.CentreHz, d.Value, d.U95, style)
		}
	}
	return f.done(fmt.Sprintf("Difference in %s with error bars of U95", notation.Count(n, "octave")))
}
