package figure

import (
	"fmt"
	"math"
	"strconv"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
)

// Line shows 1/w² against added C, with -C where the line meets the
// axis; nil where there is no line.
func Line(r fit.Result, styles map[string]int, s Shape) *plot.Figure {
	l := r.Line
	if l == nil || len(l.Points) == 0 || !l.Slope.Known() || !l.AxisCrossing.Known() {
		return nil
	}
	const pico, micro2 = 1e12, 1e12 // F to pF, s² to µs²
	f := &plot.Figure{ID: "line-" + s.Name, Title: "1/w² against added capacitance", Width: s.Width,
		Height: s.Height + 20}
	crossing, half := l.AxisCrossing.Value*pico, l.AxisCrossing.U95*pico
	right, top := 0.0, 0.0
	for _, p := range l.Points {
		style, seen := styles[p.Take]
		if !seen {
			style = -1
		}
		label := plot.Shortened(notation.Visible(p.Take), int(s.Width/32))
		f.Marks = append(f.Marks, plot.Mark{X: p.AddedC * pico, Y: p.InverseW2 * micro2,
			YHalf: quantity.Coverage95 * p.UInverseW2 * micro2,
			Style: style, Label: label})
		right, top = math.Max(right, p.AddedC*pico), math.Max(top, p.InverseW2*micro2)
	}
	span := right - crossing
	x0, x1 := crossing-half-0.08*span, right+0.22*span
	slope := l.Slope.Value // 1 H = 1 µs²/pF · 1e0: 1e-12 s² / 1e-12 F
	f.Series = []plot.Series{
		{Kind: plot.Reach, X: []float64{crossing, 0}, Y: []float64{0, 0}},
		{Kind: plot.Guide, X: []float64{crossing, x1}, Y: []float64{0, slope * (x1 - crossing)}},
	}
	c := l.AxisCrossing
	c.Value, c.Low, c.High = -c.Value, -c.High, -c.Low
	f.Marks = append(f.Marks,
		plot.Mark{X: crossing, Y: 0, XHalf: half, Style: -1, Label: "−C", Place: plot.Above},
		plot.Mark{X: crossing / 2, Y: 0, Style: -2, Label: "C = " + notation.WithU95(c, quantity.Farad),
			Place: plot.Under})
	f.X = plot.Axis{Label: "added capacitance, pF", Min: x0, Max: x1}
	f.Y = plot.Axis{Label: "1/w², µs²", Min: -0.11 * top, Max: slope * (x1 - crossing), ExtraLabel: "LC frequency, kHz"}
	for _, kHz := range lcTicks(slope * (x1 - crossing) / micro2) {
		w := 2 * math.Pi * kHz * 1e3
		f.Y.Extra = append(f.Y.Extra, plot.Tick{Value: micro2 / (w * w), Label: strconv.FormatFloat(kHz, 'g', 4, 64)})
	}
	f.Description = sentence(fmt.Sprintf("%s lie along a line whose slope is L, %s; it meets the axis at minus C, %s",
		notation.Count(len(l.Points), "take"), notation.WithU95(l.Slope, quantity.Henry),
		notation.WithU95(l.AxisCrossing, quantity.Farad)))
	return f
}

// lcTicks are frequencies in kHz for the side axis up to 1/w² = top s²,
// chosen so that their labels do not crowd.
func lcTicks(top float64) []float64 {
	var out []float64
	last := math.Inf(1)
	for _, kHz := range []float64{0.5, 0.7, 1, 1.5, 2, 2.5, 3, 3.5, 4, 5, 6, 7, 8, 10, 12, 15, 20, 30} {
		w := 2 * math.Pi * kHz * 1e3
		v := 1 / (w * w)
		if v <= top && last-v > top/22 && v > top/30 {
			out = append(out, kHz)
			last = v
		}
	}
	return out
}
