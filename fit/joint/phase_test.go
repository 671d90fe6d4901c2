package joint

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// Points drawn about a known one with u in each component have phases within U95 of
// its own 19 times in 20, from noise that is hardly there to noise that leaves no
// phase. The linear u(phase) = u/|H| holds 93.5 % of them at u = 0.45.
func TestPhaseU95(t *testing.T) {
	const draws = 400000
	random := rand.New(rand.NewPCG(16, 7))
	for _, u := range []float64{0.001, 0.1, 0.3, 0.45} {
		inside, linear, half := 0, 0, phaseU95Deg(u)
		for range draws {
			off := math.Abs(cmplx.Phase(complex(1+u*random.NormFloat64(), u*random.NormFloat64()))) * 180 / math.Pi
			if off <= half {
				inside++
			}
			if off <= quantity.Coverage95*u*180/math.Pi {
				linear++
			}
		}
		share := float64(inside) / draws
		t.Logf("u %g: %.4f within ±%.4g°; linear %.4f", u, share, half, float64(linear)/draws)
		if share < 0.9485 || share > 0.9515 && u < 0.4 || share > 0.957 {
			t.Errorf("u %g: %.4f within ±%.4g°, want 0.95", u, share, half)
		}
	}
	if linear := phaseU95Deg(1e-4); math.Abs(linear/(1.959964e-4*180/math.Pi)-1) > 1e-6 {
		t.Errorf("u 1e-4: ±%g°, want 1.96 u/|H|", linear)
	}
	if got := phaseU95Deg(0.6); got != 180 {
		t.Errorf("u 0.6: ±%g°, want 180: the phase is not known", got)
	}
}

// The true phase of simulated takes lies within U95 of that measured 19 times in 20,
// and within that of the fit as often.
func TestPhaseOfTakes(t *testing.T) {
	const seeds = 24
	coil := trueCoil{henry: 2.4, ohm: 7850, farad: 110e-12}
	coil.ring(0.10, 2500)
	base := load{fixtureR: "1M 1%", fixtureC: "65p 5%", delayS: 4e-6}
	loads := []load{base, base, base}
	loads[1].addedC, loads[2].addedC = "220p 1%", "470p 1%"
	var measured, fitted, points, places float64
	for seed := range uint64(seeds) {
		b := bench{coil: coil, snrDB: 33, seed: seed, referenced: true}
		r := must(Analyse(t.Context(), capture.Coil{}, b.takes(loads...), fit.Options{Forms: []fit.Form{{Rings: 1}}}))
		for i, take := range r.Takes {
			c := take.Curve
			farad := 65e-12 + []float64{0, 220e-12, 470e-12}[i]
			for k, hz := range c.FrequencyHz {
				true := cmplx.Phase(coil.voltage(hz, 1e6, farad)) * 180 / math.Pi
				off := func(deg float64) float64 { return math.Abs(math.Remainder(deg-true, 360)) }
				points++
				if off(c.PhaseDeg[k]) <= c.PhaseU95Deg[k] {
					measured++
				}
				if k%100 == 50 {
					places++
					if off(c.FitPhaseDeg[k]) <= c.FitPhaseU95Deg[k] {
						fitted++
					}
				}
			}
		}
	}
	said := fmt.Sprintf("measured %.4f of %.0f, fitted %.3f of %.0f", measured/points, points, fitted/places, places)
	t.Log(said)
	if math.Abs(measured/points-0.95) > 0.01 || fitted/places < 0.88 {
		t.Errorf("%s; want 0.95 of both", said)
	}
}
