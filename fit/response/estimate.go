package response

import (
	"context"
	"errors"
	"math"
	"math/cmplx"

	"coilsweep/excite"
)

// gateError is about what a gate leaves out of a resonance or of the ends of
// the band, relative to the response: no variance is given below it.
const gateError = 1e-5

// material is what an estimate is made of: periods cut on the stimulus's
// clock, and silence.
type material struct {
	rateHz       float64
	fromHz, toHz float64
	course       *excite.Course
	// shaped: the sweep is not exponential; its harmonics have no one lead.
	shaped bool
	masked *masked
	// coil[k] and reference[k] are the periods of repeat k; no reference: nil.
	coil, reference [][]float64
	// coilSilence and referenceSilence are stretches without stimulus.
	coilSilence, referenceSilence []float64
	// slope is what H is divided by.
	slope func(hz float64) complex128
}

// estimate makes the response, and lets the recording go.
func (m *material) estimate(ctx context.Context, e *Estimator) (*Response, error) {
	if len(m.coil) == 0 {
		return nil, errors.New("no whole repeat of the stimulus to estimate a response from")
	}
	w := e.workspace(m.masked.samples)
	defer e.leave(w)
	in, s := &w.in, w.cleared(m.reference != nil)
	in.sloped(m.masked, m.slope)
	for k, period := range m.coil {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		var reference []float64
		if m.reference != nil {
			reference = m.reference[k]
		}
		s.add(in, period, reference)
	}
	var quietV *silence
	quietY := newSilence(m.coilSilence, m.rateHz)
	if m.reference != nil {
		quietV = newSilence(m.referenceSilence, m.rateHz)
	}
	clear(m.coil) // the recording is no more needed
	clear(m.reference)
	m.coilSilence, m.referenceSilence = nil, nil

	longest := m.longestGate()
	var noise *lineNoise
	if s.repeats > 1 {
		noise = repeatNoise(in, s)
	} else {
		var err error
		if noise, err = m.singleNoise(in, s, longest, quietY, quietV); err != nil {
			return nil, err
		}
	}
	mask := noise.leaveOut(in, s)
	if err := ctx.Err(); err != nil {
		return nil, err
	}

	w.coil = in.impulse(w.coil, s.y)
	hy := w.coil
	origin := m.origin(hy)
	var hv []float64
	delay := origin
	if s.v != nil {
		w.reference = in.impulse(w.reference, s.v)
		hv = w.reference
		delay = 0 // the ratio has the common delay taken off already
	}
	hm := in.maskImpulse(mask, s.y1) // y1 is no more needed

	r := &Response{
		Repeats: s.repeats, RepeatGain: s.gain, RepeatDelayS: s.delayS,
		ExtraDelayS: float64(delay) / m.rateHz,
		HumLinesHz:  noise.leftOutHz(in.lineHz()),
	}
	var inverseDoF float64
	var y, v, d []complex128
	grid := bands(m.rateHz, m.fromHz, m.toHz, longest)
	for n := range grid {
		b := &grid[n]
		b.clip(m.rateHz, in.bottomHz(), in.topHz())
		g := e.gater(b.length)
		y = g.points(y[:0], *b, hy, origin, &w.gater)
		d = g.points(d[:0], *b, hm, 0, &w.gater)
		if hv != nil {
			v = g.points(v[:0], *b, hv, origin, &w.gater)
		}
		spacing := b.spacingHz(m.rateHz)
		for i := range y {
			hz := float64(b.first+i) * spacing
			at, half := hz/in.lineHz(), 0.6*spacing/in.lineHz()
			mean, values := noise.around(at, half)
			quiet := covariance{yy: math.NaN()}
			if quietY != nil {
				quiet.yy = quietY.recorded(in, hz, s.repeats)
			}
			p := point{y: y[i] / d[i], v: 1}
			if hv != nil {
				p.v = v[i] / d[i]
				if quietV != nil {
					quiet.vv = quietV.recorded(in, hz, s.repeats)
				}
			}
			masked := in.mask[int(math.Round(at))]
			share := g.gate.energy / float64(in.samples) * masked * masked / square(d[i])
			h := p.y / p.v
			r.FrequencyHz = append(r.FrequencyHz, hz)
			r.H = append(r.H, h)
			r.Variance = append(r.Variance,
				max(p.variance(in.deconvolved(mean, at, half).scaled(share)), gateError*gateError*square(h)))
			r.NoiseFloor = append(r.NoiseFloor, math.Sqrt(p.variance(in.deconvolved(quiet, at, half).scaled(share))))
			inverseDoF += 1 / (2 * values)
		}
	}
	if len(r.H) == 0 {
		return nil, errors.New("the band of the stimulus is too narrow for a single point")
	}
	r.VarianceDoF = float64(len(r.H)) / inverseDoF
	r.SNRdB = plateauSNR(r)
	m.harmonics(e, w, noise, hy, origin, grid, r)
	for _, ratio := range r.harmonicRatio {
		size := make([]float64, len(ratio))
		for i, a := range ratio {
			size[i] = cmplx.Abs(a)
		}
		r.Harmonic = append(r.Harmonic, size)
	}
	return r, nil
}

// point is one point of both channels; v = 1 without a reference.
type point struct{ y, v complex128 }

// variance is that of y/v to first order, given the covariance of y and v.
func (p point) variance(c covariance) float64 {
	h := p.y / p.v
	return max(0, (c.yy+square(h)*c.vv-2*real(cmplx.Conj(h)*c.yv))/square(p.v))
}

// square is |a|^2.
func square(a complex128) float64 { return real(a)*real(a) + imag(a)*imag(a) }

// impulse is the inverse transform of lines.
func (in *inverse) impulse(dst []float64, lines []complex128) []float64 {
	dst = in.period(dst, lines)
	k := 1 / float64(in.samples)
	for i := range dst {
		dst[i] *= k
	}
	return dst
}

// maskImpulse is the inverse transform of a mask; nil: that of in. work is overwritten.
func (in *inverse) maskImpulse(mask []float64, work []complex128) []float64 {
	if mask == nil {
		in.once.Do(func() { in.maskWhole = in.maskImpulse(in.mask, work) })
		return in.maskWhole
	}
	for l, x := range mask {
		work[l] = complex(x, 0)
	}
	return in.impulse(nil, work)
}

// longestGate is the effective length in samples of the longest gate: it fits in
// the period, and before lag 0 it keeps clear of the second harmonic. That of a
// shaped sweep comes closer, but not everywhere: shapes are made to keep it
// clear of the gate of its own frequency (GateLeadS).
func (m *material) longestGate() int {
	length := min(longestGateS, 0.5*float64(m.masked.samples)/m.rateHz/gateSpanTotal)
	if !m.shaped {
		lead, _ := m.course.HarmonicLeadsS(2)
		length = min(length, 0.7*lead/gatePre)
	}
	return excite.TransformFrom(int(length * m.rateHz))
}

// origin is the lag of the main peak of the impulse response, within 0.1 s of
// where the alignment put it: where gates and delay are counted from.
func (m *material) origin(h []float64) int {
	reach := min(int(0.1*m.rateHz), len(h)/4)
	best, at := 0.0, 0
	for lag := -reach; lag <= reach; lag++ {
		if a := math.Abs(h[modulo(lag, len(h))]); a > best {
			best, at = a, lag
		}
	}
	return at
}

// singleNoise finds the noise of a single repeat.
func (m *material) singleNoise(in *inverse, s *spectra, longest int, quietY, quietV *silence) (*lineNoise, error) {
	hy := in.impulse(nil, s.y)
	var hv []float64
	if s.v != nil {
		hv = in.impulse(nil, s.v)
	}
	origin := m.origin(hy)
	begin := origin + int(gatePost*float64(longest))
	// Harmonics up to the eighth lie at the period's end.
	_, lead := m.course.HarmonicLeadsS(8)
	end := origin + in.samples - int((lead+0.05)*m.rateHz)
	if end-begin > in.samples/8 {
		return lagNoise(in, hy, hv, begin, end), nil
	}
	if quietY == nil || s.v != nil && quietV == nil {
		return nil, errors.New("the noise of a single repeat cannot be told: its period is too short and there is no " +
			"silence before it; record with more repeats")
	}
	return silenceNoise(in, quietY, quietV, s.repeats), nil
}

// plateauSNR is the mean |H|^2 over the mean Variance from 100 Hz to 1 kHz, in
// dB.
func plateauSNR(r *Response) float64 {
	var signal, noise float64
	for i, hz := range r.FrequencyHz {
		if hz >= 100 && hz <= 1000 {
			signal += square(r.H[i])
			noise += r.Variance[i]
		}
	}
	return 10 * math.Log10(signal/noise) // NaN where the band has no such points
}

// harmonics gives r the harmonics of each order over the linear answer, both as
// recorded: for a sine of unit phase, a harmonic of that size and phase; and the noise in
// them. Of a shaped sweep, whose harmonics lie spread over many lags, they are not known.
func (m *material) harmonics(e *Estimator, w *workspace, noise *lineNoise, hy []float64, origin int, grid []band,
	r *Response) {
	if m.shaped {
		return
	}
	linear := r.H
	if m.reference != nil {
		linear = nil
		for _, b := range grid {
			linear = e.gater(b.length).points(linear, b, hy, origin, &w.gater)
		}
	}
	for order := 2; order < 2+harmonicOrders; order++ {
		ratio, floor := harmonics(&w.in, noise, hy, origin, m.course.DwellS(m.fromHz), order, grid, m.toHz)
		for i, hz := range r.FrequencyHz {
			k := m.slope(float64(order)*hz) / (linear[i] * m.slope(hz))
			ratio[i] *= k
			floor[i] *= cmplx.Abs(k)
		}
		r.harmonicRatio, r.HarmonicFloor = append(r.harmonicRatio, ratio), append(r.HarmonicFloor, floor)
	}
}
