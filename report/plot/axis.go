// Package plot draws measured curves as SVG: linear and logarithmic axes with
// 1-2-5 ticks, uncertainty bands, curves that can be told apart without
// colour, and labels at the curves' ends. It knows nothing of coils.
//
// Colours come from CSS custom properties, so that one drawing serves light,
// dark and print; CSS holds the rules. Coordinates are in CSS pixels.
package plot

import (
	"math"
	"slices"
	"strconv"
	"strings"
)

// Axis is one axis of a figure.
type Axis struct {
	Label    string // with unit: "frequency, Hz"
	Log      bool
	Degrees  bool // ticks at 15, 45, 90, ... instead of 1-2-5
	Whole    bool // ticks at whole numbers only, for what is counted
	Min, Max float64
	// Fixed are the ticks where they are names rather than numbers.
	Fixed []Tick
	// Extra are further labelled places on the opposite side, such as the
	// frequencies that belong to 1/w².
	Extra      []Tick
	ExtraLabel string
}

// Tick is a place on an axis; Label is empty for minor ticks.
type Tick struct {
	Value float64
	Label string
}

// at is the place of v along length pixels.
func (a Axis) at(v, length float64) float64 {
	if a.Log {
		return length * math.Log(v/a.Min) / math.Log(a.Max/a.Min)
	}
	return length * (v - a.Min) / (a.Max - a.Min)
}

// degreeSteps are the steps of an axis in degrees.
var degreeSteps = []float64{1, 5, 15, 45, 90, 180, 360, 720, 1440}

// Ticks chooses ticks so that labels stand at least spacing pixels apart on
// an axis of length pixels; at least two are labelled whatever the spacing.
func (a Axis) Ticks(length, spacing float64) []Tick {
	if a.Fixed != nil {
		return a.Fixed
	}
	if a.Log {
		if ticks, ok := a.logTicks(length, spacing); ok {
			return ticks
		}
	}
	return a.linearTicks(length, spacing)
}

func (a Axis) linearTicks(length, spacing float64) []Tick {
	span := a.Max - a.Min
	most := math.Max(2, math.Floor(length/spacing))
	step := niceAbove(span / most)
	if a.Degrees {
		for _, step = range degreeSteps {
			if span/step <= most {
				break
			}
		}
	}
	if a.Whole {
		step = math.Max(step, 1)
	}
	for {
		ticks := a.every(step)
		if len(ticks) >= 2 || a.Whole && step == 1 {
			return ticks
		}
		step = niceBelow(step)
	}
}

// every is the multiples of step within the axis.
func (a Axis) every(step float64) []Tick {
	decimals := max(0, -int(math.Floor(math.Log10(step)*(1+1e-12)+1e-9)))
	slack := 1e-9 * (a.Max - a.Min)
	top := math.Max(math.Abs(a.Min), a.Max)
	thousands := top >= 1e4 || a.Log && top >= 1e3
	var ticks []Tick
	for n := math.Ceil((a.Min - slack) / step); n*step <= a.Max+slack; n++ {
		ticks = append(ticks, Tick{n * step, tickLabel(n*step, decimals, thousands)})
	}
	return ticks
}

// logTicks labels 1, 2 and 5 of each decade, or 1 alone where that is too
// dense; every whole multiple has a minor tick. It is not ok where so few are
// labelled that even steps say more.
func (a Axis) logTicks(length, spacing float64) (ticks []Tick, ok bool) {
	decade := length / math.Log10(a.Max/a.Min)
	labels, few := []float64{1, 2, 5}, 3
	if decade*math.Log10(2) < spacing {
		labels, few = []float64{1}, 2
	}
	for e := math.Floor(math.Log10(a.Min)); math.Pow(10, e) <= a.Max; e++ {
		for m := 1.0; m < 10; m++ {
			v := m * math.Pow(10, e)
			if v < a.Min*(1-1e-9) || v > a.Max*(1+1e-9) {
				continue
			}
			tick := Tick{Value: v}
			if slices.Contains(labels, m) {
				tick.Label = tickLabel(v, max(0, -int(e)), v >= 1e3)
				few--
			}
			ticks = append(ticks, tick)
		}
	}
	return ticks, few <= 0
}

// tickLabel writes v, in thousands with a "k" where that is asked for.
func tickLabel(v float64, decimals int, thousands bool) string {
	if v == 0 {
		return "0"
	}
	suffix := ""
	if thousands {
		v /= 1000
		decimals += 3
		suffix = "k"
	}
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if suffix != "" && strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return strings.Replace(text, "-", "−", 1) + suffix
}

// niceAbove is the smallest of 1, 2, 5 · 10^n that is at least x.
func niceAbove(x float64) float64 {
	e := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 5} {
		if m*e >= x*(1-1e-9) {
			return m * e
		}
	}
	return 10 * e
}

// niceBelow is the next smaller of 1, 2, 5 · 10^n.
func niceBelow(step float64) float64 {
	e := math.Pow(10, math.Floor(math.Log10(step)+1e-9))
	switch m := step / e; {
	case m > 4.9:
		return 2 * e
	case m > 1.9:
		return e
	}
	return e / 2
}

// Extent is the range of the finite values of columns.
type Extent struct{ Lo, Hi float64 }

// Take widens the extent to hold all that is finite in the columns.
func (e *Extent) Take(columns ...[]float64) {
	for _, column := range columns {
		for _, x := range column {
			if finite(x) {
				e.Lo, e.Hi = math.Min(e.Lo, x), math.Max(e.Hi, x)
			}
		}
	}
}

// NoExtent is the extent of no value.
func NoExtent() Extent { return Extent{math.Inf(1), math.Inf(-1)} }

// Axis is a linear axis that holds the extent, at least least wide.
func (e Extent) Axis(label string, least float64) Axis {
	if e.Lo > e.Hi {
		e.Lo, e.Hi = 0, 0
	}
	if e.Hi-e.Lo < least {
		mid := (e.Hi + e.Lo) / 2
		e.Lo, e.Hi = mid-least/2, mid+least/2
	}
	air := 0.05 * (e.Hi - e.Lo)
	return Axis{Label: label, Min: e.Lo - air, Max: e.Hi + air}
}
