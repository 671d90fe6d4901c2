package report

import (
	"fmt"
	"math"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/plot"
)

// predictedCurve is a predicted response in columns; NaN for what is not known.
type predictedCurve struct{ hz, db, u95 []float64 }

func newPredictedCurve(p harness.Prediction) predictedCurve {
	var c predictedCurve
	for _, point := range p.Response {
		db, u95 := math.NaN(), math.NaN()
		if q := point.LevelDB; q.Known() {
			db, u95 = q.Value, q.U95
		}
		c.hz, c.db, c.u95 = append(c.hz, point.FrequencyHz), append(c.db, db), append(c.u95, u95)
	}
	return c
}

// figure shows the response with its uncertainty and the peak of p; nil where
// nothing is known of it.
func (c predictedCurve) figure(p harness.Prediction, s shape) *plot.Figure {
	n := len(c.hz)
	e := nothing()
	for i, db := range c.db {
		e.take([]float64{db - c.u95[i], db + c.u95[i]})
	}
	if e.lo > e.hi {
		return nil
	}
	e.lo = math.Max(e.lo, e.hi-60)
	f := &plot.Figure{ID: "predicted-" + s.name, Title: "Predicted response", Width: s.width, Height: s.height + 20,
		X: plot.Axis{Label: "frequency, Hz", Log: true, Min: c.hz[0], Max: c.hz[n-1]}, Y: e.axis("level, dB over the EMF of one coil; band: U95", 20), Zoom: true}
	f.Series = []plot.Series{{Kind: plot.Curve, X: c.hz, Y: c.db, Half: c.u95}}
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

// knobFigure shows a quantity over the positions of a knob; nil where less than
// two values are known.
func knobFigure(id, title, knob, name string, at []float64, values []fit.Quantity, unit quantity.Unit) *plot.Figure {
	largest, known := 0.0, 0
	for _, q := range values {
		if q.Known() {
			known++
			largest = math.Max(largest, math.Abs(q.Value))
		}
	}
	if known < 2 {
		return nil
	}
	factor, symbol := scaled(largest, unit)
	f := &plot.Figure{ID: id, Title: title, Width: 420, Height: 240, X: plot.Axis{Label: knob + " knob", Whole: true, Min: -0.4, Max: 10.4}}
	e := nothing()
	for i, q := range values {
		if q.Known() {
			e.take([]float64{(q.Value - q.U95) * factor, (q.Value + q.U95) * factor})
			f.Marks = append(f.Marks, plot.Mark{X: at[i], Y: q.Value * factor, YHalf: q.U95 * factor})
		}
	}
	f.Y = e.axis(axisName(name, symbol), 1e-6*largest*factor)
	f.Description = sentence(fmt.Sprintf("%s at %s of the %s knob, with error bars of U95", upperFirst(name), countOf(known, "position"), knob))
	return f
}
