package quality

import "math"

// hum is what the mains leave in a silence.
type hum struct {
	power   float64 // mean square of all its lines
	rest    float64 // mean square of what is left without them
	mainsHz float64 // 0: no hum stands out
}

const (
	humLines = 12
	// humSignificance is how far the lines must stand over what lies between
	// them, in power.
	humSignificance = 4
)

// findHum looks for lines at the multiples of 50 and of 60 Hz (each ±1 %) in a
// silence. The mains frequency comes out to about a hundredth of the inverse of the
// silence's length. In less than 0.1 s there is nothing to be told.
func findHum(silence []float64, rateHz int) hum {
	if len(silence) < rateHz/10 {
		return hum{rest: variance(silence)}
	}
	// 2 kHz are enough: averages of whole blocks reach the lines with less
	// than 3 % loss up to 600 Hz.
	block := max(1, rateHz/4000)
	x := make([]float64, len(silence)/block)
	mean := 0.0
	for i := range x {
		for _, v := range silence[i*block : (i+1)*block] {
			x[i] += v / float64(block)
		}
		mean += x[i]
	}
	mean /= float64(len(x))
	rate := float64(rateHz) / float64(block)
	gain := 0.0
	for i := range x {
		w := 1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(len(x)))
		x[i] = (x[i] - mean) * w
		gain += w
	}
	// power of a line: a sine of amplitude a at fHz gives a²/2.
	line := func(fHz float64) float64 {
		c, s := cosine(x, fHz/rate)
		return 2 * (c*c + s*s) / (gain * gain)
	}
	family := func(mainsHz float64) (lines, between float64) {
		for h := 1; h <= humLines; h++ {
			lines += line(float64(h) * mainsHz)
			between += line((float64(h) + 0.5) * mainsHz)
		}
		return lines, between
	}
	best, score := hum{}, 0.0
	for _, nominal := range []float64{50, 60} {
		for off := -0.01; off <= 0.0101; off += 0.001 {
			lines, between := family(nominal * (1 + off))
			if lines > humSignificance*between && lines-between > score {
				best.mainsHz, score = nominal*(1+off), lines-between
			}
		}
	}
	if score == 0 {
		best.rest = variance(silence)
		return best
	}
	for step := 2e-4; step > 1e-6; step /= 5 {
		middle := best.mainsHz
		for k := -5.0; k <= 5; k++ {
			f := middle * (1 + k*step)
			if lines, between := family(f); lines-between > score {
				best.mainsHz, score = f, lines-between
			}
		}
	}
	best.rest = withoutLines(silence, best.mainsHz/float64(rateHz))
	best.power = math.Max(0, variance(silence)-best.rest)
	return best
}

// withoutLines is the mean square of x less its lines at the multiples of f
// cycles per sample, each fitted by least squares. Whole cycles fit nearly
// independently: three rounds settle the rest.
func withoutLines(x []float64, f float64) float64 {
	y := append([]float64(nil), x...)
	for range 3 {
		for h := 0; h <= humLines; h++ {
			subtractLine(y, float64(h)*f)
		}
	}
	return variance(y)
}

// subtractLine takes the best-fitting sine of f cycles per sample off y; the
// mean for f = 0.
func subtractLine(y []float64, f float64) {
	sin, cos := math.Sincos(2 * math.Pi * f)
	var cc, ss, cs, yc, ys float64
	re, im := 1.0, 0.0
	for _, v := range y {
		cc, ss, cs = cc+re*re, ss+im*im, cs+re*im
		yc, ys = yc+v*re, ys+v*im
		re, im = re*cos-im*sin, re*sin+im*cos
	}
	a, b := yc/cc, 0.0
	if det := cc*ss - cs*cs; det > 1e-9*cc*cc {
		a, b = (yc*ss-ys*cs)/det, (ys*cc-yc*cs)/det
	}
	re, im = 1, 0
	for i := range y {
		y[i] -= a*re + b*im
		re, im = re*cos-im*sin, re*sin+im*cos
	}
}

// cosine returns the sums of x times cos and sin at f cycles per sample, by a
// rotating phasor.
func cosine(x []float64, f float64) (c, s float64) {
	sin, cos := math.Sincos(2 * math.Pi * f)
	re, im := 1.0, 0.0
	for _, v := range x {
		c += v * re
		s += v * im
		re, im = re*cos-im*sin, re*sin+im*cos
	}
	return c, s
}
