package quality_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"coilsweep/capture"
	"coilsweep/capture/quality"
	"coilsweep/capture/virtual"
	"coilsweep/excite"
)

// through is the stimulus through a response, with noise.
func through(s excite.Stimulus, h func(hz float64) complex128, noise float64) []float64 {
	played := append(s.Samples(), make([]float64, s.RateHz/2)...)
	n := excite.TransformFrom(len(played))
	played = append(played, make([]float64, n-len(played))...)
	fft := fourier.NewFFT(n)
	lines := fft.Coefficients(nil, played)
	for l := range lines {
		lines[l] *= h(float64(l) * float64(s.RateHz) / float64(n))
	}
	out := fft.Sequence(nil, lines)
	dice := rand.New(rand.NewPCG(9, 9))
	for i := range out {
		out[i] = out[i]/float64(n) + noise*dice.NormFloat64()
	}
	return out
}

// winding is a coil of 1.2 H and 3.9 kohm with its own capacitance.
type winding struct{ l, r, c float64 }

// thevenin is the open-circuit voltage for an EMF of 1, and the impedance.
func (w winding) thevenin(s complex128) (v, z complex128) {
	b := complex(w.r, 0) + s*complex(w.l, 0)
	y := 1 + s*complex(w.c, 0)*b
	return 1 / y, b / y
}

// pairOf is the response of two windings in series into 65 pF and 1 Mohm, with EMFs
// of a and b times the rate of change of the exciter's current.
func pairOf(one, two winding, a, b float64) func(hz float64) complex128 {
	return func(hz float64) complex128 {
		s := complex(0, 2*math.Pi*hz)
		v1, z1 := one.thevenin(s)
		v2, z2 := two.thevenin(s)
		load := 1 / (1e-6 + s*65e-12)
		return s / (2 * math.Pi * 1000) * (v1*complex(a, 0) + v2*complex(b, 0)) * load / (load + z1 + z2)
	}
}

// What is connected wrongly has its flag, and nothing else has.
func TestWiring(t *testing.T) {
	t.Parallel()
	s := short(t, 3)
	bench := virtual.Default()
	right := recordedBy(t, bench, "", s, 3)
	loop := bench
	loop.Reference.Kind, loop.Reference.FullScaleV = "loopback", 2*loop.Output.FullScaleV
	looped := recordedBy(t, loop, "470p", s, 4)
	silent := make([]float64, len(right[0]))
	noise := slices.Clone(silent)
	dice := rand.New(rand.NewPCG(1, 3))
	for i := range noise {
		noise[i] = 1e-5 * dice.NormFloat64()
	}
	mixed := slices.Clone(right[0])
	for i, v := range right[1] {
		mixed[i] = (mixed[i] + v) / 2
	}
	scaled := func(x []float64, k float64) []float64 {
		y := slices.Clone(x)
		for i := range y {
			y[i] = k*y[i] + 1e-6*dice.NormFloat64()
		}
		return y
	}
	digital := append(make([]float64, 5000), s.Samples()...)
	one := winding{1.2, 3900, 60e-12}
	crosstalk := func(hz float64) complex128 { // by 0.1 pF into an open input of 200 pF and 1 Mohm
		s := complex(0, 2*math.Pi*hz)
		return s * 0.1e-12 / (1e-6 + s*200e-12)
	}
	byCoil := func(hz float64) complex128 { // the same into the coil, the exciter off
		s := complex(0, 2*math.Pi*hz)
		_, z := winding{2.4, 7800, 110e-12}.thevenin(s)
		return s * 0.1e-12 / (1e-6 + s*65e-12 + 1/z)
	}
	for _, tt := range []struct {
		name      string
		coil, ref []float64
		kind      string
		want      capture.Flag
	}{
		{"right, current", right[0], right[1], "current", ""},
		{"right, loopback", looped[0], looped[1], "loopback", ""},
		{"right, no reference", right[0], nil, "none", ""},
		{"channels swapped, current", right[1], right[0], "current", capture.SwappedChannels},
		{"channels swapped, loopback", looped[1], looped[0], "loopback", capture.SwappedChannels},
		{"both inputs at the coil", right[0], scaled(right[0], 0.97), "current", capture.SameSignal},
		{"both inputs at the output", looped[1], scaled(looped[1], 1.02), "loopback", capture.SameSignal},
		{"mono mixdown", mixed, mixed, "current", capture.SameSignal},
		{"the reference is silent", right[0], silent, "current", capture.NoReference},
		{"the reference is noise", right[0], noise, "current", capture.NoReference},
		{"the computer's own output", digital, nil, "none", capture.NoCoil},
		{"the output by a cable", looped[1], nil, "none", capture.NoCoil},
		{"a pair, the exciter over both halves in phase", through(s, pairOf(one, one, 0.5, 0.5), 1e-6), nil, "none", ""},
		{"a pair, the exciter over one half", through(s, pairOf(one, one, 1, 0.05), 1e-6), nil, "none", ""},
		{"a pair whose halves cancel but for 1 %", through(s, pairOf(one, winding{1.212, 3950, 66e-12}, 0.1, -0.099), 1e-6),
			nil, "none", capture.Cancels},
		{"a pair whose halves cancel but for 0.3 %", through(s, pairOf(one, winding{1.18, 3850, 66e-12}, 0.1, -0.1003), 1e-6),
			nil, "none", capture.Cancels},
		{"the coil is not connected", through(s, crosstalk, 1e-6), nil, "none", capture.Crosstalk},
		{"the exciter is not connected", through(s, byCoil, 1e-6), nil, "none", capture.Cancels},
	} {
		t.Run(tt.name, func(t *testing.T) {
			channels := [][]float64{tt.coil}
			if tt.ref != nil {
				channels = append(channels, tt.ref)
			}
			rec := capture.Recording{RateHz: s.RateHz, Samples: channels}
			take, err := quality.Assess(rec, capture.Take{Stimulus: s, Reference: capture.Reference{Kind: tt.kind}})
			if err == nil {
				take, err = quality.AssessWiring(rec, take)
			}
			if err != nil {
				t.Fatal(err)
			}
			var want []capture.Flag
			if tt.want != "" {
				want = append(want, tt.want)
			}
			got := slices.DeleteFunc(slices.Clone(take.Quality.Flags), func(f capture.Flag) bool {
				return f == capture.LowSNR || f == capture.Hum
			})
			if !slices.Equal(got, want) {
				t.Errorf("flags %v, want %v (peak %.1f dBFS)", take.Quality.Flags, want, take.Quality.PeakDBFS)
			}
		})
	}
}
