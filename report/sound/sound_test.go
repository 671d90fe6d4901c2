package sound

import (
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"coilsweep/report/loudness"
)

const rate = 48000

func noise(samples int) []float64 {
	r := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, samples)
	for i := range x {
		x[i] = 0.1 * r.NormFloat64()
	}
	return x
}

// A filter of the second order, whose impulse response is known and of minimum phase
// (poles and zeros inside the unit circle), comes back from its magnitude alone.
func TestMinimumPhase(t *testing.T) {
	b, a := [3]float64{1, -0.9, 0.3}, [2]float64{-1.7, 0.9}
	magnitude := Frequencies(rate)
	for i, hz := range magnitude {
		z := cmplx.Exp(complex(0, -2*math.Pi*hz/rate))
		num := complex(b[0], 0) + z*(complex(b[1], 0)+z*complex(b[2], 0))
		magnitude[i] = cmplx.Abs(num / (1 + z*(complex(a[0], 0)+z*complex(a[1], 0))))
	}
	f := NewFilter(magnitude)
	want := make([]float64, len(f))
	for i := range want {
		if i < 3 {
			want[i] = b[i]
		}
		if i > 0 {
			want[i] -= a[0] * want[i-1]
		}
		if i > 1 {
			want[i] -= a[1] * want[i-2]
		}
		if math.Abs(f[i]-want[i]) > 1e-9 {
			t.Fatalf("sample %d of the response: %.12f, want %.12f", i, f[i], want[i])
		}
	}
}

// Overlap and add is the convolution by its definition, over the seams of the blocks.
func TestApply(t *testing.T) {
	f := Filter(noise(taps))
	x := noise(3 * blockLength / 2)
	y := f.Apply(x)
	for _, at := range []int{0, 1, taps - 1, taps, blockLength - taps, blockLength - taps + 1, blockLength - 1,
		blockLength, len(x) - 1} {
		want := 0.0
		for k := 0; k < len(f) && k <= at; k++ {
			want += f[k] * x[at-k]
		}
		if math.Abs(y[at]-want) > 1e-9 {
			t.Errorf("sample %d: %.12f, want %.12f", at, y[at], want)
		}
	}
	if len(y) != len(x) {
		t.Errorf("%d samples of %d", len(y), len(x))
	}
}

// Weights add up to the power of the sound (Parseval), and lie where it is.
func TestWeights(t *testing.T) {
	x := make([]float64, 2*rate)
	for i := range x {
		x[i] = math.Sin(2*math.Pi*1234*float64(i)/rate) + 0.1*math.Sin(2*math.Pi*9876*float64(i)/rate)
	}
	near := func(hz float64) (power float64) {
		for _, w := range Weights(x, rate) {
			if math.Abs(w.Hz/hz-1) < 0.05 {
				power += w.Power
			}
		}
		return power
	}
	if got := near(1234) / near(9876); math.Abs(got/100-1) > 0.01 {
		t.Errorf("power ratio %.2f, want 100", got)
	}
	previous := 0.0
	for _, w := range Weights(noise(rate), rate) {
		if w.Hz <= previous || w.Power <= 0 || w.Loudness <= 0 {
			t.Fatalf("%+v after %g Hz", w, previous)
		}
		previous = w.Hz
	}
}

// Sounds come out equally loud, in phase, and quiet; what is loud only in peaks is
// turned down as a whole.
func TestPair(t *testing.T) {
	x := noise(3 * rate)
	half := Filter{0.5}
	p, err := NewPair(x, rate, nil, half)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(p.A.LUFS-QuietLUFS) > 1e-9 || math.Abs(p.B.LUFS-QuietLUFS) > 1e-9 {
		t.Errorf("%.3f and %.3f LUFS", p.A.LUFS, p.B.LUFS)
	}
	// Half as much of the same is the same.
	if !math.IsInf(p.Difference.LUFS, -1) {
		t.Errorf("the difference has %.2f LUFS", p.Difference.LUFS)
	}
	// A mean of two samples takes treble away: quieter by itself, not so here.
	mean := Filter{0.5, 0.5}
	if p, err = NewPair(x, rate, nil, mean); err != nil || math.Abs(p.B.LUFS-p.A.LUFS) > 1e-9 ||
		p.Difference.LUFS > p.A.LUFS {
		t.Errorf("%v: %.2f, %.2f, difference %.2f LUFS", err, p.A.LUFS, p.B.LUFS, p.Difference.LUFS)
	}
	x[rate] = 1e4
	if p, err = NewPair(x, rate, nil, mean); err != nil {
		t.Fatal(err)
	}
	for _, s := range []Sound{p.A, p.B, p.Difference} {
		if slices.Max(s.Samples) > mostPeak+1e-9 || slices.Min(s.Samples) < -mostPeak-1e-9 {
			t.Errorf("samples from %g to %g", slices.Min(s.Samples), slices.Max(s.Samples))
		}
	}
	if math.Abs(p.A.LUFS-p.B.LUFS) > 1e-9 {
		t.Errorf("%.2f and %.2f LUFS", p.A.LUFS, p.B.LUFS)
	}
	if _, err := NewPair(make([]float64, rate), rate, nil, mean); !errors.Is(err, loudness.ErrSilent) {
		t.Errorf("silence: %v", err)
	}
}
