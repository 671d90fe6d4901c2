package batch

import (
	"math"
	"slices"
)

// Median of x; NaN for none.
func Median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(x))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

// Qn is a standard deviation that a few wild values do not spoil: the k-th
// smallest distance between two values, k = h(h-1)/2 with h = n/2 + 1, scaled
// to the standard deviation of normal values (P. J. Rousseeuw and C. Croux,
// J. Am. Stat. Assoc. 88, 1993, 1273; also ISO 13528:2015, C.5.3). Up to half
// of the values may be wild. NaN for less than two values.
func Qn(x []float64) float64 {
	n := len(x)
	if n < 2 {
		return math.NaN()
	}
	distances := make([]float64, 0, n*(n-1)/2)
	for i := range x {
		for _, other := range x[:i] {
			distances = append(distances, math.Abs(x[i]-other))
		}
	}
	slices.Sort(distances)
	h := n/2 + 1
	return qnScale * qnFactor(n) * distances[h*(h-1)/2-1]
}

// qnScale makes Q_n that of a normal distribution for many values:
// 1/(sqrt(2) invPhi(5/8)).
const qnScale = 2.21914

// qnSmall are the factors for few values, from n = 2 (Croux and Rousseeuw,
// COMPSTAT 1992, refined by simulation to 12; from memory, tested by
// simulation).
var qnSmall = [...]float64{0.399356, 0.99365, 0.51321, 0.84401, 0.61220, 0.85877, 0.66993, 0.87344, 0.72014, 0.88906,
	0.75743}

func qnFactor(n int) float64 {
	if n-2 < len(qnSmall) {
		return qnSmall[n-2]
	}
	m := float64(n)
	if n%2 == 1 {
		return m / (m + 1.4)
	}
	return m / (m + 3.8)
}

// outlyingScore is how many robust standard deviations a value may lie from
// the median before it is named (B. Iglewicz and D. C. Hoaglin, How to Detect
// and Handle Outliers, 1993).
const outlyingScore = 3.5

// leastForOutliers is the least number of values among which one can stand
// out.
const leastForOutliers = 5
