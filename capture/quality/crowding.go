package quality

import (
	"math"
	"slices"
)

// clipCrowd is how many samples make a crowd at a rail, and clipCrowding how
// many times more they are than those just below it.
const (
	clipCrowd    = 40
	clipCrowding = 6
)

// crowdedIn counts, for each span, the samples at a rail where they are many
// but not in runs: at a tenth of the sample rate a peak is cut within two
// samples. Signals crowd at their extremes a little: of a sine's samples within
// 3e of the extreme, 58 % lie within e (arcsine distribution), of a signal with
// a moving envelope fewer. At a rail nearly all do.
func crowdedIn(x []float64, spans []Span) []int {
	count := make([]int, len(spans))
	step := stepOf(x, spans)
	for _, sign := range []float64{1, -1} {
		level := crowdedLevel(x, spans, sign, step)
		for i, s := range spans {
			for _, v := range x[s.From:s.To] {
				if sign*v >= level {
					count[i]++
				}
			}
		}
	}
	return count
}

// crowdedLevel is from where on samples of that sign are at a rail; +Inf where
// there is none.
func crowdedLevel(x []float64, spans []Span, sign, step float64) float64 {
	extreme := extremeOf(x, spans, sign)
	if extreme == 0 {
		return math.Inf(1)
	}
	var top []float64
	for _, s := range spans {
		for _, v := range x[s.From:s.To] {
			if v *= sign; v >= extreme*(1-3*plateaus[len(plateaus)-1]) {
				top = append(top, v)
			}
		}
	}
	slices.Sort(top)
	for _, width := range plateaus {
		// Within a few steps of the converter every signal is at a rail.
		if width*extreme < 2*step {
			continue
		}
		level := extreme * (1 - width)
		from, _ := slices.BinarySearch(top, level)
		below, _ := slices.BinarySearch(top, extreme*(1-3*width))
		if at, near := len(top)-from, from-below; at >= clipCrowd && at > clipCrowding*near {
			return level
		}
	}
	return math.Inf(1)
}

// stepOf is the least difference between neighbouring samples: the step of the
// converter, where the samples have steps at all. +Inf where all are the same.
func stepOf(x []float64, spans []Span) float64 {
	step := math.Inf(1)
	for _, s := range spans {
		for i := s.From + 1; i < s.To; i++ {
			if d := math.Abs(x[i] - x[i-1]); d > 0 && d < step {
				step = d
			}
		}
	}
	return step
}
