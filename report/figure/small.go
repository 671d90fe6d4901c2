package figure

import (
	"math"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/plot"
)

// small is a figure of values of one property, each with its U95.
type small struct {
	*plot.Figure
	extent  plot.Extent
	factor  float64
	largest float64
}

// newSmall is a figure without a value yet; largest is the largest value that it will hold.
func newSmall(id, title, name string, largest float64, unit quantity.Unit, x plot.Axis) *small {
	scale := quantity.ScaleOf(largest, unit, 3)
	x.Whole = true
	s := &small{&plot.Figure{ID: id, Title: title, Width: 420, Height: 240, X: x}, plot.NoExtent(),
		math.Pow(10, -3*float64(scale)), largest}
	s.Y.Label = name
	if symbol := scale.Symbol(unit); symbol != "" {
		s.Y.Label += ", " + symbol
	}
	return s
}

// value marks a value; one whose U95 is not finite has no bar.
func (s *small) value(x, y, u95 float64, style int) {
	if !(u95 >= 0) || math.IsInf(u95, 0) {
		u95 = 0
	}
	y, u95 = y*s.factor, u95*s.factor
	s.extent.Take([]float64{y - u95, y + u95})
	s.Marks = append(s.Marks, plot.Mark{X: x, Y: y, YHalf: u95, Style: style})
}

// level draws a line across.
func (s *small) level(kind plot.Kind, y float64) {
	y *= s.factor
	s.Series = append(s.Series, plot.Series{Kind: kind, X: []float64{s.X.Min, s.X.Max}, Y: []float64{y, y}})
}

// done is the figure, which holds all its values.
func (s *small) done(description string) *plot.Figure {
	s.Y = s.extent.Axis(s.Y.Label, 1e-6*s.largest*s.factor)
	s.Description = sentence(description)
	return s.Figure
}

// known are how many values are known, and the size of the largest.
func known(values []fit.Quantity) (n int, largest float64) {
	for _, q := range values {
		if q.Known() {
			n++
			largest = math.Max(largest, math.Abs(q.Value))
		}
	}
	return n, largest
}
