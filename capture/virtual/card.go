package virtual

import (
	"math"
	"math/rand/v2"
)

// filters is the analogue path of one side of the sound card.
func filters(highPassHz []float64, r RollOff) system {
	var stages []system
	for _, hz := range highPassHz {
		stages = append(stages, highPass(hz))
	}
	if r.DB > 0 {
		stages = append(stages, butterworthLowPass(r.Order, r.corner()))
	}
	return chain(stages)
}

// distort is a curve without memory, x + a2 x^2 + a3 x^3: with x = cos it gives
// the harmonics a2/2 and a3/4.
type distort struct{ a2, a3 float64 }

func newDistort(o Output) distort {
	var d distort
	if o.SecondHarmonicDB != 0 {
		d.a2 = 2 * math.Pow(10, o.SecondHarmonicDB/20)
	}
	if o.ThirdHarmonicDB != 0 {
		d.a3 = 4 * math.Pow(10, o.ThirdHarmonicDB/20)
	}
	return d
}

func (d distort) apply(x []float64) {
	if d == (distort{}) {
		return
	}
	for i, v := range x {
		x[i] = v * (1 + v*(d.a2+v*d.a3))
	}
}

// softClip bends what is above knee towards full scale: smooth up to the first
// derivative, never above 1.
func softClip(x []float64, knee float64) {
	if knee <= 0 || knee >= 1 {
		return
	}
	for i, v := range x {
		if a := math.Abs(v); a > knee {
			x[i] = math.Copysign(knee+(1-knee)*math.Tanh((a-knee)/(1-knee)), v)
		}
	}
}

// converter makes recorded samples of one channel.
type converter struct {
	noise  float64 // rms over full scale, white
	clipAt float64
	step   float64 // 0: no quantising
	dither bool
	rng    *rand.Rand
}

func (c *converter) convert(x float64) float32 {
	if c.noise > 0 {
		x += c.noise * c.rng.NormFloat64()
	}
	x = min(max(x, -c.clipAt), c.clipAt)
	if c.step == 0 {
		return float32(x)
	}
	if c.dither {
		x += c.step * (c.rng.Float64() - c.rng.Float64())
	}
	x = math.Round(x/c.step) * c.step
	return float32(min(max(x, -1), 1-c.step))
}

// hum is the EMF of the mains at the internal rate.
type hum struct {
	lines []humLine
	rate  float64
}

type humLine struct{ amplitude, cycles, phase float64 } // V, Hz, rad

func newHum(h *Hum, rate float64, rng *rand.Rand) hum {
	out := hum{rate: rate}
	if h == nil {
		return out
	}
	start := rng.Float64() * 360
	if h.StartDeg != nil {
		start = *h.StartDeg
	}
	for _, l := range h.Lines {
		if l.EMFRMSV == 0 {
			continue
		}
		n := float64(l.Harmonic)
		out.lines = append(out.lines, humLine{
			amplitude: l.EMFRMSV * math.Sqrt2,
			cycles:    n * h.MainsHz,
			phase:     (n*start + l.PhaseDeg) * math.Pi / 180,
		})
	}
	return out
}

// fill writes the samples from, from+1, ... to dst; sample 0 is when the first
// played sample leaves.
func (h hum) fill(dst []float64, from int) {
	clear(dst)
	for _, l := range h.lines {
		_, turns := math.Modf(l.cycles * float64(from) / h.rate)
		sin, cos := math.Sincos(2*math.Pi*turns + l.phase)
		stepSin, stepCos := math.Sincos(2 * math.Pi * l.cycles / h.rate)
		for i := range dst {
			dst[i] += l.amplitude * sin
			sin, cos = sin*stepCos+cos*stepSin, cos*stepCos-sin*stepSin
		}
	}
}
