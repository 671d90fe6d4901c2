package quality

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestNoFalseHum: noise, white and red, is not taken for hum.
func TestNoFalseHum(t *testing.T) {
	t.Parallel()
	silent := []Span{{0, 28000}, {160000, 178000}, {316000, 334000}, {472000, 490000}, {628000, 660000}}
	for seed := range uint64(24) {
		rng := rand.New(rand.NewPCG(seed, 3))
		x := make([]float64, 660000)
		for i := range x {
			x[i] = rng.NormFloat64()
		}
		if seed%2 == 1 {
			for i := 1; i < len(x); i++ {
				x[i] += 0.995 * x[i-1]
			}
		}
		if m := FindMains(x, 48000, silent, nil); m != nil {
			t.Errorf("seed %d: hum of %.3f Hz found in noise", seed, m.Hz())
		}
	}
}

// Hum whose frequency is known comes out as hum that was searched for; of another
// frequency, and where there is none, it is none.
func TestMainsAt(t *testing.T) {
	silent := []Span{{0, 28000}, {160000, 178000}, {316000, 334000}, {472000, 490000}, {628000, 660000}}
	random := rand.New(rand.NewPCG(1, 3))
	x, plain := make([]float64, 660000), make([]float64, 660000)
	for i := range x {
		plain[i] = 1e-3 * random.NormFloat64()
		t := float64(i) / 48000
		for h, a := range []float64{1, 0.3, 0.5, 0.1} {
			x[i] += 0.01 * a * math.Sin(2*math.Pi*float64(h+1)*(60.03*t+1e-3*t*t/2)+float64(h))
		}
		x[i] += plain[i]
	}
	m := FindMains(x, 48000, silent, nil)
	if m == nil || math.Abs(m.Hz()-60.037) > 2e-3 {
		t.Fatalf("%+v", m)
	}
	again := MainsAt(m.Hz(), x, 48000, silent, nil)
	if again == nil || math.Abs(again.Hz()-m.Hz()) > 1e-6 || math.Abs(again.power()/m.power()-1) > 1e-6 {
		t.Errorf("at its frequency: %+v, want %+v", again, m)
	}
	left := m.Removed(x, Span{100000, 150000})
	if got, want := Variance(left), Variance(plain[100000:150000]); math.Abs(got/want-1) > 0.02 {
		t.Errorf("%.3g is left, want %.3g", got, want)
	}
	if m := MainsAt(50, x, 48000, silent, nil); m != nil && m.power() > 1e-6 {
		t.Errorf("at 50 Hz: %.2g", m.power())
	}
	if m := MainsAt(60.03, plain, 48000, silent, nil); m != nil {
		t.Errorf("hum of %.3f Hz in noise", m.Hz())
	}
}

// Lines of known size at known frequencies, in noise.
func TestHarmonicsOfTheMains(t *testing.T) {
	dice := rand.New(rand.NewPCG(1, 2))
	const rate, hz = 48000, 49.93
	want := []float64{0.01, 0, 0.003, 0.0001}
	x := make([]float64, rate)
	for i := range x {
		x[i] = 0.02 + 1e-4*dice.NormFloat64()
		for h, a := range want {
			x[i] += a * math.Sin(2*math.Pi*float64(h+1)*hz*float64(i)/rate+float64(h))
		}
	}
	m := FindMains(x, rate, []Span{{0, rate}}, nil)
	if m == nil {
		t.Fatal("no hum is found")
	}
	rest := Variance(m.Removed(x, Span{0, rate}))
	if math.Abs(rest/1e-8-1) > 0.03 {
		t.Errorf("the noise has %.3g, want 1e-8", rest)
	}
	for h, a := range want {
		got := math.Sqrt(2 * m.Power(h+1))
		if math.Abs(got-a) > 5*1e-4*math.Sqrt(2.0/rate) {
			t.Errorf("harmonic %d: %.6f, want %.6f", h+1, got, a)
		}
	}
}
