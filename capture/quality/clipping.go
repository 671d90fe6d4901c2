package quality

import "math"

const (
	// clipRun is how many samples in a row at a rail make a clipped peak.
	clipRun = 3
	// railLSB is how near to ±1 a rail of the converter lies: one step of 16
	// bits.
	railLSB = 1.01 / (1 << 15)
	// flatness is by how much more than they differ among each other the
	// samples of a clipped peak stand above both their neighbours. At the
	// round top of a sine it is at most 4: of samples at -θ, 0 and θ the
	// outer ones are θ²/2 lower, their neighbours 4θ²/2.
	flatness = 8
	// clipShare is the least share of the samples near the extreme that lie in
	// clipped peaks: of thousands of round tops of a sweep at one level, noise
	// flattens a few.
	clipShare = 0.5
)

// plateaus are how thick one may be, over the extreme: as the noise behind the stage
// that clips.
var plateaus = []float64{1e-6, 1e-5, 1e-4, 1e-3, 4e-3}

// extremeOf is the largest value of that sign in the spans; 0 where there is none.
func extremeOf(x []float64, spans []Span, sign float64) float64 {
	extreme := 0.0
	for _, s := range spans {
		for _, v := range x[s.From:s.To] {
			extreme = max(extreme, sign*v)
		}
	}
	return extreme
}

// clippedIn counts, for each span, the samples in clipped peaks: flat runs of
// at least clipRun samples at the extreme value of all spans, on each side by
// itself. The extreme is a rail of the converter, where one such run is enough,
// or that of an overdriven stage before it.
func clippedIn(x []float64, spans []Span) []int {
	count := make([]int, len(spans))
	quantum := quantumOf(x, spans)
	for _, sign := range []float64{1, -1} {
		extreme := extremeOf(x, spans, sign)
		if extreme == 0 {
			continue
		}
		least := 2
		if extreme >= 1-railLSB && extreme <= 1 {
			least = 1
		}
		var best []int
		bestSum := 0
		for _, thickness := range plateaus {
			flat, n, near := make([]int, len(spans)), 0, 0
			level := extreme * (1 - thickness)
			for i, s := range spans {
				flat[i] += flatRuns(x[s.From:s.To], sign, level, quantum, &n)
				for _, v := range x[s.From:s.To] {
					if sign*v >= level {
						near++
					}
				}
			}
			if total := sum(flat); n >= least && total > bestSum && float64(total) >= clipShare*float64(near) {
				best, bestSum = flat, total
			}
		}
		for i, n := range best {
			count[i] += n
		}
	}
	if sum(count) == 0 {
		return crowdedIn(x, spans)
	}
	return count
}

// flatRuns counts the samples in flat runs that reach level, and adds the runs
// to n.
func flatRuns(x []float64, sign, level, quantum float64, n *int) (samples int) {
	for i := 0; i < len(x); i++ {
		if sign*x[i] < level {
			continue
		}
		from := i
		lo, hi := math.Inf(1), math.Inf(-1)
		for ; i < len(x) && sign*x[i] >= level; i++ {
			lo, hi = math.Min(lo, sign*x[i]), math.Max(hi, sign*x[i])
		}
		if i-from < clipRun {
			continue
		}
		drop := math.Inf(1)
		if from > 0 {
			drop = hi - sign*x[from-1]
		}
		if i < len(x) {
			drop = math.Min(drop, hi-sign*x[i])
		}
		if drop > flatness*math.Max(hi-lo, quantum) {
			samples += i - from
			*n++
		}
	}
	return samples
}

// quantumOf is the step of 8, 16 or 24 bits of which all samples are multiples;
// 0 where they have none.
func quantumOf(x []float64, spans []Span) float64 {
	bits := []float64{8, 16, 24}
	for _, s := range spans {
		for _, v := range x[s.From:s.To] {
			for v *= math.Exp2(bits[0] - 1); v != math.Trunc(v); v *= math.Exp2(8) {
				if bits = bits[1:]; len(bits) == 0 {
					return 0
				}
			}
		}
	}
	return math.Exp2(1 - bits[0])
}
