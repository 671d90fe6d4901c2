package figure

import (
	"fmt"
	"io"
	"math"
	"slices"

	"coilsweep/excite/quantity"
	"coilsweep/fit/harness"
	"coilsweep/fit/turns"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/words"
)

// PrintTurns writes the responses of what can be wound for print. A
// *NothingToDrawError says that nothing can.
func PrintTurns(w io.Writer, s turns.Sheet, p Printing) error {
	columns := 2
	if len(s.Options) == 1 {
		columns = 1
	}
	shape := p.shape()
	shape.Width = plot.FigureWidth(shape.Width, columns)
	figures := Turns(s, shape)
	for _, f := range figures {
		f.Y.Label = f.Title + ": dB over the plateau" // no title is printed
	}
	if figures == nil {
		return &NothingToDrawError{"turns", "none of the wires gives what is wanted"}
	}
	return p.print(w, words.InHarness(s.Coils, s.Guitar)+": what to wind", figures, columns)
}

// The window of what to wind: where its options differ.
const (
	turnsFromHz, turnsToHz = 500, 12e3
	turnsBelowPeakDB       = 24
)

// Turns shows the response of each option in the guitar with its U95 and its peak, one
// figure each on common axes: the level over the plateau. The coil whose sound is wanted
// stands in each.
func Turns(s turns.Sheet, shape Shape) []*plot.Figure {
	e := plot.NoExtent()
	curve := func(points []harness.Point, style int) plot.Series {
		one := plot.Series{Kind: plot.Curve, Style: style}
		for _, p := range points {
			db := p.LevelDB.Value - points[0].LevelDB.Value // NaN where either is not known
			if p.FrequencyHz >= turnsFromHz && p.FrequencyHz <= turnsToHz && !math.IsNaN(db) {
				one.X, one.Y, one.Half = append(one.X, p.FrequencyHz), append(one.Y, db), append(one.Half, p.LevelDB.U95)
				e.Take([]float64{db - p.LevelDB.U95, db + p.LevelDB.U95})
			}
		}
		return one
	}
	var wanted []plot.Series
	if s.Wanted != nil {
		wanted = []plot.Series{curve(s.Wanted, 1)}
		wanted[0].Name = notation.Visible(s.Wish.Like.Name)
	}
	var figures []*plot.Figure
	for i, o := range s.Options {
		own := curve(o.Response, 0)
		if own.X == nil {
			continue
		}
		f := &plot.Figure{ID: fmt.Sprintf("turns%d-%s", i, shape.Name), Width: shape.Width,
			Title:  fmt.Sprintf("%s, %d turns", words.Wound(o), o.Turns),
			Height: 210, Zoom: true, Series: slices.Concat([]plot.Series{own}, wanted),
			X: plot.Axis{Label: "frequency, Hz", Log: true, Min: turnsFromHz, Max: turnsToHz}}
		said := "no peak"
		if o.Peak.Known() && o.PeakDB.Known() {
			said = "peak at " + notation.WithU95(o.Peak, quantity.Hertz)
			f.Marks = []plot.Mark{{X: o.Peak.Value, Y: o.PeakDB.Value, XHalf: o.Peak.U95, YHalf: o.PeakDB.U95, Style: -1}}
		}
		f.Description = sentence(fmt.Sprintf("Predicted level over frequency of %d turns of %s; %s", o.Turns,
			words.Wound(o), said))
		figures = append(figures, f)
	}
	e.Lo = math.Max(e.Lo, e.Hi-turnsBelowPeakDB)
	for _, f := range figures {
		f.Y = e.Axis("level, dB over the plateau", 6)
	}
	return figures
}
