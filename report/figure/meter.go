package figure

import (
	"math"
	"strings"

	"coilsweep/fit"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/words"
)

// Meter shows each meter reading as its distance from what the fit
// expects, in percent, with both uncertainties; nil where there is none to show.
func Meter(readings []fit.MeterResult, s Shape) *plot.Figure {
	var shown []fit.MeterResult
	for _, m := range readings {
		if m.Expected.Known() && m.Expected.Value != 0 {
			shown = append(shown, m)
		}
	}
	if shown == nil {
		return nil
	}
	const row = 40.0
	f := &plot.Figure{ID: "meter-" + s.Name, Title: "Meter readings against the fit",
		Width: s.Width, Height: 62 + row*float64(len(shown)),
		X: plot.Axis{Label: "distance from what the fit expects, %"},
		Y: plot.Axis{Label: "reading with U95; the broad line is U95 of the fit", Min: -float64(len(shown)) + 0.5,
			Max: 0.5}}
	reach := meterReach(shown)
	f.X.Min, f.X.Max = -reach, reach
	var said []string
	for i, m := range shown {
		y := -float64(i)
		away, half, own := meterDistance(m)
		f.Y.Fixed = append(f.Y.Fixed, plot.Tick{Value: y, Label: words.MeterPlace(m)})
		f.Series = append(f.Series, plot.Series{Kind: plot.Reach, X: []float64{-own, own}, Y: []float64{y, y}})
		label := ""
		if m.En != nil {
			label = "En " + notation.En(m.En)
			said = append(said, words.MeterPlace(m)+": "+label)
		}
		mark := plot.Mark{X: away, Y: y, XHalf: half, Style: -1, Label: label, Place: plot.Under}
		if math.Abs(away) > reach { // beyond the figure: its distance in words, at the edge
			mark.X, mark.XHalf = math.Copysign(reach, away), 0
			mark.Label = strings.TrimSuffix("far outside: "+notation.Change(away)+", "+label, ", ")
		}
		f.Marks = append(f.Marks, mark)
	}
	f.Description = sentence(strings.Join(said, "; "))
	return f
}

// meterDistance is how far a reading lies from what the fit expects, with
// U95 of the reading and of the fit, in percent.
func meterDistance(m fit.MeterResult) (away, half, own float64) {
	expected := math.Abs(m.Expected.Value)
	return 100 * (m.Reading - m.Expected.Value) / expected, 100 * m.U95 / expected, 100 * m.Expected.U95 / expected
}

// meterReach is half the width of the figure in percent: it holds all
// readings but those so far out that nothing else could be told apart.
func meterReach(shown []fit.MeterResult) float64 {
	const far = 20 // times the uncertainties
	reach := 0.1
	for _, m := range shown {
		away, half, own := meterDistance(m)
		reach = math.Max(reach, 1.1*math.Max(half, own))
		if math.Abs(away) < far*math.Hypot(half, own) {
			reach = math.Max(reach, 1.1*(math.Abs(away)+half))
		}
	}
	return reach
}
