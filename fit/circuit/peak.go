package circuit

import (
	"math"
	"math/cmplx"
)

// Peak is the maximum of |v/e|, the cover included: its frequency in Hz and
// its height over the low-frequency plateau in dB. ok is false where the
// response has no maximum above its plateau.
func (c Coil) Peak(load Load) (frequencyHz, overPlateauDB float64, ok bool) {
	w, ok := c.peakW(load)
	if !ok {
		return 0, 0, false
	}
	height := cmplx.Abs(c.Transfer(complex(0, w), load)) / c.Plateau(load)
	if !(height > 1) {
		return 0, 0, false
	}
	return w / (2 * math.Pi), 20 * math.Log10(height), true
}

// HalfPower are the frequencies in Hz on both sides of the peak at which |v/e|
// is the peak's over sqrt 2. lowHz is 0 where there is none: the plateau lies
// above it (peak lower than 3.01 dB). ok is false where there is no peak.
func (c Coil) HalfPower(load Load) (lowHz, highHz float64, ok bool) {
	peakHz, heightDB, ok := c.Peak(load)
	if !ok {
		return 0, 0, false
	}
	peak := 2 * math.Pi * peakHz
	level := 2 * math.Log(c.Plateau(load)*math.Pow(10, heightDB/20)/math.Sqrt2)
	above := func(w float64) float64 {
		h := c.Transfer(complex(0, w), load)
		return math.Log(real(h)*real(h)+imag(h)*imag(h)) - level
	}
	side := func(factor float64) float64 {
		near := peak
		for range 400 {
			far := near * factor
			value := above(far)
			if value <= 0 {
				return root(above, near, far) / (2 * math.Pi)
			}
			near = far
			if near < peak*1e-4 {
				break
			}
		}
		return 0
	}
	return side(1 / 1.05), side(1.05), true
}

// Width is the distance of the half-power points in Hz; ok is false where
// there are not two of them.
func (c Coil) Width(load Load) (hz float64, ok bool) {
	low, high, ok := c.HalfPower(load)
	if !ok || low == 0 || high == 0 {
		return 0, false
	}
	return high - low, true
}

// peakW is the angular frequency of the highest local maximum of |v/e|.
func (c Coil) peakW(load Load) (w float64, ok bool) {
	near := 2 * math.Pi * c.LCFrequency(load)
	if s, paired := c.pole(load); paired {
		near = cmplx.Abs(s)
		// The closed form of a pair alone; exact without rings, cover and lossy capacitance.
		x := 1 - 2*real(s)*real(s)/(near*near)
		if !c.hasEddy() && c.CoverTimeS == 0 && c.lossF(load) == 0 {
			return near * math.Sqrt(max(x, 0)), x > 0
		}
		if x > 0.2 {
			near *= math.Sqrt(x)
		}
	}
	if notFinite(near) {
		return 0, false
	}
	slope := func(w float64) float64 { return c.logSlope(w, load) }
	high := near * 1.1
	for slope(high) >= 0 {
		high *= 1.3
		if high > near*1e3 {
			return 0, false
		}
	}
	low := near * 0.8
	for slope(low) <= 0 {
		high = low
		low *= 0.9
		if low < near*1e-3 {
			return 0, false
		}
	}
	return root(slope, low, high), true
}

// logSlope is d ln|v/e|/dw at s = j w.
func (c Coil) logSlope(w float64, load Load) float64 {
	s := complex(0, w)
	d, slope := c.denominator(s, load)
	fall := slope / d
	if c.CoverTimeS != 0 {
		t := complex(c.CoverTimeS, 0)
		fall += t / (1 + s*t)
	}
	return imag(fall)
}

// root is the zero of f between a and b, where f changes sign, to the last
// digits (T. R. Chandrupatla, Adv. Eng. Software 28 (1997) 145: inverse
// quadratic interpolation where it is safe, else bisection).
func root(f func(float64) float64, a, b float64) float64 {
	fa, fb := f(a), f(b)
	c, fc := a, fa
	t := 0.5
	for range 200 {
		x := a + t*(b-a)
		fx := f(x)
		if math.Signbit(fx) == math.Signbit(fa) {
			c, fc = a, fa
		} else {
			c, b = b, a
			fc, fb = fb, fa
		}
		a, fa = x, fx
		best := a
		if math.Abs(fb) < math.Abs(fa) {
			best = b
		}
		tolerance := 2e-16 * math.Abs(best)
		limit := tolerance / math.Abs(b-a)
		if fx == 0 || limit > 0.5 {
			return best
		}
		xi, phi := (a-b)/(c-b), (fa-fb)/(fc-fb)
		t = 0.5
		if 1-math.Sqrt(1-xi) < phi && phi < math.Sqrt(xi) {
			t = fa/(fb-fa)*fc/(fb-fc) + (c-a)/(b-a)*fa/(fc-fa)*fb/(fc-fb)
		}
		t = min(max(t, limit), 1-limit)
	}
	return a
}
