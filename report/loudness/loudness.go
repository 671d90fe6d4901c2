// Package loudness measures how loud a sound is, by Recommendation ITU-R BS.1770-5
// (2023) [1], annex 1, whose filters and gates for one and two channels are those of
// BS.1770-4 (2015): K-weighting, blocks of 400 ms that overlap by 75 %, an absolute
// gate at −70 LUFS and a relative one 10 LU below what passes it.
//
// References:
//
//	[1] Recommendation ITU-R BS.1770-5: Algorithms to measure audio programme
//	    loudness and true-peak audio level. Tables 1 and 2 have the coefficients.
package loudness

import (
	"errors"
	"math"
	"math/cmplx"
)

// ErrSilent: no block of 400 ms passes the absolute gate.
var ErrSilent = errors.New("no 0.4 s of it are louder than −70 LUFS")

const (
	absoluteGate = -70.0  // LUFS
	relativeGate = -10.0  // LU
	offset       = -0.691 // of [1], equation 2: 997 Hz at full scale in one channel is −3.01 LUFS
	tableRateHz  = 48e3   // of the tables in [1]
	hopSeconds   = 0.1
	hopsOfBlock  = 4
)

// section is a filter of the second order: b over 1, a[0], a[1] in powers of 1/z.
type section struct {
	b [3]float64
	a [2]float64
}

// The two stages of K-weighting at 48 kHz: a shelf for the head, and a high pass.
var tables = [2]section{
	{[3]float64{1.53512485958697, -2.69169618940638, 1.19839281085285},
		[2]float64{-1.69065929318241, 0.73248077421585}}, // table 1
	{[3]float64{1, -2, 1}, [2]float64{-1.99004745483398, 0.99007225036621}}, // table 2
}

// at is s, which is for 48 kHz, at another rate: the analogue filter that the bilinear
// transform makes s of, transformed again so that its corner stays where it is. [1]
// asks for the same frequency response and gives no coefficients.
func (s section) at(rateHz float64) section {
	if rateHz == tableRateHz {
		return s
	}
	// In t = (1 − 1/z)/(1 + 1/z) a polynomial c0 + c1/z + c2/z² is, over (1 + 1/z)²,
	// proportional to (c0+c1+c2) + 2(c0−c2)t + (c0−c1+c2)t².
	analogue := func(c [3]float64) [3]float64 {
		return [3]float64{c[0] + c[1] + c[2], 2 * (c[0] - c[2]), c[0] - c[1] + c[2]}
	}
	den := analogue([3]float64{1, s.a[0], s.a[1]})
	num := analogue(s.b)
	// The corner has t = i·corner at 48 kHz; tan(pi f/rate) takes it to the other rate.
	corner := math.Sqrt(den[0] / den[2])
	f := math.Atan(corner) * tableRateHz / math.Pi
	k := corner / math.Tan(math.Pi*f/rateHz)
	digital := func(p [3]float64) [3]float64 {
		p[1], p[2] = p[1]*k, p[2]*k*k
		return [3]float64{p[0] + p[1] + p[2], 2 * (p[0] - p[2]), p[0] - p[1] + p[2]}
	}
	num, den = digital(num), digital(den)
	return section{b: [3]float64{num[0] / den[0], num[1] / den[0], num[2] / den[0]},
		a: [2]float64{den[1] / den[0], den[2] / den[0]}}
}

// Weighting is the gain of K-weighting at a frequency, as a factor of the amplitude,
// for sound at a sample rate.
func Weighting(hz float64, rateHz int) float64 {
	z := cmplx.Exp(complex(0, -2*math.Pi*hz/float64(rateHz)))
	gain := 1.0
	for _, s := range tables {
		s = s.at(float64(rateHz))
		num := complex(s.b[0], 0) + z*(complex(s.b[1], 0)+z*complex(s.b[2], 0))
		gain *= cmplx.Abs(num / (1 + z*(complex(s.a[0], 0)+z*complex(s.a[1], 0))))
	}
	return gain
}

// Integrated is the gated loudness of one or more front channels, full scale ±1, in
// LUFS. The error is ErrSilent.
func Integrated(channels [][]float64, rateHz int) (float64, error) {
	power := blocks(channels, rateHz)
	loud := gated(power, absoluteGate)
	if math.IsInf(loud, -1) {
		return 0, ErrSilent
	}
	return gated(power, max(absoluteGate, loud+relativeGate)), nil
}

// blocks are the mean squares of the weighted channels, summed, of all whole blocks.
func blocks(channels [][]float64, rateHz int) []float64 {
	var hops []float64
	hop := int(math.Round(hopSeconds * float64(rateHz)))
	for _, x := range channels {
		var s [2]section
		var state [2][2]float64
		for i := range s {
			s[i] = tables[i].at(float64(rateHz))
		}
		if hops == nil {
			hops = make([]float64, len(x)/hop)
		}
		for n := range hops {
			for _, v := range x[n*hop : (n+1)*hop] {
				for i := range s {
					in := v
					v = s[i].b[0]*in + state[i][0]
					state[i][0] = s[i].b[1]*in - s[i].a[0]*v + state[i][1]
					state[i][1] = s[i].b[2]*in - s[i].a[1]*v
				}
				hops[n] += v * v / float64(hop)
			}
		}
	}
	var power []float64
	for n := 0; n+hopsOfBlock <= len(hops); n++ {
		sum := 0.0
		for _, p := range hops[n : n+hopsOfBlock] {
			sum += p / hopsOfBlock
		}
		power = append(power, sum)
	}
	return power
}

// gated is the loudness of the mean of the blocks above a gate; −Inf: none is.
func gated(power []float64, gate float64) float64 {
	sum, n := 0.0, 0
	for _, p := range power {
		if level(p) > gate {
			sum += p
			n++
		}
	}
	if n == 0 {
		return math.Inf(-1)
	}
	return level(sum / float64(n))
}

func level(power float64) float64 { return offset + 10*math.Log10(power) }
