package plot

import "math"

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
