package excite

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"hash"
	"math"
	"sync"
)

// fullScale is the step count of 24-bit PCM on either side of zero. Its
// multiples of 1/fullScale up to ±1 are exact in float32 as well, so that
// every file format and memory hold the same numbers.
const fullScale = 1 << 23

// Sweep is one period: the sweep with its faded ends, then silence; full
// scale is 1, quantised to 24 bits. It is the same bit for bit on every
// machine.
func (s Stimulus) Sweep() []float64 {
	x := make([]float64, s.PeriodSamples)
	c := s.Course()
	amplitude := s.Amplitude()
	doubt := c.greatestPhase() * phaseDoubt
	for n := range s.SweepSamples {
		v := float64(amplitude * s.fade(n))
		// The standard library is ten times as quick, and its last bits
		// matter only close to the border between two steps.
		steps := v * fullScale * math.Sin(2*math.Pi*fraction(s.phase(c, n, math.Exp)))
		if math.Abs(steps-math.Floor(steps)-0.5) > doubt {
			x[n] = quantise(steps)
			continue
		}
		x[n] = quantise(fullScale * float64(v*sinCycles(s.phase(c, n, portableExp))))
	}
	return x
}

// phaseDoubt, times the greatest phase in cycles, is more than the standard
// library's functions can move a sample, in steps of 24 bits: ten times 1e-15 of
// the phase, which is twice what TestPortableFunctions allows each of the two.
const phaseDoubt = 2 * math.Pi * fullScale * 1e-14

// Samples is the whole stimulus, lead-in to tail, as Sweep quantised.
func (s Stimulus) Samples() []float64 {
	x := make([]float64, s.TotalSamples())
	sweep := s.Sweep()
	for k := range s.Repeats {
		copy(x[s.RepeatStart(k):], sweep)
	}
	return x
}

// phase is the sweep's phase at sample n in cycles, f1 L exp(t/L) without a
// shape, by one of the exponential functions.
func (s Stimulus) phase(c *Course, n int, exp func(float64) float64) float64 {
	if c.pieces != nil {
		return c.phaseAt(float64(n)/float64(float64(s.RateHz)*c.rateS), exp)
	}
	x := float64(float64(n)*s.FromHz) / float64(float64(s.RateHz)*float64(s.Cycles))
	return float64(float64(s.Cycles) * exp(x))
}

// fade is the raised cosine at the sweep's ends, 1 between.
func (s Stimulus) fade(n int) float64 {
	w := 1.0
	if n < s.FadeInSamples {
		w = raisedCosine(n, s.FadeInSamples)
	}
	if left := s.SweepSamples - 1 - n; left < s.FadeOutSamples {
		w = float64(w * raisedCosine(left, s.FadeOutSamples))
	}
	return w
}

// raisedCosine is (1 - cos(pi n/length))/2.
func raisedCosine(n, length int) float64 {
	half := sinCycles(float64(n) / float64(4*length))
	return float64(half * half)
}

// quantise rounds steps of 24 bits to whole ones; full scale is the largest
// positive code.
func quantise(steps float64) float64 {
	return math.Round(min(max(steps, 1-fullScale), fullScale-1)) / fullScale
}

// sums are checksums by what the stimulus says of itself: all takes of a coil have the
// same, and each is asked for it whenever it is read. They are few, and forgotten when
// they are not.
var sums struct {
	sync.Mutex
	of map[string]string
}

// mostSums bounds sums.
const mostSums = 256

// checksum is the SHA-256 of Samples as 24-bit PCM.
func (s Stimulus) checksum() string {
	s.SHA256 = ""
	key := fmt.Sprintf("%+v", s)
	sums.Lock()
	defer sums.Unlock()
	sum, ok := sums.of[key]
	if !ok {
		if len(sums.of) >= mostSums || sums.of == nil {
			sums.of = map[string]string{}
		}
		sum = s.sum()
		sums.of[key] = sum
	}
	return sum
}

// sum makes checksum without holding the samples.
func (s Stimulus) sum() string {
	h := sha256.New()
	hashSilence(h, s.LeadInSamples)
	period := make([]byte, 0, 3*s.PeriodSamples)
	for _, x := range s.Sweep() {
		code := int32(x * fullScale) // exact
		period = append(period, byte(code), byte(code>>8), byte(code>>16))
	}
	for range s.Repeats {
		h.Write(period)
	}
	hashSilence(h, s.TailSamples)
	return hex.EncodeToString(h.Sum(nil))
}

func hashSilence(h hash.Hash, samples int) {
	var zeros [3 * 1024]byte
	for samples > 0 {
		n := min(samples, 1024)
		h.Write(zeros[:3*n])
		samples -= n
	}
}

// The functions below stand in for math.Exp, math.Log and math.Sin, whose last bits
// differ between machines: some have them in assembly, and some fuse x*y+z
// into one rounding. They use +, -, * and / alone, which IEEE 754 defines bit
// for bit, and every product is converted to float64 explicitly, which the
// language defines as a rounding that stops such fusing. Their error is about
// 1 part in 2^52, and at most 2^-52 for the sine.

// portableExp is e^x for |x| up to some hundreds: x = k ln2 + r, e^r by its
// Taylor series.
func portableExp(x float64) float64 {
	const (
		// ln 2 in two parts; k times the first is exact for |k| < 2^20.
		ln2High = 6.93147180369123816490e-01
		ln2Low  = 1.90821492927058770002e-10
	)
	k := math.Round(float64(x * (1 / math.Ln2)))
	r := float64(x-float64(k*ln2High)) - float64(k*ln2Low)
	sum := 1.0
	for n := 14; n >= 1; n-- {
		sum = 1 + float64(float64(r*sum)/float64(n))
	}
	return math.Ldexp(sum, int(k))
}

// portableLog is ln x for ordinary x > 0: x = m 2^k with m from 0.7 to 1.4,
// ln m = 2 artanh((m-1)/(m+1)) by its series.
func portableLog(x float64) float64 {
	m, k := math.Frexp(x)
	if m < math.Sqrt2/2 {
		m, k = 2*m, k-1
	}
	z := (m - 1) / (m + 1)
	square := float64(z * z)
	sum := 0.0
	for n := 25; n >= 1; n -= 2 {
		sum = float64(square*sum) + 1/float64(n)
	}
	return float64(float64(k)*math.Ln2) + float64(float64(2*z)*sum)
}

// sinCycles is sin(2 pi x): x is brought exactly to a quarter cycle, the rest
// is the Taylor series.
func sinCycles(x float64) float64 {
	x = fraction(x)
	if x > 0.25 {
		x = 0.5 - x
	} else if x < -0.25 {
		x = -0.5 - x
	}
	x = float64(x * (2 * math.Pi))
	square := float64(x * x)
	sum := 1.0
	for n := 22; n >= 2; n -= 2 {
		sum = 1 - float64(float64(square*sum)/float64(n*(n+1)))
	}
	return float64(x * sum)
}

// fraction is x less the nearest whole number, exactly: -1/2 ... 1/2.
func fraction(x float64) float64 { return x - math.Round(x) }
