package sound

import (
	"bytes"
	"context"
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"coilsweep/capture/wav"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/harness"
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
	p, err := NewPair(t.Context(), x, rate, nil, half)
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
	if p, err = NewPair(t.Context(), x, rate, nil, mean); err != nil || math.Abs(p.B.LUFS-p.A.LUFS) > 1e-9 ||
		p.Difference.LUFS > p.A.LUFS {
		t.Errorf("%v: %.2f, %.2f, difference %.2f LUFS", err, p.A.LUFS, p.B.LUFS, p.Difference.LUFS)
	}
	x[rate] = 1e4
	if p, err = NewPair(t.Context(), x, rate, nil, mean); err != nil {
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
	if _, err := NewPair(t.Context(), make([]float64, rate), rate, nil, mean); !errors.Is(err, loudness.ErrSilent) {
		t.Errorf("silence: %v", err)
	}
}

// exact is a coil that is exactly what it is.
type exact circuit.Coil

func (e exact) Bare() (circuit.Coil, error) { return circuit.Coil(e), nil }

func (e exact) Carry(count int, _ func(circuit.Coil, []float64)) fit.Carried {
	return fit.Carried{Variances: make([]fit.Variances, count)}
}

func twoCoils(t *testing.T) (harness.Harness, []harness.Coil) {
	t.Helper()
	ohm, err := quantity.ParseResistance("1M 1%")
	if err != nil {
		t.Fatal(err)
	}
	return harness.Harness{Name: "a guitar", Amplifier: harness.Amplifier{Resistance: &ohm}}, []harness.Coil{
		{Name: "one", Fitted: exact{InductanceH: 2.2, ResistanceOhm: 6000, CapacitanceF: 470e-12}},
		{Name: "two", Fitted: exact{InductanceH: 4.4, ResistanceOhm: 8200, CapacitanceF: 700e-12}}}
}

// octaves are the levels in dB of a sound by octave, from one transform of all of it.
func octaves(x []float64) (db [9]float64) {
	padded := append(slices.Clone(x), make([]float64, 1<<18-len(x))...)
	for k, c := range fourier.NewFFT(1<<18).Coefficients(nil, padded) {
		hz := float64(k) * rate / (1 << 18)
		if i := int(math.Floor(math.Log10(hz/1000)/0.3 + 4.5)); hz > 20 && hz < 20e3 && i >= 0 && i < len(db) {
			db[i] += real(c * cmplx.Conj(c))
		}
	}
	for i, power := range db {
		db[i] = 10 * math.Log10(power)
	}
	return db
}

// What is said of the octaves is what is in the sounds, as they come out.
func TestListen(t *testing.T) {
	h, coils := twoCoils(t)
	r := Recording{Name: "noise", RateHz: rate, Samples: noise(4 * rate), Remarks: []string{"a remark"}}
	clear(r.Samples[2*rate : 3*rate]) // a pause, which the gates pass over
	for _, paths := range [][2]harness.Path{{{Through: 0, Without: -1}, {Through: 1, Without: -1}},
		{{Through: -1, Without: -1}, {Through: 1, Without: -1}}, {{Through: 0, Without: 0}, {Through: 1, Without: 0}}} {
		l, err := Listen(t.Context(), h, coils, paths[0], paths[1], r)
		if err != nil {
			t.Fatal(err)
		}
		a, b := octaves(l.A.Samples), octaves(l.B.Samples)
		for i, o := range l.Octaves {
			if got := b[i] - a[i]; math.Abs(got-o.Difference.Value) > weightsDB || o.Difference.U95 < weightsDB {
				t.Errorf("%s and %s at %g Hz: %.3f dB in the sounds, said %+v", l.Names[0], l.Names[1], o.CentreHz, got,
					o.Difference)
			}
		}
		if l.Heard.Warnings[0] != "a remark" {
			t.Errorf("warnings %q", l.Heard.Warnings)
		}
	}
}

// A recording made with the first coil, which is taken out of it, sounds through the
// second one as the strings did.
func TestRecordedWith(t *testing.T) {
	h, coils := twoCoils(t)
	r := Recording{Name: "noise", RateHz: rate, Samples: noise(3 * rate)}
	through, err := Listen(t.Context(), h, coils, harness.Path{Through: 0, Without: -1},
		harness.Path{Through: 1, Without: -1}, r)
	if err != nil {
		t.Fatal(err)
	}
	r.Samples = through.A.Samples
	recorded, err := Listen(t.Context(), h, coils, harness.Path{Through: 0, Without: 0},
		harness.Path{Through: 1, Without: 0}, r)
	if err != nil {
		t.Fatal(err)
	}
	worst := 0.0
	for i, v := range recorded.B.Samples {
		worst = max(worst, math.Abs(v-through.B.Samples[i]))
	}
	if worst > 1e-5 || recorded.RecordedWith != "one" {
		t.Errorf("samples differ by up to %g; recorded with %q", worst, recorded.RecordedWith)
	}
}

// Where taking a coil out raises treble much, that is said: here the coil that recorded
// has all its resonance far below that of the one that is put in.
func TestBoost(t *testing.T) {
	h, coils := twoCoils(t)
	coils[0].Fitted = exact{InductanceH: 20, ResistanceOhm: 15000, CapacitanceF: 3e-9}
	r := Recording{Name: "noise", RateHz: rate, Samples: noise(rate)}
	l, err := Listen(t.Context(), h, coils, harness.Path{Through: 0, Without: 0},
		harness.Path{Through: 1, Without: 0}, r)
	if err != nil {
		t.Fatal(err)
	}
	if said := l.Heard.Warnings[len(l.Heard.Warnings)-1]; !strings.Contains(said, "its noise too") {
		t.Errorf("warnings end with %q", said)
	}
}

// A file is read back as it was, and says who made it.
func TestWAV(t *testing.T) {
	s := Sound{Samples: []float64{0, 0.5, -0.5, 0.25, 1.0 / (1 << 15)}}
	for _, bits := range []int{16, 24} {
		for _, maker := range []string{"", "odd", "even"} {
			text, err := s.WAV(rate, bits, maker)
			if err != nil {
				t.Fatal(err)
			}
			r, err := wav.NewReader(bytes.NewReader(text), int64(len(text)))
			if err != nil {
				t.Fatal(err)
			}
			x, err := r.Samples()
			if err != nil || !slices.Equal(x[0], s.Samples) || r.Remarks != nil || !bytes.Contains(text, []byte(maker)) ||
				len(text)%2 != 0 {
				t.Errorf("%d bits, by %q: %v %v %q", bits, maker, x, err, r.Remarks)
			}
		}
	}
	if short := (Sound{Samples: noise(100)}).Start(50, 10); len(short.Samples) != 50 || short.Samples[49] != 0 {
		t.Errorf("%v", short.Samples)
	}
}

func TestListenEnds(t *testing.T) {
	h, coils := twoCoils(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := Listen(ctx, h, coils, harness.Path{Through: 0, Without: -1}, harness.Path{Through: 1, Without: -1},
		Recording{RateHz: rate, Samples: noise(rate)})
	if !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}
