package leastsquares

import "math"

// RunsScore is the normal score of the number of runs of one sign in the
// sequences (A. Wald and J. Wolfowitz, Ann. Math. Stat. 11, 1940): about 0 for
// white residuals, far below it for structured ones.
func RunsScore(sequences [][]float64) float64 {
	var excess, variance float64
	for _, v := range sequences {
		var plus, minus, runs float64
		last := 0
		for _, x := range v {
			sign := 1
			if x < 0 {
				sign = -1
				minus++
			} else {
				plus++
			}
			if sign != last {
				runs++
				last = sign
			}
		}
		n := plus + minus
		if plus == 0 || minus == 0 || n < 3 {
			excess -= n / 2
			variance += n / 4
			continue
		}
		mean := 2*plus*minus/n + 1
		excess += runs - mean
		variance += (mean - 1) * (mean - 2) / (n - 1)
	}
	if variance == 0 {
		return 0
	}
	return excess / math.Sqrt(variance)
}

// CorrelationFactor is 1 + 2 sum of the autocorrelations of the sequences, up
// to the first lag at which they are no longer significant; 1 for white noise.
func CorrelationFactor(sequences [][]float64) float64 {
	var zero float64
	n := 0
	for _, v := range sequences {
		for _, x := range v {
			zero += x * x
		}
		n += len(v)
	}
	if zero == 0 {
		return 1
	}
	factor := 1.0
	for lag := 1; lag < 60; lag++ {
		var sum float64
		for _, v := range sequences {
			for i := lag; i < len(v); i++ {
				sum += v[i] * v[i-lag]
			}
		}
		rho := sum / zero
		if rho < 2.5/math.Sqrt(float64(n)) {
			break
		}
		factor += 2 * rho
	}
	return factor
}
