package harness

import "math"

// Reach is where between from and to, both above zero, f has the value want: at the
// first change of sign on a grid of even steps of the logarithm, then halved; NaN where
// there is none. A jump of f, after which it is off by more than the relative tolerance,
// is no solution. lowest and highest are the extremes of f on the grid up to there, +Inf
// and -Inf where it has no value.
func Reach(f func(x float64) float64, want, from, to float64, steps int, tolerance float64) (x, lowest,
	highest float64) {
	lowest, highest = math.Inf(1), math.Inf(-1)
	previous, before := 0.0, math.NaN()
	for i := range steps + 1 {
		at := from * math.Pow(to/from, float64(i)/float64(steps))
		v := f(at)
		if !math.IsNaN(v) {
			lowest, highest = min(lowest, v), max(highest, v)
		}
		if (before-want)*(v-want) <= 0 {
			low, high, rising := previous, at, v > before
			for range 60 {
				middle := math.Sqrt(low * high)
				if (f(middle) > want) == rising {
					high = middle
				} else {
					low = middle
				}
			}
			if math.Abs(f(low)/want-1) < tolerance {
				return low, lowest, highest
			}
		}
		previous, before = at, v
	}
	return math.NaN(), lowest, highest
}
