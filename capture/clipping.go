package capture

import "math"

const (
	// clipRun is how many samples in a row at a rail make a clipped peak.
	clipRun = 3
	// railLSB is how near to ±1 a rail of the converter lies: one step of 16
	// bits.
	railLSB = 1.01 / (1 << 15)
)

// clippedIn counts, for each span, the samples in runs of at least clipRun at
// a rail: at digital full scale, or at a plateau below it (an overdriven stage
// before the converter), found on both sides by itself.
func clippedIn(x []float64, spans []span) []int {
	count := make([]int, len(spans))
	for _, sign := range []float64{1, -1} {
		rail := railOf(x, spans, sign)
		if math.IsNaN(rail) {
			continue
		}
		for i, s := range spans {
			runs(x[s.from:s.to], sign, rail, func(_, n int) {
				if n >= clipRun {
					count[i] += n
				}
			})
		}
	}
	return count
}

// railOf returns the level from which on samples of that sign are at a rail,
// NaN where there is none. Signals crowd at their extremes a little: of a
// sine's samples within 3e of the extreme, 58 % lie within e (arcsine
// distribution), of a signal with a moving envelope fewer. At a rail nearly
// all do.
func railOf(x []float64, spans []span, sign float64) float64 {
	extreme := 0.0
	for _, s := range spans {
		for _, v := range x[s.from:s.to] {
			extreme = math.Max(extreme, sign*v)
		}
	}
	if extreme == 0 {
		return math.NaN()
	}
	if extreme <= 1 && extreme >= 1-railLSB {
		if level := 1 - railLSB; longestRun(x, spans, sign, level) >= clipRun {
			return level
		}
	}
	// A plateau is as thin as the noise behind the stage that clips.
	for _, width := range []float64{1e-6, 1e-5, 1e-4, 1e-3, 4e-3} {
		at, near := 0, 0
		level, below := extreme*(1-width), extreme*(1-3*width)
		for _, s := range spans {
			runs(x[s.from:s.to], sign, level, func(_, n int) {
				if n >= clipRun {
					at += n
				}
			})
			for _, v := range x[s.from:s.to] {
				if v *= sign; v < level && v >= below {
					near++
				}
			}
		}
		if at >= 3*clipRun && at > 4*near {
			return level
		}
	}
	return math.NaN()
}

// runs calls f for each run of samples that reach level.
func runs(x []float64, sign, level float64, f func(from, n int)) {
	n := 0
	for i, v := range x {
		if sign*v >= level {
			n++
			continue
		}
		if n > 0 {
			f(i-n, n)
			n = 0
		}
	}
	if n > 0 {
		f(len(x)-n, n)
	}
}

func longestRun(x []float64, spans []span, sign, level float64) int {
	longest := 0
	for _, s := range spans {
		runs(x[s.from:s.to], sign, level, func(_, n int) { longest = max(longest, n) })
	}
	return longest
}
