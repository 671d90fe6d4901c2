package figure

import (
	"math"
	"slices"

	"coilsweep/report/plot"
)

// What there is to see of a response: it leaves its level at low frequencies by
// departsDB, and is not yet seenDB below its highest point.
const (
	departsDB = 0.5
	seenDB    = 40
)

// crop is where there is something to see of curves over frequency, in Hz: from a third of
// the lowest frequency at which one leaves its level at low frequencies up to the highest
// at which one has not fallen far. Nothing where that is all that is drawn.
func crop(curves []plot.Series, x plot.Axis) (out [2]float64) {
	lo, hi := x.Max, x.Min
	for _, s := range curves {
		n := min(len(s.X), len(s.Y))
		if s.Kind != plot.Curve && s.Kind != plot.Trace || n == 0 {
			continue
		}
		x, y := s.X[:n], s.Y[:n]
		level, top := lowLevel(x, y), math.Inf(-1)
		for _, db := range y {
			if db > top { // NaN, which is what is not known, is not
				top = db
			}
		}
		away := 0 // points in a row: one alone is noise
		for i, db := range y {
			if away++; !(math.Abs(db-level) > departsDB) {
				away = 0
			}
			if away == 3 {
				lo = math.Min(lo, x[i-2]/3)
			}
			if db > top-seenDB {
				hi = math.Max(hi, x[i])
			}
		}
	}
	lo, hi = math.Max(lo, x.Min), math.Min(hi, x.Max)
	if lo == x.Min && hi == x.Max || !(hi > 4*lo) {
		return out
	}
	return [2]float64{lo, hi}
}

// lowLevel is the median of a curve over its lowest octave and a half.
func lowLevel(x, y []float64) float64 {
	var low []float64
	for i := range x {
		if x[i] <= 3*x[0] && !math.IsNaN(y[i]) {
			low = append(low, y[i])
		}
	}
	if low == nil {
		return math.NaN()
	}
	slices.Sort(low)
	return low[len(low)/2]
}
