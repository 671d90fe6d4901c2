package quality

import (
	"math"
	"math/rand/v2"
	"testing"
)

// resonant is what a resonance at hz with quality q makes of a sweep from
// 100 Hz to 16 kHz of one second at 48 kHz: a sine whose amplitude runs
// through |H|, 1 at its highest.
func resonant(hz, q float64) []float64 {
	x := make([]float64, 48000)
	phase, top := 0.0, 0.0
	for i := range x {
		f := 100 * math.Pow(160, float64(i)/float64(len(x)))
		phase += 2 * math.Pi * f / 48000
		r := f / hz
		x[i] = math.Sin(phase) / math.Hypot(1-r*r, r/q)
		top = max(top, math.Abs(x[i]))
	}
	for i := range x {
		x[i] /= top
	}
	return x
}

func mapped(x []float64, f func(float64) float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = f(v)
	}
	return y
}

// quantised is x in steps of so many bits, cut at full scale.
func quantised(bits int) func(float64) float64 {
	step := math.Ldexp(1, 1-bits)
	return func(v float64) float64 { return min(max(math.Round(v/step)*step, -1), 1-step) }
}

func TestCrowding(t *testing.T) {
	dice := rand.New(rand.NewPCG(1, 2))
	hiss := func(rms float64) func(float64) float64 {
		return func(v float64) float64 { return v + rms*dice.NormFloat64() }
	}
	scaled := func(db float64) func(float64) float64 {
		k := math.Pow(10, db/20)
		return func(v float64) float64 { return k * v }
	}
	cut := func(level float64) func(float64) float64 {
		return func(v float64) float64 { return min(max(v, -level), level) }
	}
	flat := resonant(1e6, 1)  // a sine of one amplitude
	coil := resonant(4500, 4) // about ten samples a cycle at its peak
	tests := []struct {
		name    string
		x       []float64
		steps   []func(float64) float64
		clipped bool
	}{
		{"4 dB over at a tenth of the rate", coil, []func(float64) float64{scaled(4), quantised(24)}, true},
		{"1 dB over", coil, []func(float64) float64{scaled(1), quantised(24)}, true},
		{"4 dB over in 16 bits", coil, []func(float64) float64{scaled(4), quantised(16)}, true},
		{"4 dB over before a gain that leaves a quarter", coil, []func(float64) float64{scaled(4), cut(1), scaled(-12),
			hiss(1e-6), quantised(24)}, true},
		{"cut noisily before the converter", coil, []func(float64) float64{scaled(4), cut(1), scaled(-6), hiss(2e-4),
			quantised(24)}, true},
		{"flat, 0.2 dB over", flat, []func(float64) float64{scaled(0.2), quantised(24)}, true},
		{"to the brim", coil, []func(float64) float64{scaled(-0.001), quantised(24)}, false},
		{"to the brim in 16 bits", coil, []func(float64) float64{scaled(-0.001), quantised(16)}, false},
		{"flat", flat, []func(float64) float64{scaled(-12), quantised(24)}, false},
		{"flat with noise", flat, []func(float64) float64{scaled(-12), hiss(1e-4), quantised(24)}, false},
		{"flat in 16 bits", flat, []func(float64) float64{scaled(-12), quantised(16)}, false},
		{"flat in 16 bits at -60 dB", flat, []func(float64) float64{scaled(-60), quantised(16)}, false},
		{"flat in 16 bits at -80 dB", flat, []func(float64) float64{scaled(-80), quantised(16)}, false},
		{"flat in 12 bits at -20 dB", flat, []func(float64) float64{scaled(-20), quantised(12)}, false},
		{"coil in 16 bits at -40 dB", coil, []func(float64) float64{scaled(-40), quantised(16)}, false},
		{"coil in 8 bits", coil, []func(float64) float64{scaled(-1), quantised(8)}, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			x := tt.x
			for _, f := range tt.steps {
				x = mapped(x, f)
			}
			n := sum(crowdedIn(x, []Span{{0, len(x)}}))
			if (n > 0) != tt.clipped {
				t.Errorf("%d samples clipped, want some: %v", n, tt.clipped)
			}
		})
	}
}

// Clean sweeps of any level, resonance and resolution are not taken for
// clipped ones.
func TestNoFalseCrowding(t *testing.T) {
	dice := rand.New(rand.NewPCG(3, 4))
	for n := range 40 {
		hz, q := 500*math.Pow(30, dice.Float64()), 0.5+8*dice.Float64()
		db, bits, noise := -100*dice.Float64(), 12+4*dice.IntN(4), 1e-6*math.Pow(1e3, dice.Float64())
		k := math.Pow(10, db/20)
		convert := quantised(bits)
		x := mapped(resonant(hz, q), func(v float64) float64 { return convert(k*v + noise*dice.NormFloat64()) })
		if got := sum(crowdedIn(x, []Span{{0, len(x)}})); got > 0 {
			t.Errorf("%d: %d samples of a clean sweep are called clipped (peak at %.0f Hz, Q %.1f, %.1f dB, %d bits, "+
				"noise %.2g)", n, got, hz, q, db, bits, noise)
		}
	}
}
