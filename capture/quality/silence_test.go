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
