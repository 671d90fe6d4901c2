package consistency

import (
	"math"
	"math/cmplx"
	"slices"

	"coilsweep/fit/response"
)

// resonance is that of a response as its peak shows it.
type resonance struct {
	hz     float64 // undamped, as for the 2nd order
	height float64 // of the peak over the plateau, as a ratio
}

const (
	// resonanceFromHz is the least frequency of a peak.
	resonanceFromHz = 200
	// leastHeight is that of a peak whose frequency says something, clearness the
	// least power over that of the noise there.
	leastHeight, clearness = 1.1, 100
)

// resonanceOf is false where the response has no clear peak within its band.
func resonanceOf(r *response.Response) (resonance, bool) {
	from, _ := slices.BinarySearch(r.FrequencyHz, resonanceFromHz)
	at := from
	for i := from; i < len(r.H); i++ {
		if cmplx.Abs(r.H[i]) > cmplx.Abs(r.H[at]) {
			at = i
		}
	}
	if at <= from || at >= len(r.H)-2 {
		return resonance{}, false
	}
	var low []float64
	for i, f := range r.FrequencyHz {
		if f >= 60 && f < r.FrequencyHz[at]/6 {
			low = append(low, cmplx.Abs(r.H[i]))
		}
	}
	top := cmplx.Abs(r.H[at])
	if len(low) == 0 || top*top < clearness*r.Variance[at] {
		return resonance{}, false
	}
	slices.Sort(low)
	out := resonance{height: top / low[len(low)/2]}
	if out.height < leastHeight {
		return out, false
	}
	// A parabola through ln|H| over ln f about the peak, some points to each side.
	reach := min(3, at-from, len(r.H)-1-at)
	x := func(i int) float64 { return math.Log(r.FrequencyHz[i] / r.FrequencyHz[at]) }
	y := func(i int) float64 { return math.Log(cmplx.Abs(r.H[i]) / top) }
	a, b := at-reach, at+reach
	curve := (y(b)/x(b) - y(a)/x(a)) / (x(b) - x(a))
	slope := y(b)/x(b) - curve*x(b)
	peakHz := r.FrequencyHz[at]
	if curve < 0 {
		peakHz *= math.Exp(-slope / (2 * curve))
	}
	h2 := out.height * out.height
	q2 := (h2 + math.Sqrt(h2*h2-h2)) / 2
	out.hz = peakHz / math.Sqrt(1-1/(2*q2))
	return out, true
}
