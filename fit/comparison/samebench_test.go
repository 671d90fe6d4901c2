package comparison

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/virtual"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
)

// pieces are the parts of a bench, as far as they are off what is written on
// them: in units of their tolerance.
type pieces struct{ fixtureC, fixtureR, c220, c470 float64 }

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// measuredOn is a coil of the simulated bench measured with the pieces, at the
// level of the response: what its state space gives, with white noise. bare is
// the truth of the take with nothing added.
func measuredOn(b virtual.Bench, p pieces, random *rand.Rand) (coil Coil, bare virtual.Truth) {
	c, r := must(quantity.ParseCapacitance("65p 5%")), must(quantity.ParseResistance("1M 1%"))
	clock := 50e-6 * (2*random.Float64() - 1) // of each measurement by itself
	b.Fixture.Capacitance.SI = 65e-12 * (1 + 0.05*p.fixtureC)
	b.Fixture.Resistance.SI = 1e6 * (1 + 0.01*p.fixtureR)
	var takes []joint.Take
	for i, added := range []struct {
		text string
		off  float64
	}{{"", 0}, {"220p 1%", p.c220}, {"470p 1%", p.c470}} {
		load := capture.Load{FixtureC: &c, FixtureR: &r}
		off := 0.01 * added.off
		b.Added.CError = &off
		if added.text != "" {
			v := must(quantity.ParseCapacitance(added.text))
			load.AddedC = &v
		}
		truth := must(b.Truth(load, 0))
		if added.text == "" {
			bare = truth
		}
		take := joint.Take{Name: fmt.Sprintf("take%d", i+1), Load: load, Referenced: true, Ideal: true,
			Response: &response.Response{VarianceDoF: 100, SNRdB: 70}}
		for hz := 21.0; hz < 19900; hz += max(6, hz*(math.Exp2(1.0/10)-1)) {
			u := math.Pow(10, -70.0/20) * math.Sqrt(1000/hz)
			take.Response.FrequencyHz = append(take.Response.FrequencyHz, hz)
			take.Response.H = append(take.Response.H,
				truth.Transfer(hz*(1+clock))+complex(u*random.NormFloat64(), u*random.NormFloat64())/math.Sqrt2)
			take.Response.Variance = append(take.Response.Variance, u*u)
		}
		takes = append(takes, take)
	}
	result := must(joint.Analyse(context.Background(), capture.Coil{Name: "invented"}, takes,
		fit.Options{Forms: []fit.Form{{}, {Rings: 1}, {Rings: 2}}}))
	return Coil{Name: "invented", Result: result}, bare
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
		p := pieces{off(), off(), off(), off()}
		reference, ofReference := measuredOn(one, p, random)
		coil, ofCoil := measuredOn(two, p, random)
		// What the fixture makes of a take is no error: it is there.
		truth := map[string]float64{"resonance_hz": ofCoil.ResonanceHz - ofReference.ResonanceHz,
			"q": ofCoil.Q - ofReference.Q}
		coils := []Coil{reference, coil}
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
