package quality

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/floats"

	"coilsweep/capture"
	"coilsweep/capture/align"
	"coilsweep/excite/quantity"
)

const (
	// wiringFromHz is where the response is looked at for its wiring: a coil's
	// resonance lies octaves above.
	wiringFromHz = 80
	// sameSignal is how far the ratio of two channels with one signal may be from a
	// constant: inputs differ by 0.1 dB.
	sameSignal = 0.03
	// swappedSlope is the slope in dB per octave of the coil's channel over the
	// reference below which they are swapped: a coil's rises by 6 dB, or is level
	// where the exciter's inductance rules.
	swappedSlope = -3
	// flatDB is how flat the way from output to input is without a coil, up to
	// flatToHz; a coil rises by 6 dB an octave, or falls beyond its resonance.
	flatDB, flatToHz = 1.5, 12000
	// excess is how many times more the peak of a coil may stand above the plateau
	// than its sharpness says (2nd order: as much). Metal about the coil makes it less.
	excess = 2.5
	// noPlateau is the response at half the frequency of the peak, over that below
	// it, from which there is no plateau; of the 2nd order it is 4/3 at most.
	noPlateau = 1.6
	// noPeak is the height of a peak that is none, as a ratio, and faintDBFS is the
	// peak level below which what is heard may be crosstalk.
	noPeak, faintDBFS = 1.12, -60
	// dampingOhm is the load from which on a coil has a peak (typical, no source).
	dampingOhm = 200e3
	// mostSweeps is how many sweeps are looked at: more tell no more.
	mostSweeps = 8
	// heard is the power of a step's value over that of its scatter from which a
	// channel holds the sweep, and known that from which its level is known within a
	// few per cent; in noise alone both powers are the same.
	heard, known = 10, 300
)

// AssessWiring adds the flags of a take that was recorded with something connected
// wrongly, as the recording alone shows it: channels that are swapped or carry one
// signal, an output recorded without the coil, a reference without the sweep, halves
// of a pair that cancel each other, crosstalk alone. take is what Assess made of rec.
func AssessWiring(rec capture.Recording, take capture.Take) (capture.Take, error) {
	q, stim := &take.Quality, take.Stimulus
	p := newPassages(stim, wiringFromHz)
	if take.Alignment == nil || p == nil || slices.Contains(q.Flags, capture.Clipped) {
		return take, nil
	}
	at := *take.Alignment
	at.Damaged = append(slices.Clone(at.Damaged), q.DamagedRepeats...)
	mean := func(channel int) ([]complex128, error) {
		samples := rec.Samples[channel]
		if q.MainsHz > 0 {
			if hum := MainsAt(q.MainsHz, samples, stim.RateHz, Silences(stim, at, len(samples)), at.Jumps); hum != nil {
				samples = hum.Removed(samples, Span{To: len(samples)})
			}
		}
		periods, _, err := align.Periods(samples, stim, at)
		periods = periods[:min(len(periods), mostSweeps)]
		// The passage of a mean is the mean of the passages.
		sum := make([]float64, stim.PeriodSamples)
		for _, period := range periods {
			floats.AddScaled(sum, 1/float64(len(periods)), period)
		}
		return p.of(sum), err
	}
	coil, err := mean(0)
	if err != nil {
		return take, nil // no whole sweep: it has its flag
	}
	w := wiring{passages: p, take: take, coil: coil}
	if take.HasReference() {
		if w.reference, err = mean(1); err != nil {
			return take, err
		}
	}
	if flag := w.wrong(); flag != "" {
		q.Flag(flag)
	}
	return take, nil
}

// wiring is what both channels hold of the stimulus.
type wiring struct {
	*passages
	take            capture.Take
	coil, reference []complex128
}

// wrong is what is connected wrongly; empty: nothing that shows.
func (w *wiring) wrong() capture.Flag {
	if w.reference != nil {
		ratio := make([]complex128, len(w.coil))
		for s := range ratio {
			ratio[s] = w.coil[s] / w.reference[s]
		}
		switch {
		case !hears(w.reference):
			return capture.NoReference
		case w.constant(ratio):
			return capture.SameSignal
		case w.slopeDB(ratio) < swappedSlope:
			return capture.SwappedChannels
		}
	}
	if !hears(w.coil) {
		return "" // the signal is in the noise, and has its flag
	}
	if w.flat() {
		return capture.NoCoil
	}
	height, sharpness, half := w.peak()
	faint := w.take.Quality.PeakDBFS < faintDBFS || slices.Contains(w.take.Quality.Flags, capture.LowSNR)
	switch {
	case height > excess*math.Max(1, sharpness), half > noPlateau && height > half:
		return capture.Cancels
	case height < noPeak && faint && !w.damped() && clarity(w.coil[:w.lowest()]) > known:
		return capture.Crosstalk
	}
	return ""
}

// damped tells whether the load is stated to be one with which a coil may have no peak.
func (w *wiring) damped() bool {
	l := w.take.Load
	low := func(r *quantity.Resistance) bool { return r != nil && r.SI < dampingOhm }
	return low(l.AddedR) || low(l.FixtureR)
}

// hears tells whether a channel holds the sweep: its values go smoothly from step to
// step, where those of noise do not.
func hears(h []complex128) bool { return clarity(h) > heard }

// clarity is the power of a channel's values over that of their scatter from step to
// step.
func clarity(h []complex128) float64 {
	var power, scatter []float64
	for s := 1; s < len(h)-1; s++ {
		power, scatter = append(power, square(h[s])), append(scatter, square(h[s-1]-2*h[s]+h[s+1])/6)
	}
	if len(power) == 0 {
		return 0
	}
	return medianOf(power) / max(medianOf(scatter), 1e-300)
}

// constant tells whether nearly all of the values are the same.
func (w *wiring) constant(x []complex128) bool {
	var re, im []float64
	for _, v := range x {
		re, im = append(re, real(v)), append(im, imag(v))
	}
	middle, off := complex(medianOf(re), medianOf(im)), 0
	for _, v := range x {
		if !(cmplx.Abs(v-middle) < sameSignal*cmplx.Abs(middle)) {
			off++
		}
	}
	return 20*off < len(x)
}

// lowest is how many steps the lowest octave has.
func (w *wiring) lowest() int {
	n, _ := slices.BinarySearch(w.hz, 2*w.hz[0])
	return n
}

// slopeDB is the slope of the lowest octave, in dB per octave.
func (w *wiring) slopeDB(x []complex128) float64 {
	n, low, high := w.lowest(), 0.0, 0.0
	for s := range n {
		if w.hz[s] < math.Sqrt2*w.hz[0] {
			low += square(x[s])
		} else {
			high += square(x[s])
		}
	}
	at, _ := slices.BinarySearch(w.hz, math.Sqrt2*w.hz[0])
	return 20 * math.Log10(high/float64(n-at)/(low/float64(at)))
}

// flat tells whether the coil's channel is level, as an output is.
func (w *wiring) flat() bool {
	least, most := math.Inf(1), 0.0
	for s, v := range w.coil {
		if w.hz[s] < flatToHz {
			least, most = math.Min(least, cmplx.Abs(v)), math.Max(most, cmplx.Abs(v))
		}
	}
	return w.hz[len(w.hz)-1] > 0.8*flatToHz && 20*math.Log10(most/least) < flatDB
}

// peak is the height of the peak over the plateau, as a ratio, the frequency of the
// peak over its width between the half-power points, and the response at half that
// frequency over the plateau.
func (w *wiring) peak() (height, q, half float64) {
	size := make([]float64, len(w.coil))
	for s, hz := range w.hz {
		size[s] = cmplx.Abs(w.coil[s]) / w.excitation(s, hz)
	}
	const each = 2 // steps to each side are averaged
	smooth := make([]float64, len(size))
	for s := range smooth {
		near := size[max(0, s-each):min(len(size), s+each+1)]
		for _, v := range near {
			smooth[s] += v / float64(len(near))
		}
	}
	at := 0
	for s, v := range smooth {
		if v > smooth[at] {
			at = s
		}
	}
	low, high := at, at
	for low > 0 && smooth[low] > smooth[at]/math.Sqrt2 {
		low--
	}
	for high < len(smooth)-1 && smooth[high] > smooth[at]/math.Sqrt2 {
		high++
	}
	below := func(hz float64) int {
		s, _ := slices.BinarySearch(w.hz, hz)
		return s
	}
	plateau := medianOf(smooth[:w.lowest()])
	if from, to := below(w.hz[at]/8), below(w.hz[at]/4); to > from {
		plateau = math.Max(plateau, medianOf(smooth[from:to])) // an input may fall at the low end
	}
	return smooth[at] / plateau, w.hz[at] / (w.hz[high] - w.hz[low]), smooth[below(w.hz[at]/2)] / plateau
}

// excitation is what the EMF of the coil is proportional to.
func (w *wiring) excitation(s int, hz float64) float64 {
	d, e := w.take.Drive, hz
	if w.reference != nil {
		e *= cmplx.Abs(w.reference[s])
	}
	if w.take.Reference.Kind != "current" && d.Kind == "voltage" && d.ExciterR != nil && d.ExciterL != nil {
		e /= math.Hypot(d.ExciterR.SI, 2*math.Pi*hz*d.ExciterL.SI)
	}
	return e
}

// medianOf is the middle value.
func medianOf(x []float64) float64 { return slices.Sorted(slices.Values(x))[len(x)/2] }
