package report

import (
	"fmt"
	"math"

	"coilsweep/excite/quantity"
	"coilsweep/fit/harness"
	"coilsweep/report/plot"
)

// harnessFigure shows the predicted response with its uncertainty; nil where
// nothing is known of it.
func harnessFigure(p harness.Prediction, s shape) *plot.Figure {
	n := len(p.Response)
	x, y, half := make([]float64, n), make([]float64, n), make([]float64, n)
	e := nothing()
	for i, point := range p.Response {
		x[i], y[i], half[i] = point.FrequencyHz, math.NaN(), math.NaN()
		if q := point.LevelDB; q.Known() {
			y[i], half[i] = q.Value, q.U95
			e.take([]float64{q.Value - q.U95, q.Value + q.U95})
		}
	}
	if e.lo > e.hi {
		return nil
	}
	e.lo = math.Max(e.lo, e.hi-60)
	f := &plot.Figure{ID: "predicted-" + s.name, Title: "Predicted response", Width: s.width, Height: s.height + 20,
		X: plot.Axis{Label: "frequency, Hz", Log: true, Min: x[0], Max: x[n-1]}, Y: e.axis("level, dB over the EMF of one coil; band: U95", 20), Zoom: true}
	f.Series = []plot.Series{{Kind: plot.Curve, X: x, Y: y, Half: half}}
	said := "there is no peak"
	if p.Peak.Known() && p.PeakDB.Known() && p.Level.Known() {
		said = "peak at " + withU95(p.Peak, quantity.Hertz)
		f.Marks = []plot.Mark{{X: p.Peak.Value, Y: p.Level.Value + p.PeakDB.Value, XHalf: p.Peak.U95, YHalf: p.PeakDB.U95, Style: -1,
			Label: withU95(p.Peak, quantity.Hertz), Place: plot.Above}}
		f.Y.Max = math.Max(f.Y.Max, f.Marks[0].Y+0.12*(f.Y.Max-f.Y.Min))
	}
	f.Description = sentence(fmt.Sprintf("Predicted level over frequency; %s", said))
	return f
}
