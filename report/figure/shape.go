// Package figure says which figure shows what of a result, a comparison, a batch
// or a prediction: its axes, its curves and marks, and what is read aloud of it.
// It also prints figures into files and draws them for a page that stays open;
// package plot does the drawing.
package figure

import (
	"math"
	"strconv"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/report/notation"
)

// Shape is where a figure is shown: wide on a screen or on paper, narrow on a
// phone or in a row of small ones.
type Shape struct {
	Name   string
	Width  float64
	Height float64 // of a figure of usual height
}

// The shapes of figures on a page.
var (
	Wide   = Shape{"w", 860, 400}
	Narrow = Shape{"n", 380, 300}
)

// sentence ends s with a full stop.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if strings.HasSuffix(s, ".") {
		return s
	}
	return s + "."
}

// scaled chooses the prefix in which values of a unit are drawn, by the
// largest of them: the factor and the unit with its prefix.
func scaled(largest float64, unit quantity.Unit) (factor float64, symbol string) {
	if unit == notation.Ratio || unit == notation.Decibel || !(largest > 0) {
		return 1, string(unit)
	}
	text := quantity.Format(largest, unit, 3)
	mantissa, symbol, _ := strings.Cut(text, " ")
	x, err := strconv.ParseFloat(mantissa, 64)
	if err != nil || x == 0 {
		return 1, string(unit)
	}
	return math.Pow(10, math.Round(math.Log10(x/largest))), symbol
}

// axisName is a property with the unit of its axis.
func axisName(name, symbol string) string {
	if symbol == "" {
		return name
	}
	return name + ", " + symbol
}
