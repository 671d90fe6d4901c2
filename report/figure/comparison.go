package figure

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"coilsweep/fit"
	"coilsweep/fit/comparison"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/words"
)

// CoilStyle is how a coil is drawn: with a style of its own, or as one of many.
type CoilStyle struct {
	Style int
	Own   bool
	Group string
}

// ComparisonStyles gives styles to coils: all have their own while there are enough; else
// the reference and those that are furthest from it.
func ComparisonStyles(c *comparison.Comparison, order []int) []CoilStyle {
	styles := make([]CoilStyle, len(c.Coils))
	for i := range styles {
		styles[i].Group = "t" + strconv.Itoa(i)
	}
	chosen := order
	if len(order) > plot.Styles {
		far := func(i int) float64 {
			most := 0.0
			for _, r := range c.Rows {
				if en := r.Differences[i].En; en != nil {
					most = math.Max(most, math.Abs(*en))
				}
			}
			return most
		}
		ranked := slices.DeleteFunc(slices.Clone(order), func(i int) bool { return i == c.Reference })
		slices.SortStableFunc(ranked, func(a, b int) int {
			if far(a) > far(b) {
				return -1
			}
			return 1
		})
		chosen = append([]int{c.Reference}, ranked[:5]...)
	}
	for n, i := range chosen {
		styles[i].Style, styles[i].Own = n, true
	}
	return styles
}

// Overlay is one load's responses: coils with a style of their own as
// curves with their names, the others as thin lines behind them.
func Overlay(n int, title string, curves []*fit.Curve, names []string, order []int, styles []CoilStyle,
	s Shape) *plot.Figure {
	var all []Take
	for _, c := range curves {
		all = append(all, Take{Curve: c})
	}
	f := frequencyFigure("overlay"+strconv.Itoa(n), "Responses, "+strings.ToLower(title), all, s, s.Height+20)
	e := plot.NoExtent()
	for _, c := range curves {
		e.Take(c.MagnitudeDB)
	}
	for _, own := range []bool{false, true} {
		for _, i := range order {
			if styles[i].Own != own {
				continue
			}
			series := plot.Series{Kind: plot.Trace, Style: styles[i].Style, Group: styles[i].Group,
				X: curves[i].FrequencyHz, Y: curves[i].MagnitudeDB}
			if own {
				series.Kind, series.Name, series.Half = plot.Curve, names[i], curves[i].MagnitudeU95DB
			}
			f.Series = append(f.Series, series)
		}
	}
	e.Lo = math.Max(e.Lo, e.Hi-90)
	f.Y = e.Axis("magnitude, dB over the low-frequency plateau", 20)
	f.Description = sentence(fmt.Sprintf("Magnitude over frequency for %s, %s", notation.Count(len(curves), "coil"),
		strings.ToLower(title)))
	return f
}

// Value shows one property of all coils beside each other, with the
// reference as lines; nil where less than two are known.
func Value(r comparison.Row, order []int, reference int) *plot.Figure {
	largest, known := 0.0, 0
	for _, q := range r.Values {
		if q.Known() {
			known++
			largest = math.Max(largest, math.Abs(q.Value))
		}
	}
	if known < 2 {
		return nil
	}
	factor, symbol := scaled(largest, words.UnitOf(r.Property))
	f := &plot.Figure{ID: "value-" + strings.ReplaceAll(r.Key, "_", "-"), Title: notation.UpperFirst(r.Name) +
		" of each coil", Width: 420, Height: 240,
		X: plot.Axis{Label: "coil, by its place in the table", Whole: true, Min: 0.3, Max: float64(len(order)) + 0.7}}
	e := plot.NoExtent()
	for place, i := range order {
		q := r.Values[i]
		if !q.Known() {
			continue
		}
		half := q.U95 * factor
		if math.IsInf(half, 0) || math.IsNaN(half) {
			half = 0
		}
		e.Take([]float64{q.Value*factor - half, q.Value*factor + half})
		style := 0
		if r.Differences[i].Verdict == comparison.Differs {
			style = 1
		}
		if i == reference {
			style = -1
		}
		f.Marks = append(f.Marks, plot.Mark{X: float64(place + 1), Y: q.Value * factor, YHalf: half, Style: style})
	}
	if q := r.Values[reference]; q.Known() {
		for _, y := range []float64{q.Value - q.U95, q.Value + q.U95} {
			f.Series = append(f.Series, plot.Series{Kind: plot.Floor, X: []float64{f.X.Min, f.X.Max},
				Y: []float64{y * factor, y * factor}})
		}
		f.Series = append(f.Series, plot.Series{Kind: plot.Guide, X: []float64{f.X.Min, f.X.Max},
			Y: []float64{q.Value * factor, q.Value * factor}})
	}
	f.Y = e.Axis(axisName(r.Name, symbol), 1e-6*largest*factor)
	f.Description = sentence(fmt.Sprintf("%s of %s with error bars of U95, against the reference as lines",
		notation.UpperFirst(r.Name), notation.Count(known, "coil")))
	return f
}
