package figure

import (
	"cmp"
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

// newStyles are n coils that are all one of many.
func newStyles(n int) []CoilStyle {
	styles := make([]CoilStyle, n)
	for i := range styles {
		styles[i].Group = "t" + strconv.Itoa(i)
	}
	return styles
}

// ComparisonStyles gives styles to coils: all have their own while there are enough; else
// the reference and those that are furthest from it.
func ComparisonStyles(c *comparison.Comparison, order []int) []CoilStyle {
	styles := newStyles(len(c.Coils))
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
		slices.SortStableFunc(ranked, func(a, b int) int { return cmp.Compare(far(b), far(a)) })
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
	all := notation.Each(curves, func(c *fit.Curve) Take { return Take{Curve: c} })
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
	f.Y, f.Crop = e.Axis("magnitude, dB over the low-frequency plateau", 20), crop(f.Series, f.X)
	f.Description = sentence(fmt.Sprintf("Magnitude over frequency for %s, %s", notation.Count(len(curves), "coil"),
		strings.ToLower(title)))
	return f
}

// Value shows one property of all coils beside each other, with the
// reference as lines; nil where less than two are known.
func Value(r comparison.Row, order []int, reference int) *plot.Figure {
	n, largest := known(r.Values)
	if n < 2 {
		return nil
	}
	f := newSmall("value-"+strings.ReplaceAll(r.Key, "_", "-"), notation.UpperFirst(r.Name)+" of each coil", r.Name,
		largest, words.UnitOf(r.Property),
		plot.Axis{Label: "coil, by its place in the table", Min: 0.3, Max: float64(len(order)) + 0.7})
	for place, i := range order {
		q, style := r.Values[i], 0
		switch {
		case !q.Known():
			continue
		case i == reference:
			style = -1
		case r.Differences[i].Verdict == comparison.Differs:
			style = 1
		}
		f.value(float64(place+1), q.Value, q.U95, style)
	}
	if q := r.Values[reference]; q.Known() {
		f.level(plot.Floor, q.Value-q.U95)
		f.level(plot.Floor, q.Value+q.U95)
		f.level(plot.Guide, q.Value)
	}
	return f.done(fmt.Sprintf("%s of %s with error bars of U95, against the reference as lines",
		notation.UpperFirst(r.Name), notation.Count(n, "coil")))
}
