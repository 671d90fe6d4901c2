package align

import (
	"fmt"
	"math"
	"slices"

	"coilsweep/excite"
)

// Periods cuts every whole, undamaged repeat out of samples as one period of
// the stimulus, PeriodSamples long, on the clock of the player: period[m] is
// what was recorded when sample m of the period was played, plus the delay of
// the path (less a fraction of a sample common to all repeats, where nothing
// is interpolated). The map repeats gives the number of each period's repeat.
//
// Where the drift is 0 and the repeats lie whole samples apart, a period is a part of
// samples. Else they are interpolated by a windowed sinc of 64 taps
// (Kaiser window; Kaiser, "Nonrecursive digital filter design using the
// I0-sinh window function", IEEE ISCAS 1974): error below 1e-5 of the
// amplitude up to 0.42 of the rate, -0.01 dB at 20 kHz and 44.1 kHz.
//
// What a recording lacks of the gap after a whole sweep is filled with zeros,
// and the last 2 ms at most before them are faded out behind the sweep's end.
func Periods(samples []float64, stim excite.Stimulus, a Alignment) (periods [][]float64, repeats []int, err error) {
	if err := checkStimulus(stim); err != nil {
		return nil, nil, err
	}
	for k, s := range a.StartSample {
		if !math.IsNaN(s) && !slices.Contains(a.Damaged, k) {
			repeats = append(repeats, k)
		}
	}
	if len(repeats) == 0 {
		return nil, nil, fmt.Errorf("%w (each sweep found has lost samples)", ErrTooShort)
	}

	first := a.StartSample[repeats[0]]
	whole := a.DriftPPM == 0
	for _, k := range repeats {
		d := a.StartSample[k] - first
		whole = whole && math.Abs(d-math.Round(d)) < 1e-6
	}
	var ip *interpolator
	if !whole {
		ip = newInterpolator()
	}
	step := 1 + 1e-6*a.DriftPPM
	for _, k := range repeats {
		start := a.StartSample[k]
		from := int(math.Round(first)) + int(math.Round(start-first))
		if end := from + stim.PeriodSamples; whole && from >= 0 && float64(len(samples))-start >= float64(end-from) {
			periods = append(periods, samples[from:end:end])
			continue
		}
		p := make([]float64, stim.PeriodSamples)
		if whole {
			copyRange(p, samples, from)
		} else {
			ip.resample(p, samples, start, step)
		}
		fadeTail(p, stim, int((float64(len(samples))-start)/step))
		periods = append(periods, p)
	}
	return periods, repeats, nil
}

// copyRange copies x[from:] to dst; what lies outside of x stays zero.
func copyRange(dst, x []float64, from int) {
	lo, hi := max(from, 0), min(from+len(dst), len(x))
	if lo < hi {
		copy(dst[lo-from:], x[lo:hi])
	}
}

// fadeTail fades the last of the recorded samples of a period that the
// recording does not hold to its end.
func fadeTail(p []float64, stim excite.Stimulus, recorded int) {
	if recorded >= len(p) {
		return
	}
	n := min(recorded-stim.SweepSamples, int(edgeS*float64(stim.RateHz)))
	for i := range n {
		p[recorded-1-i] *= 0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/float64(n))
	}
}

// Silence is the part [from, to) of the recording, at most the lead-in of the
// stimulus, that surely holds nothing of it: up to 5 ms before the first
// sweep. It is empty where less than 50 ms of it were recorded.
func Silence(stim excite.Stimulus, a Alignment) (from, to int) {
	if len(a.StartSample) == 0 || math.IsNaN(a.StartSample[0]) {
		return 0, 0
	}
	rate := float64(stim.RateHz)
	hi := int(a.StartSample[0] - 0.005*rate)
	lo := max(0, int(math.Ceil(a.StartSample[0]-float64(stim.LeadInSamples)*(1+1e-6*a.DriftPPM))))
	if float64(hi-lo) < 0.05*rate {
		return 0, 0
	}
	return lo, hi
}

const (
	taps = 64
	// phases is the number of tabulated fractions of a sample; between them
	// the taps are interpolated linearly, to (pi/phases)^2/8 < 1e-6.
	phases = 1024
	// kaiserBeta gives the window 105 dB of attenuation.
	kaiserBeta = 10.6
)

// interpolator is a table of windowed-sinc filters for fractions of a sample.
type interpolator struct {
	table [phases + 1][taps]float64
}

func newInterpolator() *interpolator {
	ip := new(interpolator)
	norm := besselI0(kaiserBeta)
	for p := range ip.table {
		frac := float64(p) / phases
		sum := 0.0
		for t := range taps {
			x := float64(t-taps/2+1) - frac // distance of the sample from the point
			u := x / (taps / 2)
			w := 0.0
			if math.Abs(u) < 1 {
				w = besselI0(kaiserBeta*math.Sqrt(1-u*u)) / norm
			}
			ip.table[p][t] = w * sinc(x)
			sum += ip.table[p][t]
		}
		for t := range taps {
			ip.table[p][t] /= sum
		}
	}
	return ip
}

// resample fills dst with x at start + m·step; beyond x there are zeros.
func (ip *interpolator) resample(dst, x []float64, start, step float64) {
	var edge [taps]float64
	for m := range dst {
		pos := start + float64(m)*step
		floor := math.Floor(pos)
		frac := (pos - floor) * phases
		from := int(floor) - taps/2 + 1
		if from <= -taps || from >= len(x) {
			continue
		}
		in := edge[:]
		if from >= 0 && from+taps <= len(x) {
			in = x[from : from+taps]
		} else {
			clear(edge[:])
			copyRange(edge[:], x, from)
		}
		p := int(frac)
		lower, upper := &ip.table[p], &ip.table[min(p+1, phases)]
		var a, b float64
		for t, v := range in {
			a += lower[t] * v
			b += upper[t] * v
		}
		dst[m] = a + (frac-float64(p))*(b-a)
	}
}

// besselI0 is the modified Bessel function I0 by its power series.
func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1; term > 1e-17*sum; k++ {
		term *= (x / 2 / float64(k)) * (x / 2 / float64(k))
		sum += term
	}
	return sum
}
