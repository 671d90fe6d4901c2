package response

import (
	"context"
	"errors"
	"math"
	"math/cmplx"
	"slices"
)

// material is what an estimate is made of: periods cut on the stimulus's
// clock, and silence.
type material struct {
	rateHz       float64
	fromHz, toHz float64
	sweepRateS   float64 // L of the sweep
	stimulus     []float64
	// coil[k] and reference[k] are the periods of repeat k; no reference: nil.
	coil, reference [][]float64
	// coilSilence and referenceSilence are stretches without stimulus.
	coilSilence, referenceSilence []float64
	// slope is what H is divided by.
	slope func(hz float64) complex128
}

// estimate makes the response.
func (m *material) estimate(ctx context.Context) (*Response, error) {
	if len(m.coil) == 0 {
		return nil, errors.New("no whole repeat of the stimulus to estimate a response from")
	}
	in := newInverse(m.stimulus, m.rateHz, m.fromHz, m.toHz, m.slope)
	s := newSpectra(in, m.reference != nil)
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

	var quietY, quietV *silence
	quietY = newSilence(m.coilSilence, m.rateHz)
	if m.reference != nil {
		quietV = newSilence(m.referenceSilence, m.rateHz)
	}

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
	mask := slices.Clone(in.mask)
	noise.leaveOut(in, s, mask)
	if err := ctx.Err(); err != nil {
		return nil, err
	}

	hy := in.impulse(nil, s.y)
	origin := m.origin(hy)
	var hv []float64
	delay := origin
	if s.v != nil {
		hv = in.impulse(nil, s.v)
		delay = 0 // the ratio has the common delay taken off already
	}
	maskLines := s.y1 // no more needed
	for l, x := range mask {
		maskLines[l] = complex(x, 0)
	}
	hm := in.impulse(nil, maskLines)

	r := &Response{
		Repeats: s.repeats, RepeatGain: s.gain, RepeatDelayS: s.delayS,
		ExtraDelayS: float64(delay) / m.rateHz,
		HumLinesHz:  noise.leftOutHz(in.lineHz()),
	}
	var grid []band // trimmed to what is reported
	var inverseDoF float64
	var y, v, d []complex128
	for _, b := range bands(m.rateHz, m.fromHz, m.toHz, longest) {
		g := newGater(b)
		y = g.points(y[:0], hy, origin)
		d = g.points(d[:0], hm, 0)
		if hv != nil {
			v = g.points(v[:0], hv, origin)
		}
		spacing := b.spacingHz(m.rateHz)
		used := band{length: b.length, first: b.first, last: b.first - 1}
		for i := range y {
			hz := float64(b.first+i) * spacing
			if cmplx.Abs(d[i]) < maskReported {
				if used.last < used.first {
					used.first, used.last = b.first+i+1, b.first+i
					continue
				}
				break
			}
			used.last = b.first + i
			mean, values := noise.around(hz/in.lineHz(), 0.6*spacing/in.lineHz())
			share := g.gate.energy / float64(in.samples) / (real(d[i])*real(d[i]) + imag(d[i])*imag(d[i]))
			p := point{y: y[i] / d[i], v: 1}
			quiet := covariance{yy: math.NaN()}
			if quietY != nil {
				quiet.yy = quietY.line(in, in.coilPower, hz, s.repeats)
			}
			if hv != nil {
				p.v = v[i] / d[i]
				if quietV != nil {
					quiet.vv = quietV.line(in, in.power, hz, s.repeats)
				}
			}
			r.FrequencyHz = append(r.FrequencyHz, hz)
			r.H = append(r.H, p.y/p.v)
			r.Variance = append(r.Variance, p.variance(mean.scaled(share)))
			r.NoiseFloor = append(r.NoiseFloor, math.Sqrt(p.variance(quiet.scaled(share))))
			inverseDoF += 1 / (2 * values)
		}
		if used.last >= used.first {
			grid = append(grid, used)
		}
	}
	if len(r.H) == 0 {
		return nil, errors.New("the stimulus has no power in its own band")
	}
	r.VarianceDoF = float64(len(r.H)) / inverseDoF
	r.SNRdB = plateauSNR(r)
	r.Harmonic = m.harmonics(in, hy, origin, grid, r, s.v != nil, longest)
	return r, nil
}

// point is one point of both channels; v = 1 without a reference.
type point struct{ y, v complex128 }

// variance is that of y/v to first order, given the covariance of y and v.
func (p point) variance(c covariance) float64 {
	ratio := p.y / p.v
	v2 := real(p.v)*real(p.v) + imag(p.v)*imag(p.v)
	h2 := real(ratio)*real(ratio) + imag(ratio)*imag(ratio)
	return max(0, (c.yy+h2*c.vv-2*real(cmplx.Conj(ratio)*c.yv))/v2)
}

// impulse is the inverse transform of lines.
func (in *inverse) impulse(dst []float64, lines []complex128) []float64 {
	dst = in.plan.Sequence(dst, lines)
	k := 1 / float64(in.samples)
	for i := range dst {
		dst[i] *= k
	}
	return dst
}

// longestGate is the effective length in samples of the longest gate: before
// lag 0 it keeps clear of the second harmonic, and it fits in the period.
func (m *material) longestGate() int {
	length := min(longestGateS, 0.7*m.sweepRateS*math.Ln2/gatePre,
		0.5*float64(len(m.stimulus))/m.rateHz/gateSpanTotal)
	return smooth(int(length * m.rateHz))
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
	end := origin + in.samples - int((m.sweepRateS*math.Log(8)+0.05)*m.rateHz)
	if end-begin > in.samples/8 {
		return lagNoise(in, hy, hv, begin, end), nil
	}
	if quietY == nil || s.v != nil && quietV == nil {
		return nil, errors.New("the noise of a single repeat cannot be told: its period is too short and there is no silence before it; record with more repeats")
	}
	return silenceNoise(in, quietY, quietV, s.repeats), nil
}

// plateauSNR is the median of |H|^2/Variance from 100 Hz to 1 kHz in dB.
func plateauSNR(r *Response) float64 {
	var snr []float64
	for i, hz := range r.FrequencyHz {
		if hz >= 100 && hz <= 1000 {
			a := cmplx.Abs(r.H[i])
			snr = append(snr, a*a/r.Variance[i])
		}
	}
	if len(snr) == 0 {
		return math.NaN()
	}
	slices.Sort(snr)
	return 10 * math.Log10(snr[len(snr)/2])
}

// harmonics fills Harmonic: magnitudes over the linear answer, both as
// recorded.
func (m *material) harmonics(in *inverse, hy []float64, origin int, grid []band, r *Response, reference bool, longest int) [][]float64 {
	linear := r.H
	if reference {
		linear = nil
		for _, b := range grid {
			linear = newGater(b).points(linear, hy, origin)
		}
	}
	out := make([][]float64, harmonicOrders)
	for n := range out {
		out[n] = make([]float64, len(linear))
		for i, a := range harmonics(in, hy, origin, m.sweepRateS, n+2, grid, m.toHz) {
			hz := r.FrequencyHz[i]
			out[n][i] = cmplx.Abs(a * m.slope(float64(n+2)*hz) / (linear[i] * m.slope(hz)))
		}
	}
	return out
}
