package quality

import (
	"math"
	"math/rand/v2"
	"testing"
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
