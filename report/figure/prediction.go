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

// Predicted is a predicted response in columns; NaN for what is not known.
type Predicted struct{ Hz, DB, U95 []float64 }

// NewPredicted takes the curve out of a prediction.
func NewPredicted(p harness.Prediction) Predicted {
	var c Predicted
	for _, point := range p.Response {
		db, u95 := math.NaN(), math.NaN()
		if q := point.LevelDB; q.Known() {
			db, u95 = q.Value, q.U95
		}
		c.Hz, c.DB, c.U95 = append(c.Hz, point.FrequencyHz), append(c.DB, db), append(c.U95, u95)
	}
	return c
}

// Figure shows the response with its uncertainty and the peak of p; nil where
// nothing is known of it.
func (c Predicted) Figure(p harness.Prediction, s Shape) *plot.Figure {
	n := len(c.Hz)
	e := plot.NoExtent()
	for i, db := range c.DB {
		e.Take([]float64{db - c.U95[i], db + c.U95[i]})
	}
	if e.Lo > e.Hi {
		return nil
	}
	e.Lo = math.Max(e.Lo, e.Hi-60)
	f := &plot.Figure{ID: "predicted-" + s.Name, Title: "Predicted response", Width: s.Width, Height: s.Height + 20,
		X: plot.Axis{Label: "frequency, Hz", Log: true, Min: c.Hz[0], Max: c.Hz[n-1]},
		Y: e.Axis("level, dB over the EMF of one coil; band: U95", 20), Zoom: true}
	f.Series = []plot.Series{{Kind: plot.Curve, X: c.Hz, Y: c.DB, Half: c.U95}}
	f.Crop = crop(f.Series, f.X)
	said := "there is no peak"
	if p.Peak.Known() && p.PeakDB.Known() && p.Level.Known() {
		said = "peak at " + notation.WithU95(p.Peak, quantity.Hertz)
		f.Marks = []plot.Mark{{X: p.Peak.Value, Y: p.Level.Value + p.PeakDB.Value, XHalf: p.Peak.U95,
			YHalf: p.PeakDB.U95, Style: -1,
			Label: notation.WithU95(p.Peak, quantity.Hertz), Place: plot.Above}}
		f.Y.Max = math.Max(f.Y.Max, f.Marks[0].Y+0.12*(f.Y.Max-f.Y.Min))
	}
	f.Description = sentence(fmt.Sprintf("Predicted level over frequency; %s", said))
	return f
}

// alone are the figures of a prediction. The error is a *NothingToDrawError.
func (c Predicted) alone(p harness.Prediction, s Shape) ([]*plot.Figure, error) {
	f := c.Figure(p, s)
	if f == nil {
		return nil, &NothingToDrawError{KindPredict, "nothing reaches the amplifier"}
	}
	return []*plot.Figure{f}, nil
}

// Knob shows a quantity over the positions of a knob; nil where less than
// two values are known.
func Knob(id, title, knob, name string, at []float64, values []fit.Quantity, unit quantity.Unit) *plot.Figure {
	n, largest := known(values)
	if n < 2 {
		return nil
	}
	f := newSmall(id, title, name, largest, unit, plot.Axis{Label: knob + " knob", Min: -0.4, Max: 10.4})
	for i, q := range values {
		if q.Known() {
			f.value(at[i], q.Value, q.U95, 0)
		}
	}
	return f.done(fmt.Sprintf("%s at %s of the %s knob, with error bars of U95",
		notation.UpperFirst(name), notation.Count(n, "position"), knob))
}
