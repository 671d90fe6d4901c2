package quality

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// White noise has 3 dB more in each octave, and all octaves together its power.
func TestOctaves(t *testing.T) {
	dice := rand.New(rand.NewPCG(3, 4))
	const sigma = 1e-3
	x := make([]float64, 72000)
	for i := range x {
		x[i] = 0.1 + sigma*dice.NormFloat64()
	}
	sum := 0.0
	bands := Octaves(x, 48000)
	for _, b := range bands {
		sum += math.Pow(10, b.DBFS/10) / 2
		want := DBFS(sigma * sigma * (b.ToHz - b.FromHz) / 24000)
		if b.FromHz > 300 && math.Abs(b.DBFS-want) > 0.6 {
			t.Errorf("%g to %g Hz: %.2f dBFS, want %.2f", b.FromHz, b.ToHz, b.DBFS, want)
		}
	}
	if math.Abs(10*math.Log10(sum/(sigma*sigma))) > 0.1 {
		t.Errorf("all octaves have %.3g, want %.3g", sum, sigma*sigma)
	}
	if got := Octaves(x[:100], 48000); len(got) != 0 {
		t.Errorf("a hundred samples have a spectrum: %v", got)
	}
}

// Noise of a lower sampling rate ends where that does; white noise, noise that falls as a
// microphone's amplifier has it, and hum do not end.
func TestCeiling(t *testing.T) {
	dice := rand.New(rand.NewPCG(5, 6))
	const rate = 48000
	white := make([]float64, 72000)
	for i := range white {
		white[i] = 1e-5 * dice.NormFloat64()
	}
	fft := fourier.NewFFT(len(white))
	shaped := func(gain func(hz float64) float64) []float64 {
		c := fft.Coefficients(nil, white)
		for i := range c {
			c[i] *= complex(gain(float64(i)*rate/float64(len(white)))/float64(len(white)), 0)
		}
		return fft.Sequence(nil, c)
	}
	below := func(end float64) func(float64) float64 {
		return func(hz float64) float64 { // 100 dB in a twentieth of the band
			return math.Pow(10, -5*min(max(hz/end-0.95, 0)/0.05, 1))
		}
	}
	hum := make([]float64, len(white))
	for i, v := range white {
		hum[i] = v + 0.01*math.Sin(2*math.Pi*50*float64(i)/rate)
	}
	for name, c := range map[string]struct {
		x    []float64
		want float64
	}{
		"white": {white, 0}, "hum": {hum, 0}, "zeros": {make([]float64, 72000), 0}, "short": {white[:100], 0},
		"falling fast": {shaped(func(hz float64) float64 { return 1 / (1 + hz*hz/1e6) }), 0},
		"falling":      {shaped(func(hz float64) float64 { return 1 / (1 + hz/2000) }), 0},
		"8 kHz":        {shaped(below(4000)), 4000},
		"16 kHz":       {shaped(below(8000)), 8000},
		"32 kHz":       {shaped(below(16000)), 16000},
		"44.1 kHz":     {shaped(below(22050)), 22050},
	} {
		if got := Ceiling(c.x, rate); math.Abs(got-c.want) > 0.1*c.want+1e-9 {
			t.Errorf("%s: %g Hz, want %g", name, got, c.want)
		}
	}
}

// A recording whose band ends clearly below half the rate was resampled; a sound card's own
// filter, the noise of a coil with a sharp resonance and a switching supply do not look so.
func TestResampled(t *testing.T) {
	const rate = 48000
	dice := rand.New(rand.NewPCG(5, 6))
	shaped := func(n int, gain func(hz float64) float64) []float64 {
		x := make([]float64, n)
		for i := range x {
			x[i] = 1e-5 * dice.NormFloat64()
		}
		fft := fourier.NewFFT(n)
		c := fft.Coefficients(nil, x)
		for i := range c {
			c[i] *= complex(gain(float64(i)*rate/float64(n))/float64(n), 0)
		}
		return fft.Sequence(nil, c)
	}
	// to ends a band at the frequency end, within a share of it, with what is left above.
	to := func(end, within, left float64) func(float64) float64 {
		return func(hz float64) float64 { return math.Pow(left, min(max(hz/end-1+within, 0)/within, 1)) }
	}
	// filter is a low-pass of 2·n poles, -0.5 dB at 20 kHz (Butterworth).
	filter := func(n float64) func(float64) float64 {
		corner := 20e3 / math.Pow(math.Pow(10, 0.05)-1, 1/(4*n))
		return func(hz float64) float64 { return 1 / math.Sqrt(1+math.Pow(hz/corner, 4*n)) }
	}
	coil := func(hz0, q float64) func(float64) float64 {
		return func(hz float64) float64 {
			r := hz / hz0
			return 1e-3 + 1/math.Hypot(1-r*r, r/q)
		}
	}
	tone := func(x []float64, hz float64) []float64 {
		for i := range x {
			x[i] += 1e-3 * math.Sin(2*math.Pi*hz*float64(i)/rate)
		}
		return x
	}
	flat := func(float64) float64 { return 1 }
	for name, c := range map[string]struct {
		gain func(hz float64) float64
		tone float64
		want bool
	}{
		"white": {flat, 0, false}, "hum": {flat, 50, false}, "a supply at 15 kHz": {flat, 15e3, false},
		"0.5 dB at 20 kHz, 2 poles": {filter(1), 0, false}, "0.5 dB at 20 kHz, 8 poles": {filter(4), 0, false},
		"0.5 dB at 20 kHz, 24 poles":       {filter(12), 0, false},
		"a steep filter at half the rate":  {to(24e3, 0.15, 1e-5), 0, false},
		"a coil, Q 5":                      {coil(5e3, 5), 0, false},
		"a coil, Q 30":                     {coil(5e3, 30), 0, false},
		"a coil, Q 30, and a filter":       {func(hz float64) float64 { return coil(9e3, 30)(hz) * filter(4)(hz) }, 0, false},
		"from 44.1 kHz, which is not told": {to(22050, 0.08, 1e-4), 0, false},
		"from 32 kHz":                      {to(16e3, 0.08, 1e-4), 0, true},
		"from 24 kHz":                      {to(12e3, 0.08, 1e-4), 0, true},
		"from 16 kHz, by a poor resampler": {to(8e3, 0.06, 0.06), 0, true},
		"from 32 kHz, beside a supply":     {to(16e3, 0.08, 1e-4), 9e3, true},
	} {
		for range 10 {
			x := shaped(24000, c.gain)
			if c.tone > 0 {
				x = tone(x, c.tone)
			}
			if got := Resampled(x, rate); got != c.want {
				t.Errorf("%s: %v, want %v", name, got, c.want)
				break
			}
		}
	}
}

// BenchmarkInSilence measures a second of an idle input.
func BenchmarkInSilence(b *testing.B) {
	dice := rand.New(rand.NewPCG(3, 4))
	x := make([]float64, 48000)
	for i := range x {
		x[i] = 1e-4*dice.NormFloat64() + 1e-2*math.Sin(2*math.Pi*50.02/48000*float64(i))
	}
	for b.Loop() {
		InSilence(x, 48000)
	}
}
