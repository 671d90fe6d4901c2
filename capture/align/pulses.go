package align

import (
	"math"
	"slices"
	"sort"

	"coilsweep/excite"

	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	// searchRateHz is about the rate at which the search works: the octaves up
	// to 0.42 of it hold enough of any coil's answer.
	searchRateHz = 12000
	// pulseS is the length of recording in which a pulse's energy is
	// gathered: the ringing of Q = 30 at 1 kHz dies with a time constant of
	// 10 ms, and most of a whitened response lies before it.
	pulseS = 0.008
	// searchFromHz is the lower edge of the search: below it hum and room
	// noise stand far above a coil's answer.
	searchFromHz = 100
	// leastPart is the least energy of a pulse relative to the strongest:
	// repeats are alike, and of a sweep cut off an octave or more must remain.
	leastPart = 0.1
	// apartPeriods is the least distance of two pulses in periods.
	apartPeriods = 0.6
)

// pulse is a sweep found by the search.
type pulse struct {
	start float64 // where the sweep begins, in samples, good to about 1 ms
	share float64 // of the energy about it, 0 … 1
}

// findPulses deconvolves a stretch of the recording and returns, in order, the
// pulses that have at least leastShare of the energy of the period about them.
func findPulses(samples []float64, stim excite.Stimulus, course *excite.Course, leastShare float64) []pulse {
	step := max(1, stim.RateHz/searchRateHz)
	rate := float64(stim.RateHz) / float64(step)
	y := decimate(samples, step)
	taperEnds(y, int(0.02*rate))

	// Zeros behind the stretch keep sweeps that began before it (negative
	// lags) apart from those at its end.
	sweep := (stim.SweepSamples + step - 1) / step
	n := excite.TransformFrom(len(y) + sweep)
	padded := make([]float64, n)
	copy(padded, y)
	spectrum := fourier.NewFFT(n).Coefficients(nil, padded)

	// The spectrum of equal repeats is a comb: whiten over whole teeth.
	period := float64(stim.PeriodSamples) / float64(step)
	tooth := max(4, int(math.Ceil(2*float64(n)/period)))
	if !whiten(spectrum, tooth, 8*math.Ceil(float64(len(y))/period)) {
		return nil
	}

	// Only positive frequencies below rate/2: a complex transform of half
	// the length gives the analytic pulse at half the rate.
	half := n / 2
	z := make([]complex128, half)
	from := math.Max(searchFromHz, 1.5*stim.FromHz)
	to := math.Min(0.42*rate, 0.95*stim.ToHz)
	if from > to/4 {
		from = math.Max(stim.FromHz, to/4)
	}
	for k := int(from / rate * float64(n)); k <= int(to/rate*float64(n)) && k < half; k++ {
		f := float64(k) * rate / float64(n)
		if f < from {
			continue
		}
		// Between equal energy in each octave (a wrong sweep then misses in
		// all) and in each hertz (noise then averages out best).
		w := bandEdge(f, from, to) / math.Sqrt(math.Sqrt(f))
		sin, cos := math.Sincos(course.SpectrumPhase(f))
		z[k] = spectrum[k] * complex(w*cos, -w*sin)
	}
	fourier.NewCmplxFFT(half).Sequence(z, z)

	// Energy in order of lag, from -sweep to the end of the stretch.
	lead := sweep / 2
	energy := make([]float64, lead+len(y)/2)
	for i := range energy {
		v := z[(i-lead+half)%half]
		energy[i] = power(v)
	}
	lagStep := float64(2 * step)
	return pickPulses(energy, pulseS*rate/2, period/2, leastShare,
		func(i int) float64 { return float64(i-lead) * lagStep })
}

// pickPulses finds peaks of the energy gathered over width, at most one in
// each apartPeriods, with their share of the energy of the period about them.
func pickPulses(energy []float64, width, period, leastShare float64, position func(int) float64) []pulse {
	w := int(width)
	sum := make([]float64, len(energy)+1)
	for i, e := range energy {
		sum[i+1] = sum[i] + e
	}
	if len(energy) <= w {
		return nil
	}
	between := func(a, b int) float64 {
		if a, b = max(a, 0), min(b, len(energy)); a < b {
			return sum[b] - sum[a]
		}
		return 0
	}
	taken := make([]bool, len(energy)-w)
	var found []pulse
	strongest := 0.0
	reach, apart := int(period/2), int(apartPeriods*period)
	for range len(energy)/apart + 2 {
		best, bestE := -1, 0.0
		for i, not := range taken {
			if e := sum[i+w] - sum[i]; !not && e > bestE {
				best, bestE = i, e
			}
		}
		if best < 0 {
			break
		}
		peak := best
		for i := best; i < best+w; i++ {
			if energy[i] > energy[peak] {
				peak = i
			}
		}
		// The rest of one period gives the density of what is not pulse.
		lo, hi := max(peak-reach, 0), min(peak+reach, len(energy))
		outside := between(lo, best-w/2) + between(best+w+w/2, hi)
		count := float64(max(0, best-w/2-lo) + max(0, hi-best-w-w/2))
		if count > 0 {
			density := outside / count
			signal := math.Max(0, bestE-density*float64(w))
			share := signal / (signal + density*period)
			strongest = math.Max(strongest, signal)
			if share >= leastShare && signal > leastPart*strongest {
				found = append(found, pulse{start: position(peak), share: share})
			}
		}
		for i := max(0, peak-apart); i < min(len(taken), peak+apart); i++ {
			taken[i] = true
		}
	}
	sort.Slice(found, func(i, j int) bool { return found[i].start < found[j].start })
	return found
}

// whiten divides c by its own smoothed magnitude: blocks of width bins are
// averaged in power, and the median of nine neighbouring blocks is taken, so
// that lines of hum do not count. Bins with more than limit times that power
// are cut down to it. It reports false where there is nothing to whiten.
func whiten(c []complex128, width int, limit float64) bool {
	level := blockPower(c, width)
	floor := 0.0
	for _, p := range level {
		floor += p
	}
	// What lies 200 dB below the mean is rounding, not signal.
	floor *= 1e-20 / float64(len(level))
	if !(floor > 0) {
		return false
	}
	for b, p := range level {
		scale := 1 / math.Sqrt(math.Max(p, floor))
		for i := b * width; i < min((b+1)*width, len(c)); i++ {
			c[i] *= complex(scale, 0)
			if p := power(c[i]); p > limit {
				c[i] *= complex(math.Sqrt(limit/p), 0)
			}
		}
	}
	return true
}

// blockPower returns for each block of width bins the median over nine
// blocks of the mean power in a block.
func blockPower(c []complex128, width int) []float64 {
	blocks := (len(c) + width - 1) / width
	mean := make([]float64, blocks)
	for b := range mean {
		part := c[b*width : min((b+1)*width, len(c))]
		for _, v := range part {
			mean[b] += power(v)
		}
		mean[b] /= float64(len(part))
	}
	level := make([]float64, blocks)
	var buf [9]float64
	for b := range level {
		near := append(buf[:0], mean[max(0, b-4):min(blocks, b+5)]...)
		slices.Sort(near)
		level[b] = near[len(near)/2]
	}
	return level
}

// bandEdge is 1 inside [from, to] and falls to 0 over the outer half octaves,
// inside the band.
func bandEdge(f, from, to float64) float64 {
	const width = 0.35 // in ln f: half an octave
	u := math.Min(math.Log(f/from), math.Log(to/f)) / width
	switch {
	case u <= 0:
		return 0
	case u >= 1:
		return 1
	}
	return 0.5 - 0.5*math.Cos(math.Pi*u)
}

// decimate keeps every step-th sample after a low-pass (windowed sinc, zero
// phase, flat to 0.4 of the new rate).
func decimate(x []float64, step int) []float64 {
	if step == 1 {
		return append([]float64(nil), x...)
	}
	half := 8 * step
	h := make([]float64, half+1)
	gain := 0.0
	for i := range h {
		u := float64(i) / float64(step)
		w := 0.5 + 0.5*math.Cos(math.Pi*float64(i)/float64(half+1))
		h[i] = w * sinc(0.94*u)
		gain += h[i]
		if i > 0 {
			gain += h[i]
		}
	}
	for i := range h {
		h[i] /= gain
	}
	out := make([]float64, (len(x)+step-1)/step)
	for o := range out {
		i := o * step
		if i < half || i+half >= len(x) {
			s := 0.0
			for j := -half; j <= half; j++ {
				if i+j >= 0 && i+j < len(x) {
					s += x[i+j] * h[max(j, -j)]
				}
			}
			out[o] = s
			continue
		}
		s := h[0] * x[i]
		left, right := x[i-half:i], x[i+1:i+half+1]
		for j := 1; j <= half; j++ {
			s += h[j] * (left[half-j] + right[j-1])
		}
		out[o] = s
	}
	return out
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// taperEnds fades n samples at both ends in place.
func taperEnds(x []float64, n int) {
	n = min(n, len(x)/2)
	for i := range n {
		w := 0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/float64(n))
		x[i] *= w
		x[len(x)-1-i] *= w
	}
}

// power returns |z|^2.
func power(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }
