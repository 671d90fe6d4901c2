package response

import (
	"math"
	"math/cmplx"
)

// harmonicOrders are 2 … harmonicOrders+1.
const harmonicOrders = 2

// Gates of harmonics, in periods of the harmonic, as far as there is room
// between the neighbouring orders.
//
// The mask is divided out as it is at the harmonic's frequency: where it is
// less than harmonicMask, the end of the band is too near.
const (
	harmonicMask = 0.1
	harmonicPre  = 20
	harmonicPost = 60
)

// harmonics gives the responses of one order at the excitation frequencies of
// the points: H_n(n f), so that a sine of the stimulus's size and frequency f
// makes a harmonic H_n(n f)/H_1(f) times the linear answer [2]. h is the
// impulse response of the recording against the stimulus, origin the lag where
// its linear part begins. floor is the size of the noise in them, sqrt of its expected
// |.|^2. NaN where n f is out of the band.
func harmonics(in *inverse, noise *lineNoise, h []float64, origin int, sweepRateS float64, order int, grid []band,
	toHz float64) (out []complex128, floor []float64) {
	n := float64(order)
	centre := float64(origin) - sweepRateS*math.Log(n)*in.rateHz
	start := int(math.Round(centre))
	roomPre := 0.5 * sweepRateS * math.Log((n+1)/n) * in.rateHz
	roomPost := 0.6 * sweepRateS * math.Log(n/(n-1)) * in.rateHz
	var segment []float64
	for _, b := range grid {
		spacing := b.spacingHz(in.rateHz)
		period := in.rateHz / (n * spacing * float64(b.first))
		pre := min(harmonicPre*period, roomPre)
		post := min(harmonicPost*period, roomPost)
		g := edgedGate(pre/2, pre/2, post/2, post/2)
		segment = segment[:0]
		for i, w := range g.window {
			segment = append(segment, w*h[modulo(start-g.pre+i, len(h))])
		}
		for k := b.first; k <= b.last; k++ {
			hz := n * float64(k) * spacing
			line := int(math.Round(hz / in.lineHz()))
			if hz > toHz || line >= in.hi || in.mask[line] < harmonicMask {
				out, floor = append(out, cmplx.NaN()), append(floor, math.NaN())
				continue
			}
			w := 2 * math.Pi * hz / in.rateHz
			a := transformAt(segment, w) * cmplx.Rect(1/in.mask[line], w*(float64(g.pre-start)+centre))
			at, half := hz/in.lineHz(), 0.6*n*spacing/in.lineHz()
			mean, _ := noise.around(at, half)
			v := in.deconvolved(mean, at, half).yy * g.energy / float64(in.samples)
			out, floor = append(out, a), append(floor, math.Sqrt(v))
		}
	}
	return out, floor
}

// transformAt is the sum of x[t] exp(-j w t).
func transformAt(x []float64, w float64) complex128 {
	step := cmplx.Rect(1, -w)
	double := step * step
	even, odd := complex(1, 0), step
	var sumEven, sumOdd complex128
	t := 0
	for ; t+1 < len(x); t += 2 {
		sumEven += complex(x[t]*real(even), x[t]*imag(even))
		sumOdd += complex(x[t+1]*real(odd), x[t+1]*imag(odd))
		even *= double
		odd *= double
	}
	if t < len(x) {
		sumEven += complex(x[t], 0) * even
	}
	return sumEven + sumOdd
}
