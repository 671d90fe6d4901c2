package harness

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"
)

// closed is the magnitude of a coil of L, R and C with all capacitance c across a load,
// by the formula of the second order.
func closed(l, r, c, load, hz float64) float64 {
	s := complex(0, 2*math.Pi*hz)
	return 1 / cmplx.Abs(complex(1+r/load, 0)+s*complex(r*c+l/load, 0)+s*s*complex(l*c, 0))
}

// flat is a recording with the same power at all frequencies, heard alike but for
// those above 5 kHz.
func flat() (w []Weight) {
	for hz := 30.0; hz < 18e3; hz *= math.Pow(2, 1.0/24) {
		loudness := 1.0
		if hz > 5e3 {
			loudness = 2
		}
		w = append(w, Weight{hz, 1, loudness})
	}
	return w
}

// octavesOf are the differences that two responses make, by their definition.
func octavesOf(recording []Weight, a, b func(hz float64) float64) (octaves [9]float64) {
	sum := func(gain func(float64) float64, fromHz, toHz float64, loud bool) (power float64) {
		for _, w := range recording {
			if w.Hz >= fromHz && w.Hz < toHz {
				p := w.Power * gain(w.Hz) * gain(w.Hz)
				if loud {
					p *= w.Loudness
				}
				power += p
			}
		}
		return power
	}
	db := func(from, to float64, loud bool) float64 {
		return 10 * math.Log10(sum(b, from, to, loud)/sum(a, from, to, loud))
	}
	edge := math.Pow(10, 0.15) // IEC 61260-1: half an octave
	for i := range octaves {
		centre := 1000 * math.Pow(10, 0.3*float64(i-4))
		octaves[i] = db(centre/edge, centre*edge, false) - db(0, 40e3, true)
	}
	return octaves
}

// The octaves of two coils, of one coil against the recording, and with the response of
// a third coil taken out, against the closed form; and their uncertainty against its
// derivative by the only part with a tolerance, which both coils have in common.
func TestDiffer(t *testing.T) {
	const cable, load = 350e-12, 1e6
	coils := []Coil{measured(t, "a", 2.2, 6000, 120e-12), measured(t, "b", 4.4, 8200, 100e-12),
		measured(t, "r", 3, 7000, 110e-12)}
	of := func(l, r, c float64) func(cable float64) func(float64) float64 {
		return func(cable float64) func(float64) float64 {
			return func(hz float64) float64 { return closed(l, r, c+cable, load, hz) }
		}
	}
	a, b, r := of(2.2, 6000, 120e-12), of(4.4, 8200, 100e-12), of(3, 7000, 110e-12)
	h := Harness{Cable: &Cable{Capacitance: farad(t, "350p 10%")},
		Amplifier: Amplifier{Resistance: ohm(t, "1M 0.0001%")}}
	recording := flat()
	asItIs := func(float64) func(float64) float64 { return func(float64) float64 { return 1 } }
	without := func(x, r func(float64) func(float64) float64) func(float64) func(float64) float64 {
		return func(cable float64) func(float64) float64 {
			return func(hz float64) float64 { return x(cable)(hz) / r(cable)(hz) }
		}
	}
	for _, tt := range []struct {
		name         string
		pathA, pathB Path
		a, b         func(float64) func(float64) float64
	}{
		{"two coils", Path{0, -1}, Path{1, -1}, a, b},
		{"the recording and a coil", Path{-1, -1}, Path{0, -1}, asItIs, a},
		{"recorded with another coil", Path{0, 2}, Path{1, 2}, without(a, r), without(b, r)},
		{"recorded with the first", Path{0, 0}, Path{1, 0}, asItIs, without(b, a)},
	} {
		heard, err := h.Differ(coils, tt.pathA, tt.pathB, recording)
		if err != nil {
			t.Fatal(err)
		}
		want := octavesOf(recording, tt.a(cable), tt.b(cable))
		const step = 1e-3
		up := octavesOf(recording, tt.a(cable*(1+step)), tt.b(cable*(1+step)))
		down := octavesOf(recording, tt.a(cable*(1-step)), tt.b(cable*(1-step)))
		for i, o := range heard.Octaves {
			u := math.Abs(up[i]-down[i]) / (2 * step) * 0.1 / math.Sqrt(3)
			d := o.Difference
			if !d.Known() || math.Abs(d.Value-want[i]) > 1e-3 || math.Abs(d.U-u) > 0.02*u+1e-3 {
				t.Errorf("%s at %g Hz: %+v, want %.4f dB with u %.4f dB", tt.name, o.CentreHz, d, want[i], u)
			}
		}
	}
	if _, err := h.Differ(coils, Path{-1, -1}, Path{1, 1}, recording); err == nil ||
		!strings.Contains(err.Error(), "both sounds are the same") {
		t.Errorf("a coil against itself: %v", err)
	}

	// Where the recording has nothing, nothing is said.
	var bass []Weight
	for _, w := range recording {
		if w.Hz < 700 {
			bass = append(bass, w)
		}
	}
	heard, err := h.Differ(coils, Path{0, -1}, Path{1, -1}, bass)
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range heard.Octaves {
		if o.Difference.Known() != (o.CentreHz < 700) {
			t.Errorf("%g Hz: %+v", o.CentreHz, o.Difference)
		}
	}
	for _, o := range heard.Told() {
		if math.Abs(o.Difference.Value) <= o.Difference.U95 {
			t.Errorf("told: %+v", o)
		}
	}
}

// The gain at the peak is what ngspice-39 has for testdata/spice/a1.cir.
func TestGains(t *testing.T) {
	coils := []Coil{measured(t, "a1", 2.2, 6000, 120e-12)}
	h := Harness{Cable: &Cable{Capacitance: farad(t, "350p")}, Amplifier: Amplifier{Resistance: ohm(t, "1M")}}
	gains, err := h.Gains(coils, Path{0, -1}, []float64{0, 4934.15})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{-0.05196, 16.18349 - 0.05196} {
		if got := 20 * math.Log10(gains[i]); math.Abs(got-want) > 1e-4 {
			t.Errorf("gain %d: %.5f dB, want %.5f dB", i, got, want)
		}
	}
	h.Wiring = "series"
	if _, err := h.Gains(coils, Path{0, -1}, []float64{1000}); err == nil {
		t.Error("one coil in a guitar of two")
	}
}
