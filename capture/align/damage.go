package align

import (
	"math"
	"math/cmplx"
	"slices"

	"coilsweep/capture/internal/effort"
)

// run is a stretch of bands with one delay.
type run struct {
	first, last int // bands
	delay       float64
	u           float64
	bands       int
}

// findStep looks for steps in the delays of r against the reference. Bands in
// which hum or noise hides the sweep say nothing; a step lies somewhere between
// the last band with the old delay and the first one with the new.
func (c *comparison) findStep(r *repeat) {
	var runs []run
	for i, d := range r.delays {
		if !d.known() || c.hurried(c.bands[i].centreHz) {
			continue
		}
		d.u = math.Max(d.u, stepPhaseU/c.bands[i].centre)
		if n := len(runs); n > 0 && math.Abs(d.samples-runs[n-1].delay) <=
			math.Max(stepSamples, significance*math.Hypot(d.u, runs[n-1].u)) {
			last := &runs[n-1]
			w0, w := 1/(last.u*last.u), 1/(d.u*d.u)
			last.delay = (last.delay*w0 + d.samples*w) / (w0 + w)
			last.u = 1 / math.Sqrt(w0+w)
			last.last = i
			last.bands++
			continue
		}
		runs = append(runs, run{i, i, d.samples, d.u, 1})
	}
	// Hum that jumps at a step makes pulses anywhere in the lowest bands.
	for len(runs) > 1 && runs[0].bands == 1 && math.Abs(runs[0].delay-runs[1].delay) > gateS*float64(c.stim.RateHz) {
		runs = runs[1:]
	}
	// The band in which the step lies shows something in between.
	solid := runs[:0:0]
	for i, x := range runs {
		if i == 0 || i == len(runs)-1 || x.bands > 1 {
			solid = append(solid, x)
		}
	}
	if len(solid) < 2 {
		return
	}
	main := 0
	for i, x := range solid {
		if math.Abs(x.delay-r.delay.samples) < math.Abs(solid[main].delay-r.delay.samples) {
			main = i
		}
	}
	r.delay.samples, r.delay.u = solid[main].delay, solid[main].u
	for i := 1; i < len(solid); i++ {
		before, after := solid[i-1], solid[i]
		size := after.delay - before.delay
		if math.Abs(size) <= math.Max(stepSamples, significance*math.Hypot(before.u, after.u)) {
			continue
		}
		r.damage = true
		r.steps = append(r.steps, step{
			samples: size, early: i <= main,
			from: c.timeOf(c.bands[before.last].lo), to: c.timeOf(c.bands[after.first].hi),
		})
	}
}

// hurried tells whether a shaped sweep passes a frequency so quickly that hum
// cannot be told from it there. What happens there is not proof of damage: a
// loss of samples shows in the bands behind it.
func (c *comparison) hurried(hz float64) bool {
	return hz < humTopHz && c.course.Weight(hz) < 1 && c.course.DwellS(hz) < hurryS
}

// timeOf is when the sweep passes a bin, in samples from its start.
func (c *comparison) timeOf(bin int) float64 {
	rate := float64(c.stim.RateHz)
	t := c.course.TimeOf(float64(bin)*rate/float64(c.stim.PeriodSamples)) * rate
	return math.Min(math.Max(t, 0), float64(c.stim.SweepSamples))
}

// locate finds where in its stretch of the sweep a step lies, in samples of the
// recording: there the sum of the squares by which the old delay fits better
// than the new one is largest.
func (c *comparison) locate(r *repeat, s step) float64 {
	o := r.delay.samples
	if s.early {
		o -= s.samples
	}
	old, new := int(math.Round(o)), int(math.Round(o+s.samples))
	best := (s.from + s.to) / 2
	if r != c.ref && old != new {
		from, to := int(s.from), int(s.to)
		half := float64(c.stim.RateHz) / (2 * c.course.FrequencyAt(best/float64(c.stim.RateHz)))
		y := c.narrow(r.cut+from, r.cut+to, int(half))
		yo := c.narrow(c.ref.cut+from-old, c.ref.cut+to-old, int(half))
		yn := c.narrow(c.ref.cut+from-new, c.ref.cut+to-new, int(half))
		bestSum, sum := math.Inf(-1), 0.0
		for i := range y {
			eo, en := y[i]-yo[i], y[i]-yn[i]
			if sum += en*en - eo*eo; sum > bestSum {
				best, bestSum = float64(from+i), sum
			}
		}
	}
	return float64(r.cut) + best
}

// narrow returns samples from … to of the recording, less what lies far from
// the frequency of which half a period is half samples: two differences over
// half take hum off, the average of half/2 samples noise.
func (c *comparison) narrow(from, to, half int) []float64 {
	half = max(half, 1)
	width := max(half/2, 1)
	lead := 2*half + width
	x := make([]float64, to-from+lead)
	copyRange(x, c.samples, from-lead)
	sum := 0.0
	average := make([]float64, len(x))
	for i, v := range x {
		sum += v
		if i >= width {
			sum -= x[i-width]
		}
		average[i] = sum
	}
	out := make([]float64, to-from)
	for i := range out {
		j := i + lead
		out[i] = average[j] - 2*average[j-half] + average[j-2*half]
	}
	return out
}

// chooseOfTwo decides which of two repeats that differ by a step is the whole
// one: in it the delay against the sweep itself runs smoothly. Where the
// coil's own delay hides that, neither can be trusted.
func (c *comparison) chooseOfTwo() {
	a := c.ref
	b := c.repeats[0]
	if b == a {
		b = c.repeats[1]
	}
	if len(b.steps) == 0 {
		return
	}
	size, at := b.steps[0].samples, (b.steps[0].from+b.steps[0].to)/2
	jump := func(r *repeat) float64 {
		var below, above []float64
		for i, d := range c.againstSweep(r, 0) {
			t0, t1 := c.timeOf(c.bands[i].lo), c.timeOf(c.bands[i].hi)
			switch {
			case !d.seen():
			case t1 <= at:
				below = append(below, d.samples)
			case t0 >= at:
				above = append(above, d.samples)
			}
		}
		if len(below) == 0 || len(above) == 0 {
			return math.NaN()
		}
		near := math.Min(2, float64(min(len(below), len(above))))
		sum := 0.0
		for i := range int(near) {
			sum += above[i] - below[len(below)-1-i]
		}
		return sum / near
	}
	ja, jb := math.Abs(jump(a)), math.Abs(jump(b))
	limit := 0.3 * math.Abs(size)
	switch {
	case ja < limit && jb > 2*limit: // b is the damaged one, as measured
	case jb < limit && ja > 2*limit:
		c.measureAgainst(b)
	default:
		a.damage = true
	}
}

// findLargeStep looks in a lone repeat for a step in its delay against the
// sweep that no coil makes: more than 1 ms between two flat stretches of at
// least three bands. Smaller losses in a lone repeat go unseen.
func (c *comparison) findLargeStep() {
	r := c.ref
	ms := float64(c.stim.RateHz) / 1000
	var g []float64
	var band []int
	for i, d := range c.againstSweep(r, 0) {
		if d.phaseU < 0.1 {
			g = append(g, d.samples)
			band = append(band, i)
		}
	}
	median := func(x []float64) (middle, spread float64) {
		middle = medianOf(x)
		off := make([]float64, len(x))
		for i := range x {
			off[i] = math.Abs(x[i] - middle)
		}
		return middle, medianOf(off)
	}
	best, at := 0.0, 0
	for i := 3; i+3 <= len(g); i++ {
		lo, spreadLo := median(g[:i])
		hi, spreadHi := median(g[i:])
		if d := hi - lo; math.Abs(d) > math.Abs(best) && math.Max(spreadLo, spreadHi) < 0.3*ms {
			best, at = d, i
		}
	}
	if math.Abs(best) > ms {
		r.damage = true
		r.steps = append(r.steps, step{samples: best, from: c.timeOf(c.bands[band[at]-1].lo),
			to: c.timeOf(c.bands[band[at]].hi), early: true})
	}
}

// placeJump records a jump between repeats i and i+1 that no step inside them
// explains. It lies in the gap only where the bands at the end of the one and
// at the beginning of the other prove it; else the later sweep may be hurt at
// its slow beginning, and counts as damaged.
func (c *comparison) placeJump(k *clock, i int, size float64) {
	a, b := c.repeats[i], c.repeats[i+1]
	gap := Jump{Repeat: -1, Samples: size,
		Sample: float64(a.cut) + float64(c.stim.SweepSamples+c.stim.PeriodSamples)/2}
	// A step that is known already was measured less well inside the repeat.
	if n := len(b.steps); n > 0 && b.steps[0].early && b.steps[0].samples != 0 {
		b.steps[0].samples += size
		return
	}
	if n := len(a.steps); n > 0 && !a.steps[n-1].early && a.steps[n-1].samples != 0 {
		a.steps[n-1].samples += size
		return
	}
	// Is the jump seen to lie before the first band that tells the old
	// delay from the new?
	for j, d := range b.delays {
		resolved := d.known() && significance*d.u < math.Abs(size)/2
		if b == c.ref {
			resolved = j < len(a.delays) && a.delays[j].known() && significance*a.delays[j].u < math.Abs(size)/2
		}
		if !resolved {
			continue
		}
		// What is below this band lasts for this long.
		if c.bands[j].lo <= c.bands[0].lo || c.timeOf(c.bands[j].lo)-c.timeOf(c.bands[0].lo) < 1 {
			k.jumps = append(k.jumps, gap)
			return
		}
		break
	}
	b.damage = true
	b.steps = append(b.steps, step{samples: size, to: c.timeOf(c.bands[0].hi), early: true})
}

const (
	// A block counts as overwritten where the repeats differ by so much more
	// power than elsewhere, and by at least that part of the signal's.
	blockOverNoise, blockOverSignal = 30, 0.25
	// humTopHz is how far up hum is strong.
	humTopHz = 1000
	// hurryS is the dwell below which a shaped sweep passes a band within some
	// periods of the mains.
	hurryS = 0.2
)

// findOverwritten compares the repeats in time: a block that was overwritten
// or silenced shifts nothing, but differs from the other repeats by as much as
// the signal itself.
func (c *comparison) findOverwritten() {
	ref := c.ref
	bounds := c.segments()
	bad := make([][]bool, len(c.repeats)) // [repeat][segment]
	votes := make([]int, len(bounds)-1)
	others := 0
	for i, r := range c.repeats {
		if r == ref || r.damage {
			continue
		}
		others++
		res := c.restOf(r, bounds)
		noise := medianOf(res)
		bad[i] = make([]bool, len(res))
		for s, e := range res {
			if e < blockOverNoise*noise || e < blockOverSignal*ref.power[s] {
				continue
			}
			// Among the lines of hum, what is left of it comes and goes
			// slowly; there only short blocks stand out.
			hz := c.course.FrequencyAt(float64(bounds[s]) / float64(c.stim.RateHz))
			if hz < humTopHz && (c.hurried(hz) || e < blockOverNoise*medianOf(res[max(0, s-10):min(len(res), s+11)])) {
				continue
			}
			bad[i][s] = true
			votes[s]++
		}
	}
	if others == 1 {
		for i, r := range c.repeats {
			if bad[i] != nil {
				c.blameOneOfTwo(r, bad[i], bounds)
			}
		}
		return
	}
	for s, v := range votes {
		if 2*v > others {
			c.markOverwritten(ref, bounds[s], bounds[s+1]) // the others differ from it alike
			continue
		}
		for i, r := range c.repeats {
			if bad[i] != nil && bad[i][s] {
				c.markOverwritten(r, bounds[s], bounds[s+1])
			}
		}
	}
}

// restOf is the mean square of r less the reference, both without lines of
// hum, between bounds. It is kept until one of them changes.
func (c *comparison) restOf(r *repeat, bounds []int) []float64 {
	ref, n := c.ref, c.stim.PeriodSamples
	if r.against == ref && r.restDelay == r.delay.samples {
		return r.rest
	}
	effort.Comparisons.Add(1)
	e := make([]float64, n)
	if ref.clean == nil {
		ref.clean = slices.Clone(ref.raw)
		limitLines(ref.clean)
		ref.power = segmentEnergy(c.fft.Sequence(e, ref.clean), bounds)
	}
	diff := make([]complex128, len(ref.raw))
	rot, turn := complex(1, 0), cmplx.Rect(1, 2*math.Pi*r.delay.samples/float64(n))
	for k, v := range r.raw {
		diff[k] = v * rot
		rot *= turn
	}
	limitLines(diff)
	level := complex(gain(diff, ref.clean), 0)
	rot = 1
	for k, v := range r.raw {
		diff[k] = v*rot - level*ref.raw[k]
		rot *= turn
	}
	limitLines(diff)
	r.against, r.restDelay, r.rest = ref, r.delay.samples, segmentEnergy(c.fft.Sequence(e, diff), bounds)
	return r.rest
}

// markOverwritten records a stretch of r as damaged, joined to an earlier one
// close by.
func (c *comparison) markOverwritten(r *repeat, from, to int) {
	r.damage = true
	n := len(r.steps)
	if n > 0 && r.steps[n-1].samples == 0 && float64(from)-r.steps[n-1].to < 0.05*float64(c.stim.RateHz) {
		r.steps[n-1].to = float64(to)
		return
	}
	r.steps = append(r.steps, step{from: float64(from), to: float64(to)})
}

// blameOneOfTwo marks the segments in which r and the reference differ. Where
// one of them is silent, that is the damaged one; of anything else nobody
// knows which is right, and both are marked.
func (c *comparison) blameOneOfTwo(r *repeat, bad []bool, bounds []int) {
	for s := 0; s < len(bad); s++ {
		first := s
		silentHere, silentThere := false, false
		for ; s < len(bad) && bad[s]; s++ {
			here := c.energyAt(r, bounds[s], bounds[s+1])
			there := c.energyAt(c.ref, bounds[s], bounds[s+1])
			silentHere = silentHere || here < there/4
			silentThere = silentThere || there < here/4
		}
		if s == first {
			continue
		}
		if silentHere || !silentThere {
			c.markOverwritten(r, bounds[first], bounds[s])
		}
		if silentThere || !silentHere {
			c.markOverwritten(c.ref, bounds[first], bounds[s])
		}
	}
}

func medianOf(x []float64) float64 {
	return slices.Sorted(slices.Values(x))[len(x)/2]
}

// gain is the level of a spectrum against another of the same phase.
func gain(x, against []complex128) float64 {
	num, den := 0.0, 0.0
	for k, v := range against {
		num += real(x[k] * cmplx.Conj(v))
		den += power(v)
	}
	if den == 0 {
		return 1
	}
	return num / den
}

// segments parts the sweep into stretches of 2.5 ms, or of one and a half
// cycles where these are longer, without the faded beginning.
func (c *comparison) segments() []int {
	rate := float64(c.stim.RateHz)
	bounds := []int{int(c.timeOf(c.bands[0].lo))}
	for t := float64(bounds[0]); ; {
		f := c.course.FrequencyAt(t / rate)
		t += math.Max(0.0025, 1.5/f) * rate
		if t > float64(c.stim.SweepSamples) {
			return bounds
		}
		bounds = append(bounds, int(t))
	}
}

// segmentEnergy is the mean square between bounds.
func segmentEnergy(x []float64, bounds []int) []float64 {
	e := make([]float64, len(bounds)-1)
	for s := range e {
		for _, v := range x[bounds[s]:bounds[s+1]] {
			e[s] += v * v
		}
		e[s] /= float64(bounds[s+1] - bounds[s])
	}
	return e
}

// energyAt is the mean square of the changes from sample to sample of a
// stretch of repeat r, on the time of the reference: hum hardly counts.
func (c *comparison) energyAt(r *repeat, from, to int) float64 {
	e := 0.0
	start := r.cut + int(math.Round(r.delay.samples))
	for t := from; t < to; t++ {
		if i := start + t; i > 0 && i < len(c.samples) {
			d := c.samples[i] - c.samples[i-1]
			e += d * d
		}
	}
	return e / float64(max(1, to-from))
}

// limitLines cuts lines of hum down to the level of their neighbourhood.
func limitLines(c []complex128) {
	const width, limit = 8, 9
	for b, p := range blockPower(c, width) {
		for i := b * width; i < min((b+1)*width, len(c)); i++ {
			if q := power(c[i]); q > limit*p {
				c[i] *= complex(math.Sqrt(limit*p/q), 0)
			}
		}
	}
}
