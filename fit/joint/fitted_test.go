package joint

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/virtual"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/response"
)

// poorFits are fits whose uncertainty comes from the form: one ring more than
// the form has, too weak for chi-square to see it and strong enough for the
// runs test, and a coil of rings fitted without any.
func poorFits(t *testing.T) map[string]*Fitted {
	t.Helper()
	structured := trueCoil{henry: 2.4, ohm: 7850, farad: 110e-12}
	structured.ring(0.10, 2500)
	structured.ring(0.012, 15000)
	base := load{fixtureR: "1M 1%", fixtureC: "65p 5%"}
	loads := []load{base, base, base}
	loads[1].addedC, loads[2].addedC = "220p 1%", "470p 1%"
	hz := 25.0 // where a meter's L is the coil's
	coil := dcr("7.85k@20C 0.5%")
	coil.Meter = []capture.MeterReading{meterL("2.4H 1%", hz)}
	structure := must(Fit(context.Background(), coil,
		bench{coil: structured, snrDB: 70, seed: 4, referenced: true, rippled: true}.takes(loads...),
		fit.Options{Forms: []fit.Form{{Rings: 1}}}))
	if a := structure.a; a.widen != 1 || len(a.halves) != 2 {
		t.Fatalf("residuals without the structure that is asked for: enlarged by %g, %d halves", a.widen, len(a.halves))
	}
	misfit := must(Fit(context.Background(), coil, bench{coil: demoCoil(), snrDB: 70, seed: 4}.takes(loads...),
		fit.Options{Forms: []fit.Form{{}}}))
	if misfit.a.widen < misfitLimit {
		t.Fatalf("the form fits: enlarged by %g", misfit.a.widen)
	}
	return map[string]*Fitted{"structured residuals": structure, "no form explains the coil": misfit}
}

// What is derived from a fit elsewhere is not known better than the fit says
// itself, where the form is in doubt.
func TestPredictionAsWideAsTheFit(t *testing.T) {
	for name, f := range poorFits(t) {
		t.Run(name, func(t *testing.T) {
			r := must(f.Result(context.Background()))
			fixture := circuit.Load{ResistanceOhm: 1e6, CapacitanceF: 65e-12}
			sought := []fit.Sought{{}, {}, {}, {Frequency: true}, {}, {Frequency: true}, {Decibel: true}}
			derived := must(fit.Propagate([]fit.Uncertain{f}, nil, sought,
				func(coils []circuit.Coil, _, dst []float64) {
					c := coils[0]
					dst[0], dst[1], dst[2] = c.InductanceH, c.ResistanceOhm, c.CapacitanceF
					dst[3], dst[4], _ = c.Resonance(circuit.Open())
					dst[5], dst[6], _ = c.Peak(fixture)
				}))
			account := must(f.Account(fit.Terminals{}))
			for _, q := range []struct {
				what          string
				derived, same fit.Quantity
			}{
				{"L", derived[0], r.Inductance}, {"R", derived[1], r.Resistance},
				{"C of the coil", derived[2], r.CapacitanceCoil},
				{"bare resonance", derived[3], r.BareResonance}, {"bare Q", derived[4], r.BareQ},
				{"peak with the fixture", derived[5], r.Takes[0].Peak}, {"its height", derived[6], r.Takes[0].PeakDB},
				{"L of a meter at 25 Hz", r.Meter[1].Expected, r.Inductance},
				{"all capacitance", account.Total, r.Capacitance},
				{"the winding's", lineOf(t, account, "winding with lead"), r.CapacitanceCoil},
			} {
				t.Logf("%s %.4g: U95 %.3g derived, %.3g from the fit", q.what, q.same.Value, q.derived.U95, q.same.U95)
				if !q.same.Known() && !strings.Contains(q.same.Why, noForm) {
					t.Errorf("%s: %s", q.what, q.same.Why)
				}
				if q.derived.Known() && q.derived.U95 < 0.99*q.same.U95 {
					t.Errorf("%s: U95 %.3g derived, %.3g from the fit", q.what, q.derived.U95, q.same.U95)
				}
			}
		})
	}
}

// benchTakes are takes of a simulated bench at the level of the response: what
// its state space gives, with white noise. Fixture and added parts are off
// what is stated, as drawn from the seed.
func benchTakes(b virtual.Bench, seed uint64) []Take {
	random := rand.New(rand.NewPCG(seed, 5))
	stated := capture.Load{}
	c, r := must(quantity.ParseCapacitance("65p 5%")), must(quantity.ParseResistance("1M 1%"))
	stated.FixtureC, stated.FixtureR = &c, &r
	b.Fixture.Capacitance.SI = 65e-12 * (1 + 0.05*(2*random.Float64()-1))
	b.Fixture.Resistance.SI = 1e6 * (1 + 0.01*(2*random.Float64()-1))
	var takes []Take
	for i, added := range []string{"", "220p 1%", "470p 1%"} {
		l := stated
		if added != "" {
			c := must(quantity.ParseCapacitance(added))
			l.AddedC = &c
		}
		truth := must(b.Truth(l, seed))
		t := Take{Name: fmt.Sprintf("take%d", i+1), Load: l, Referenced: true, Ideal: true,
			Response: &response.Response{FrequencyHz: grid(), VarianceDoF: 100, SNRdB: 70}}
		for _, hz := range t.Response.FrequencyHz {
			u := math.Pow(10, -70.0/20) * math.Sqrt(1000/hz)
			t.Response.H = append(t.Response.H,
				truth.Transfer(hz)+complex(u*random.NormFloat64(), u*random.NormFloat64())/math.Sqrt2)
			t.Response.Variance = append(t.Response.Variance, u*u)
		}
		takes = append(takes, t)
	}
	return takes
}

// TestPredictionCoverage: the peak with a cable and an amplifier, far from the
// loads of the takes, as the simulated bench has it with that load, against the
// prediction by circuits that cannot be right and by the ladder's.
func TestPredictionCoverage(t *testing.T) {
	n := seeds(t, 16)
	b := virtual.Default()
	loads := []circuit.Load{{ResistanceOhm: 200e3, CapacitanceF: 330e-12}, {ResistanceOhm: 500e3, CapacitanceF: 1e-9}}
	for name, forms := range map[string][]fit.Form{"loss-free": {{}}, "one ring": {{Rings: 1}}, "all": nil} {
		t.Run(name, func(t *testing.T) {
			var lock sync.Mutex
			known, covered := 0, 0
			parallel(n, func(seed int) {
				b := b
				random := rand.New(rand.NewPCG(uint64(seed), 6))
				b.Coil.Inductance.SI = 2 * math.Pow(3, random.Float64())
				fitted := must(Fit(context.Background(), capture.Coil{}, benchTakes(b, uint64(seed)),
					fit.Options{Forms: forms}))
				for _, l := range loads {
					q := must(fit.Propagate([]fit.Uncertain{fitted}, nil,
						[]fit.Sought{{Frequency: true}, {Decibel: true}}, func(coils []circuit.Coil, _, dst []float64) {
							dst[0], dst[1], _ = coils[0].Peak(l)
						}))
					with := b
					with.Fixture.Resistance.SI, with.Fixture.Capacitance.SI = l.ResistanceOhm, l.CapacitanceF
					hz, db := highest(must(with.Truth(capture.Load{}, 0)))
					lock.Lock()
					for i, truth := range []float64{hz, db} {
						is, in := covers(q[i], truth)
						if is {
							known++
						}
						if in {
							covered++
						}
					}
					lock.Unlock()
				}
			})
			t.Logf("U95 covers %d of %d", covered, known)
			if known < 3*n {
				t.Errorf("known are %d of %d", known, 4*n)
			}
			if share := float64(covered) / float64(known); share < 0.95-margin(0.03, 3, float64(known)/2) {
				t.Errorf("U95 covers %d of %d", covered, known)
			}
		})
	}
}

// highest is the peak of a bench's response and its height over the plateau,
// by golden section.
func highest(truth virtual.Truth) (hz, db float64) {
	level := func(hz float64) float64 { return 20 * math.Log10(cmplx.Abs(truth.Transfer(hz))) }
	low, high := 500.0, 15000.0
	for high-low > 1e-3 {
		third := (high - low) / math.Phi / math.Phi
		if level(low+third) > level(high-third) {
			high -= third
		} else {
			low += third
		}
	}
	return low, level(low) - level(1)
}
