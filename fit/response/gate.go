package response

import (
	"math"
	"slices"
	"sync"

	"coilsweep/excite"

	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	// pointsPerOctave of the grid, where the longest gate allows it.
	pointsPerOctave = 80
	// longestGateS is the effective length of the longest gate: it keeps the
	// decay of a sound card's high-pass down to 1 Hz and gives the lowest
	// octave its resolution.
	longestGateS = 0.6
)

// Near the upper end of the stimulus the gates are edgeFactor times as long,
// and points as much denser: else the response there would be that of a lower
// frequency, as only this side of the end is known.
const (
	edgeOctaves = 1.15
	edgeFactor  = 4
)

// The parts of a gate as shares of its effective length: the rising edge and
// the flat part before lag 0 have room for a linear-phase filter's ringing,
// the flat part after it for that of the coil. The flat part holds some 90
// periods of the frequency it is for: a resonance with Q = 30 has fallen to
// 1e-4 by then.
const (
	gateRise      = 0.12
	gateFlatPre   = 0.08
	gateFall      = 0.25
	gateFlatPost  = 1 - gateFlatPre - 0.397*(gateRise+gateFall)
	gatePre       = gateRise + gateFlatPre
	gatePost      = gateFlatPost + gateFall
	gateSpanTotal = gatePre + gatePost
)

// gate is a window in time, in samples about lag 0.
type gate struct {
	pre    int // samples before lag 0
	window []float64
	energy float64 // sum of squares
}

// newGate makes a gate of a length. Its energy is near length: then
// points 1/length apart are all but uncorrelated in white noise, as the
// spectrum of the squared window has its first zero there.
func newGate(length int) gate {
	m := float64(length)
	return edgedGate(gateRise*m, gateFlatPre*m, gateFlatPost*m, gateFall*m)
}

// edgedGate makes a gate that rises, is flat from -before to after, and falls.
func edgedGate(rise, before, after, fall float64) gate {
	g := gate{pre: int(rise + before)}
	g.window = make([]float64, g.pre+int(after+fall)+1)
	for i := range g.window {
		t := float64(i - g.pre)
		w := 1.0
		switch {
		case t < -before:
			w = smoothStep((t + before + rise) / rise)
		case t > after:
			w = smoothStep((after + fall - t) / fall)
		}
		g.window[i] = w
		g.energy += w * w
	}
	return g
}

// smoothStep goes from 0 at 0 to 1 at 1; it is the integral of a Hann window,
// so its spectrum falls with the fourth power.
func smoothStep(x float64) float64 {
	if x <= 0 || x >= 1 {
		return min(max(x, 0), 1)
	}
	return x - math.Sin(2*math.Pi*x)/(2*math.Pi)
}

// GateLeadS is how long, in seconds, before lag 0 the gate of the points at a
// frequency begins, unless the stimulus is too short for it: what comes earlier
// at that frequency is left out.
func GateLeadS(frequencyHz float64) float64 {
	return gatePre * min(longestGateS, 1/(frequencyHz*(math.Exp2(1.0/pointsPerOctave)-1)))
}

// fold writes the gated part of the periodic sequence h about lag origin into
// dst, time-aliased to its length, so that the transform of dst samples the
// gated spectrum at multiples of rate/len(dst), with phase zero at origin.
func (g gate) fold(dst, h []float64, origin int) {
	clear(dst)
	j := modulo(origin-g.pre, len(h))
	i := modulo(-g.pre, len(dst))
	for _, w := range g.window {
		dst[i] += w * h[j]
		if i++; i == len(dst) {
			i = 0
		}
		if j++; j == len(h) {
			j = 0
		}
	}
}

func modulo(a, n int) int {
	if a %= n; a < 0 {
		a += n
	}
	return a
}

// band is a run of points that share a gate: lines first … last of a transform
// of length samples.
type band struct {
	length      int
	first, last int
}

func (b band) spacingHz(rateHz float64) float64 { return rateHz / float64(b.length) }

// clip leaves out the points that are not clear of the mask's ends.
func (b *band) clip(rateHz, bottomHz, topHz float64) {
	spacing := b.spacingHz(rateHz)
	b.first = max(b.first, int(math.Ceil(bottomHz/spacing+clearOfBottom)))
	b.last = max(min(b.last, int(math.Floor(topHz/spacing-clearOfTop))), b.first-1)
}

// bands lays out the grid from fromHz to toHz. longest is the greatest
// effective length of a gate in samples.
func bands(rateHz, fromHz, toHz float64, longest int) []band {
	ratio := math.Exp2(1.0/pointsPerOctave) - 1
	third := math.Cbrt(2)
	var out []band
	last, lastSpacing := math.Inf(-1), 0.0
	for start := fromHz; start < toHz; {
		length, end := longest, start*third
		if want := rateHz / (start * math.Sqrt(third) * ratio); want < float64(longest) {
			length = excite.TransformFrom(int(math.Ceil(want)))
		} else {
			// One gate up to where the points come as dense as it allows.
			end = max(end, rateHz/float64(longest)/ratio/math.Sqrt(third))
		}
		end = min(end, toHz)
		if end > toHz/edgeOctaves {
			// The end of the band is itself resolved.
			length = min(length*edgeFactor, longest)
		}
		b := band{length: length}
		spacing := b.spacingHz(rateHz)
		b.first = max(1, int(math.Ceil(start/spacing*(1-1e-12))))
		if float64(b.first)*spacing-last < 0.45*(spacing+lastSpacing) {
			b.first++
		}
		b.last = int(math.Floor(end / spacing * (1 + 1e-12)))
		if b.last >= b.first {
			out = append(out, b)
			last, lastSpacing = float64(b.last)*spacing, spacing
		}
		start = end
	}
	return out
}

// gater takes gated spectra out of impulse responses, for bands of a length.
type gater struct {
	guard sync.Mutex
	gate  gate
	plan  *fourier.FFT
}

func newGater(length int) *gater {
	return &gater{gate: newGate(length), plan: fourier.NewFFT(length)}
}

// points appends the points of band b of the response h about lag origin, by way of
// work.
func (g *gater) points(dst []complex128, b band, h []float64, origin int, work *gaterWork) []complex128 {
	n := b.length
	folded := slices.Grow(work.folded[:0], n)[:n]
	line := slices.Grow(work.line[:0], n/2+1)[:n/2+1]
	work.folded, work.line = folded, line
	g.gate.fold(folded, h, origin)
	g.guard.Lock() // plans have memory of their own
	g.plan.Coefficients(line, folded)
	g.guard.Unlock()
	return append(dst, line[b.first:b.last+1]...)
}

// gaterWork is memory that gaters overwrite.
type gaterWork struct {
	folded []float64
	line   []complex128
}
