package comparison

import (
	"math"
	"math/rand/v2"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/virtual"
	"coilsweep/fit/internal/benched"
)

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// TestSameBenchByMonteCarlo draws benches whose pieces are off by chance and
// measures two coils on each: the differences scatter by their u, of resonance
// and Q too, where the pieces are said to be the same ones.
func TestSameBenchByMonteCarlo(t *testing.T) {
	const trials = 60
	one, two := virtual.Default(), virtual.Default()
	two.Coil.Inductance.SI *= 1.5
	two.Coil.WindingC.SI *= 0.8
	type scatter struct{ sum, squares, u2, apart2 float64 }
	found := map[string]*scatter{}
	for trial := range uint64(trials) {
		random := rand.New(rand.NewPCG(trial, 8))
		off := func() float64 { return 2*random.Float64() - 1 }
		p := benched.Pieces{FixtureC: off(), FixtureR: off(), C220: off(), C470: off()}
		reference, ofReference := benched.Measured(one, p, capture.Coil{Name: "invented"}, random)
		coil, ofCoil := benched.Measured(two, p, capture.Coil{Name: "invented"}, random)
		// What the fixture makes of a take is no error: it is there.
		truth := map[string]float64{"resonance_hz": ofCoil.ResonanceHz - ofReference.ResonanceHz,
			"q": ofCoil.Q - ofReference.Q}
		coils := []Coil{{Name: "invented", Result: reference}, {Name: "invented", Result: coil}}
		together, apart := must(Compare(coils, 0, true)), must(Compare(coils, 0, false))
		for i, row := range together.Rows {
			s := found[row.Key]
			if s == nil {
				s = &scatter{}
				found[row.Key] = s
			}
			d := row.Differences[1].Delta
			if !d.Known() {
				t.Fatalf("%s: %s", row.Key, d.Why)
			}
			e := d.Value - truth[row.Key]
			s.sum += e
			s.squares += e * e
			s.u2 += d.U * d.U
			s.apart2 += apart.Rows[i].Differences[1].Delta.U * apart.Rows[i].Differences[1].Delta.U
		}
	}
	for _, key := range []string{"bare_resonance_hz", "bare_q", "inductance_h", "capacitance_f", "capacitance_coil_f",
		"resonance_hz", "q"} {
		s := found[key]
		mean := s.sum / trials
		sd := math.Sqrt((s.squares - trials*mean*mean) / (trials - 1))
		u, independent := math.Sqrt(s.u2/trials), math.Sqrt(s.apart2/trials)
		t.Logf("%s: difference %.4g, scatters by %.3g, u %.3g; %.3g if independent", key, mean, sd, u, independent)
		// sd of 60 trials is known to 9 %.
		if sd < 0.7*u || sd > 1.3*u {
			t.Errorf("%s: the difference scatters by %.3g, its u is %.3g", key, sd, u)
		}
	}
	if s := found["bare_resonance_hz"]; s.u2 > 0.5*s.apart2 {
		t.Errorf("the bare resonances have next to nothing in common: u² %.3g, independent %.3g", s.u2, s.apart2)
	}
}
