package align

import (
	"cmp"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"sort"

	"coilsweep/capture/internal/effort"
	"coilsweep/excite"

	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	// maxDriftPPM is the largest clock offset that is believed; above it the
	// repeats do not belong to this stimulus.
	maxDriftPPM = 1500
	// stepSamples is the least step in delay that counts as lost samples.
	stepSamples = 0.5
	// significance is how many standard uncertainties a step must pass.
	significance = 6
	// stepPhaseU is the least uncertainty, in radians, of a band's phase in
	// the search for steps: a step in one band leaves traces in others.
	stepPhaseU = 0.004
	// A sweep shows in at least so many bands, of which such a share have
	// their pulses within agreeS of one. (A clock that is 500 ppm off spreads
	// them by 1.4 ms in the default stimulus; a resonance delays one or two
	// by more.)
	leastBands, leastAgreement, agreeS = 4, 0.3, 0.003
	// coilDelayS is about what the group delay of a coil differs by from
	// band to band.
	coilDelayS = 5e-5
	// clearPhaseU is the largest uncertainty of a phase in a band that counts
	// for the slope of the delay.
	clearPhaseU = 0.05
	// coarseS is the uncertainty of a start from pulses without their phase.
	coarseS = 5e-4
	// driftSignificance is how many standard uncertainties a drift must pass
	// before recordings are resampled for it.
	driftSignificance = 3
)

// repeat is one whole sweep in the recording.
type repeat struct {
	cut   int     // first sample of the stretch that was transformed
	start float64 // of the sweep, coarse
	share float64
	raw   []complex128 // spectrum of the stretch, faded ends
	bands []pulseBand
	clean []complex128 // raw without lines of hum; nil until it was the reference
	power []float64    // of clean, in the segments of the sweep
	// rest is what is left of the repeat beside the reference against, at a
	// delay of restDelay, in the segments.
	rest      []float64
	against   *repeat
	restDelay float64

	delays []delay // by band, against the reference repeat's stretch
	delay  delay   // of most of the repeat
	damage bool
	steps  []step
}

// step is a change of delay inside a repeat.
type step struct {
	samples  float64 // more delay after it; 0: samples were overwritten
	from, to float64 // where about, in samples from the start of the sweep
	// early: most of the repeat comes after the step, so that the step
	// shifts it against the repeats before; else it shifts those behind.
	early bool
}

func (r *repeat) position() float64 { return float64(r.cut) + r.delay.samples }

// comparison is the work space of one alignment.
type comparison struct {
	samples []float64
	stim    excite.Stimulus
	course  *excite.Course
	bands   []band
	fft     *fourier.FFT
	repeats []*repeat
	ref     *repeat
	cross   []complex128
	scratch []complex128
	white   []complex128
}

func newComparison(samples []float64, stim excite.Stimulus) *comparison {
	c := &comparison{samples: samples, stim: stim, course: stim.Course(),
		bands: newBands(stim), fft: fourier.NewFFT(stim.PeriodSamples)}
	widest, longest := 0, 0
	for _, b := range c.bands {
		widest = max(widest, b.lags)
		longest = max(longest, b.pulsePlan.Len())
	}
	c.scratch = make([]complex128, widest)
	c.cross = make([]complex128, longest)
	return c
}

// isSweep reports whether r is a sweep of this kind: where its bands hold
// pulses, enough of these must lie together. (Not all: samples may be lost in
// the middle.)
func (c *comparison) isSweep(r *repeat) bool {
	together, seen := c.agreement(r)
	return together >= min(leastBands, len(c.bands)) && float64(together) >= leastAgreement*float64(seen)
}

// agreement counts the bands in which r has a pulse at all, and the most of
// them whose pulses lie together. It corrects the coarse start by these.
func (c *comparison) agreement(r *repeat) (together, seen int) {
	delays := c.againstSweep(r, 0)
	reach := agreeS * float64(c.stim.RateHz)
	middle := 0.0
	for _, d := range delays {
		if !d.seen() {
			continue
		}
		seen++
		near := 0
		for _, o := range delays {
			if o.seen() && math.Abs(o.samples-d.samples) < reach {
				near++
			}
		}
		if near > together {
			together, middle = near, d.samples
		}
	}
	r.start = float64(r.cut) + middle
	return together, seen
}

// edgeS is how much of a sweep may be cut off at the ends of a recording: the
// start is only known to about this, and the fades hold nothing there.
const edgeS = 0.002

// sortRepeats parts the sweeps that lie wholly in the recording from those cut
// off at its beginning and its end.
func sortRepeats(repeats []*repeat, n int, stim excite.Stimulus) (whole, before, after []*repeat) {
	edge := edgeS * float64(stim.RateHz)
	for _, r := range repeats {
		switch {
		case r.start < -edge:
			before = append(before, r)
		case r.start+float64(stim.SweepSamples) > float64(n)+edge:
			after = append(after, r)
		default:
			whole = append(whole, r)
		}
	}
	return whole, before, after
}

// oneTrain keeps, of a recording in which the stimulus was played more than
// once, the run with most sweeps (the later of equals).
func oneTrain(repeats []*repeat, stim excite.Stimulus) []*repeat {
	if len(repeats) <= stim.Repeats {
		return repeats
	}
	var best []*repeat
	for from := 0; from < len(repeats); {
		to := from + 1
		for to < len(repeats) && to-from < stim.Repeats &&
			repeats[to].start-repeats[to-1].start < 1.02*float64(stim.PeriodSamples) {
			to++
		}
		if to-from >= len(best) {
			best = repeats[from:to]
		}
		from = to
	}
	return best
}

// transform cuts the period of p out, fades its ends and transforms it. The
// fades keep hum, which does not fit into a period, from leaking all over the
// spectrum; the sweep loses its first octave, which no band uses.
func (c *comparison) transform(p pulse) *repeat {
	effort.Sweeps.Add(1)
	n := c.stim.PeriodSamples
	r := &repeat{cut: int(math.Round(p.start)), start: p.start, share: p.share}
	y := make([]float64, n)
	lo := min(max(r.cut, 0), len(c.samples))
	hi := max(lo, min(r.cut+n, len(c.samples)))
	part := y[max(0, lo-r.cut):]
	part = part[:copy(part, c.samples[lo:hi])]

	in := min(int(c.course.TimeOf(2*c.stim.FromHz)*float64(c.stim.RateHz)), len(part)/4)
	out := min(len(part), max(len(part)-c.stim.SweepSamples, int(edgeS*float64(c.stim.RateHz))))
	for i := range in {
		part[i] *= smoothStep((float64(i) + 0.5) / float64(in))
	}
	for i := range out {
		part[len(part)-1-i] *= smoothStep((float64(i) + 0.5) / float64(out))
	}
	r.raw = c.fft.Coefficients(nil, y)
	c.white = append(c.white[:0], r.raw...)
	whiten(c.white, 8, 9)
	for i := range c.bands {
		r.bands = append(r.bands, c.bands[i].extract(c.white, c.scratch))
	}
	return r
}

// smoothStep rises from 0 to 1 over u = 0 … 1 with two continuous
// derivatives, so that leakage falls by 24 dB an octave.
func smoothStep(u float64) float64 { return u - math.Sin(2*math.Pi*u)/(2*math.Pi) }

// align measures the repeats against each other and fits the clock. index are
// their numbers from that of the first.
func (c *comparison) align() (a Alignment, index []int, err error) {
	a.DriftUPPM = math.Inf(1)
	c.chooseReference()

	if len(c.repeats) == 1 {
		c.findLargeStep()
	} else {
		c.findOverwritten()
	}
	_, a.SweepDriftPPM = c.sweepDelay(c.ref, 0)
	if math.Abs(a.SweepDriftPPM) > maxDriftPPM+500 && !c.ref.damage {
		return a, nil, fmt.Errorf("%w (a sweep of another duration seems to be there)", ErrNoStimulus)
	}
	clock, err := c.fitClock()
	if err != nil {
		return a, nil, err
	}
	a.DriftPPM, a.DriftUPPM = clock.driftPPM, clock.uPPM
	a.Jumps = append(a.Jumps, clock.jumps...)

	// The delay of the path, now that the true sweep rate is known.
	start, _ := c.sweepDelay(c.ref, a.DriftPPM)
	a.Polarity = c.polarity(start, a.DriftPPM)
	var shares []float64
	for i, r := range c.repeats {
		a.StartSample = append(a.StartSample, clock.position[i]+start)
		shares = append(shares, r.share)
		if r.damage {
			a.Damaged = append(a.Damaged, i)
		}
		for _, s := range r.steps {
			a.Jumps = append(a.Jumps, Jump{Repeat: i, Sample: c.locate(r, s), Samples: s.samples})
		}
	}
	sort.Slice(a.Jumps, func(i, j int) bool { return a.Jumps[i].Sample < a.Jumps[j].Sample })
	a.Quality = medianOf(shares)
	return a, clock.index, nil
}

// chooseReference finds the repeat with which most others agree in the delay
// of all their bands, and leaves all repeats measured against it.
func (c *comparison) chooseReference() {
	order := slices.Clone(c.repeats)
	slices.SortStableFunc(order, func(a, b *repeat) int { return cmp.Compare(b.share, a.share) })
	best, bestCount := order[0], -1
	for _, r := range order {
		count := c.measureAgainst(r)
		if count > bestCount {
			best, bestCount = r, count
		}
		if 2*count >= len(c.repeats)-1 && (count > 0 || len(c.repeats) == 1) {
			break
		}
	}
	if c.ref != best {
		c.measureAgainst(best)
	}
	if len(c.repeats) == 2 && bestCount == 0 {
		c.chooseOfTwo()
	}
}

// measureAgainst measures the delay of all repeats against ref, band by band,
// and returns how many of the others agree with it throughout.
func (c *comparison) measureAgainst(ref *repeat) int {
	c.ref = ref
	agree := 0
	for _, r := range c.repeats {
		r.damage, r.steps = false, nil
		if r == ref {
			r.delays, r.delay = make([]delay, len(c.bands)), delay{u: 1e-9}
			continue
		}
		r.delays = r.delays[:0]
		for i := range c.bands {
			b := &c.bands[i]
			x, y := &r.bands[i], &ref.bands[i]
			cross := c.cross[:len(x.bins)]
			for k := range cross {
				cross[k] = x.bins[k] * cmplx.Conj(y.bins[k])
			}
			d := b.find(cross, x.start-y.start, x.noise+y.noise)
			// Between repeats the response cancels: the phase is delay too.
			d.samples -= d.phase / b.centre
			r.delays = append(r.delays, d)
		}
		r.delay = consensus(r.delays)
		if math.IsInf(r.delay.u, 1) {
			// Too faint: what is left is the coarse start.
			r.delay = delay{samples: r.start - ref.start - float64(r.cut-ref.cut), u: coarseS * float64(c.stim.RateHz)}
		}
		c.findStep(r)
		if !r.damage {
			agree++
		}
	}
	return agree
}

// tolerance is how far a band's delay may lie from that of the repeat.
func (d delay) tolerance() float64 { return math.Max(stepSamples, significance*d.u) }

// consensus joins the delays of the bands to the one on which most agree.
func consensus(delays []delay) delay {
	x, w := make([]float64, len(delays)), make([]float64, len(delays))
	for i, d := range delays {
		x[i] = d.samples
		if d.known() {
			w[i] = d.weight()
		}
	}
	middle := weightedMedian(x, w)
	if math.IsNaN(middle) {
		return delay{u: math.Inf(1)}
	}
	sum, weight := 0.0, 0.0
	for _, d := range delays {
		if math.Abs(d.samples-middle) <= 2*d.tolerance() && d.known() {
			sum += d.samples / (d.u * d.u)
			weight += 1 / (d.u * d.u)
		}
	}
	if weight == 0 {
		return delay{samples: middle, u: 1}
	}
	return delay{samples: sum / weight, u: 1 / math.Sqrt(weight)}
}

// clock is the line through the positions of the repeats.
type clock struct {
	driftPPM, uPPM float64
	position       []float64 // of each repeat, without the delay of the path
	index          []int     // of each repeat, from that of the first found
	jumps          []Jump    // between repeats
}

// fitClock fits position = offset + drift * nominal + jumps to the repeats.
// The jumps come from steps inside repeats and from intervals that do not fit
// the drift on which most intervals agree.
func (c *comparison) fitClock() (clock, error) {
	n := len(c.repeats)
	k := clock{position: make([]float64, n), index: make([]int, n), uPPM: math.Inf(1)}
	if n == 1 {
		k.position[0] = c.repeats[0].position()
		return k, nil
	}
	period := float64(c.stim.PeriodSamples)

	// Which intervals are how many periods; what is left over is drift and
	// jumps.
	count := make([]float64, n-1)
	left := make([]float64, n-1)
	for i := range count {
		d := c.repeats[i+1].position() - c.repeats[i].position()
		count[i] = math.Max(1, math.Round(d/period))
		left[i] = d - count[i]*period
	}
	// A step inside a repeat shifts most of it against its beginning, or its
	// end against most of it: it is known already.
	known := make([]float64, n-1)
	for i, r := range c.repeats {
		for _, s := range r.steps {
			switch {
			case s.early && i > 0:
				known[i-1] += s.samples
			case !s.early && i < n-1:
				known[i] += s.samples
			}
		}
	}
	tolerance := func(i int) float64 {
		return math.Max(stepSamples, significance*math.Hypot(c.repeats[i].delay.u, c.repeats[i+1].delay.u))
	}
	drift, driftU, support, supportClean := 0.0, 0.0, -1, false
	for i := range count {
		d := (left[i] - known[i]) / (count[i] * period)
		if math.Abs(d) > maxDriftPPM*1e-6 {
			continue
		}
		votes := 0
		for j := range count {
			if math.Abs(left[j]-known[j]-count[j]*period*d) <= math.Hypot(tolerance(j), tolerance(i)*count[j]/count[i]) {
				votes++
			}
		}
		clean := known[i] == 0
		if votes > support || votes == support &&
			(clean && !supportClean || clean == supportClean && math.Abs(d) < math.Abs(drift)) {
			drift, driftU, support, supportClean = d, tolerance(i)/(count[i]*period), votes, clean
		}
	}
	if support < 0 {
		if n > 2 {
			return k, fmt.Errorf("%w (sweeps of this kind are there, but %.4f s apart instead of %.4f s: another stimulus "+
				"was played)",
				ErrNoStimulus, (period+left[0])/float64(c.stim.RateHz), period/float64(c.stim.RateHz))
		}
		drift = 0
	}

	// Jumps between neighbours, whole where they are.
	jump := make([]float64, n) // sum of the jumps before repeat i
	for i := range count {
		rest := left[i] - count[i]*period*drift
		if known[i] == 0 && math.Abs(rest) <= math.Hypot(tolerance(i), driftU*count[i]*period) {
			rest = 0
		}
		if whole := math.Round(rest); math.Abs(rest-whole) < 0.2 {
			rest = whole
		}
		if rest != known[i] {
			c.placeJump(&k, i, rest-known[i])
		}
		jump[i+1] = jump[i] + rest
		k.index[i+1] = k.index[i] + int(count[i])
	}

	// Weighted line through what is left.
	x := make([]float64, n)
	var sw, sx, sy, sxx, sxy float64
	for i, r := range c.repeats {
		if i > 0 {
			x[i] = x[i-1] + count[i-1]*period
		}
		y := r.position() - x[i] - jump[i]
		w := c.weight(r)
		sw += w
		sx += w * x[i]
		sy += w * y
		sxx += w * x[i] * x[i]
		sxy += w * x[i] * y
	}
	det := sw*sxx - sx*sx
	slope, offset := 0.0, sy/sw
	if det > 0 {
		slope = (sw*sxy - sx*sy) / det
		offset = (sy - slope*sx) / sw
		k.uPPM = 1e6 * math.Sqrt(sw/det)
	}
	// Is it a line? The wander of a clock is not noise.
	wander := 0.0
	for i, r := range c.repeats {
		if !r.damage {
			wander = math.Max(wander, math.Abs(r.position()-x[i]-jump[i]-offset-slope*x[i])/
				math.Max(0.02, 4*c.uPosition(r)))
		}
	}
	if math.Abs(slope)*1e6 <= math.Max(0.02, driftSignificance*k.uPPM) && wander <= 1 {
		slope, offset = 0, sy/sw
	}
	k.driftPPM = 1e6 * slope
	for i, r := range c.repeats {
		k.position[i] = offset + slope*x[i] + x[i] + jump[i]
		if wander > 1 && !r.damage {
			k.position[i] = r.position()
		}
	}
	return k, nil
}

// uPosition is the standard uncertainty of a repeat's position. The reference
// has none of its own: its noise is in all the others, so it gets theirs.
func (c *comparison) uPosition(r *repeat) float64 {
	if r != c.ref {
		return math.Max(r.delay.u, 1e-6)
	}
	least := math.Inf(1)
	for _, o := range c.repeats {
		if o != r {
			least = math.Min(least, math.Max(o.delay.u, 1e-6))
		}
	}
	if math.IsInf(least, 1) {
		return 1e-6
	}
	return least
}

// weight is that of a repeat in the line. A damaged one counts for nothing
// beside two whole ones; where there are none it still tells a large drift.
func (c *comparison) weight(r *repeat) float64 {
	u := c.uPosition(r)
	if r.damage {
		u = math.Max(1, u)
	}
	return 1 / (u * u)
}

// sweepDelay compares repeat r with the sweep itself, stretched by driftPPM.
// It returns the group delay of the path (weighted median over the bands, in
// samples, so that a resonance in one or two of them does not count) and how
// much the delay grows over the sweep, as a clock offset in ppm; 0 where fewer
// than five bands are clear enough.
func (c *comparison) sweepDelay(r *repeat, driftPPM float64) (samples, slopePPM float64) {
	rate := float64(c.stim.RateHz)
	var g, w []float64
	// A clock that is slower by e delays the frequency f by e (t + dwell).
	var clear, late []float64
	for i, d := range c.againstSweep(r, driftPPM) {
		b := &c.bands[i]
		if !d.seen() || math.Abs(float64(r.cut)+d.samples-r.start) > agreeS*rate {
			continue
		}
		g = append(g, d.samples)
		w = append(w, 1/math.Hypot(b.groupU(d.phaseU), coilDelayS*rate))
		if d.phaseU < clearPhaseU && b.centreHz > 100 {
			clear = append(clear, d.samples)
			late = append(late, c.course.TimeOf(b.centreHz)+c.course.DwellS(b.centreHz))
		}
	}
	if len(g) == 0 {
		return r.start - float64(r.cut), 0
	}
	if len(clear) >= 5 {
		// Weighted median of the slopes between all pairs (Theil, Sen).
		var slopes, weights []float64
		for i := range clear {
			for j := range i {
				slopes = append(slopes, (clear[i]-clear[j])/(late[i]-late[j]))
				weights = append(weights, math.Abs(late[i]-late[j]))
			}
		}
		slopePPM = weightedMedian(slopes, weights) / rate * 1e6
	}
	return weightedMedian(g, w), slopePPM
}

// againstSweep returns, band by band, the delay and the phase of r against the
// sweep stretched by driftPPM.
func (c *comparison) againstSweep(r *repeat, driftPPM float64) []delay {
	stretch := 1 + 1e-6*driftPPM
	bin := float64(c.stim.RateHz) / float64(c.stim.PeriodSamples)
	delays := make([]delay, len(c.bands))
	for i := range c.bands {
		b := &c.bands[i]
		x := &r.bands[i]
		cross := c.cross[:len(x.bins)]
		copy(cross, x.bins)
		if stretch != 1 {
			for k := range cross {
				f := (float64(b.lo) + float64(k)*b.binStep) * bin
				sin, cos := math.Sincos(c.course.SpectrumPhase(f) - c.course.SpectrumPhase(f*stretch))
				cross[k] *= complex(cos, sin)
			}
		}
		delays[i] = b.find(cross, x.start, x.noise)
	}
	return delays
}

// polarity takes the phase of the reference repeat between 150 and 600 Hz,
// below any resonance, with the delay of the path taken off.
func (c *comparison) polarity(start, driftPPM float64) int {
	var sum complex128
	for i, d := range c.againstSweep(c.ref, driftPPM) {
		b := &c.bands[i]
		if !d.seen() || b.centreHz < 150 || cmplx.Abs(sum) > 0 && b.centreHz > 600 {
			continue
		}
		// The phase left refers to the band's own delay.
		phase := d.phase + b.centre*(start-d.samples)
		sum += cmplx.Rect(d.weight(), phase)
	}
	// A flat path is at 0, a coil at +90 degrees: the border lies at -45.
	if real(sum*cmplx.Rect(1, -math.Pi/4)) < 0 {
		return -1
	}
	return 1
}
