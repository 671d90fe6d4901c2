package joint

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// randomCoil draws a coil from the ranges of the trade (common practice: 1 to
// 10 H, 3 to 16 kohm, 50 to 250 pF), half of them with up to three rings, some
// with a cover.
func randomCoil(random *rand.Rand) trueCoil {
	between := func(low, high float64) float64 { return low * math.Pow(high/low, random.Float64()) }
	c := trueCoil{henry: between(1, 10), farad: between(50e-12, 250e-12)}
	c.ohm = between(2200, 4000) * math.Pow(c.henry, 0.6)
	for range random.IntN(4) {
		c.ring(between(0.01, 0.2), between(500, 20000))
	}
	if random.IntN(4) == 0 {
		c.coverHz = between(8e3, 60e3)
	}
	return c
}

// TestHonesty: one take of each of many coils, lossy ones too, with the DC
// resistance known; then two takes that differ by a capacitor. L and C are
// null, or U95 covers the truth in at least 93 % (less a fair chance where few
// are known). A study takes 200 coils.
func TestHonesty(t *testing.T) {
	n := seeds(t, 40)
	for _, capacitors := range [][]float64{{0}, {0, 330e-12}} {
		t.Run(fmt.Sprintf("%d takes", len(capacitors)), func(t *testing.T) {
			type outcome struct {
				known, covered bool
				coil           trueCoil
				q              fit.Quantity
				truth          float64
				model          string
			}
			l, c := make([]outcome, n), make([]outcome, n)
			parallel(n, func(i int) {
				random := rand.New(rand.NewPCG(31, seed(i)))
				coil := randomCoil(random)
				draw := func(nominal, limit float64) float64 {
					return nominal * math.Exp(limit/math.Sqrt(3)*random.NormFloat64())
				}
				base := load{fixtureC: "65p 5%", trueFixC: draw(65e-12, 0.05), fixtureR: "1M 1%",
					trueFixR: draw(1e6, 0.01)}
				var loads []load
				for _, added := range capacitors {
					l := base
					if added > 0 {
						l.addedC, l.trueC = fmt.Sprintf("%gp 1%%", added*1e12), draw(added, 0.01)
					}
					loads = append(loads, l)
				}
				b := bench{coil: coil, snrDB: 60, seed: seed(i),
					clock:   capture.Card{}.OrUsual(false).ClockPPM * 1e-6 / math.Sqrt(3) * random.NormFloat64(),
					rippled: true}
				celsius := 20.0
				dcr := must(quantity.ParseResistance("8k@20C 0.5%"))
				dcr.SI = draw(coil.ohm, 0.005)
				dcr.Half = 0.005 * dcr.SI
				r := must(Analyse(context.Background(), capture.Coil{DCR: &dcr, CelsiusAtTakes: &celsius},
					b.takes(loads...), fit.Options{}))
				judge := func(q fit.Quantity, truth float64) outcome {
					known, covered := covers(q, truth)
					return outcome{known, covered, coil, q, truth, r.Model.Name}
				}
				l[i], c[i] = judge(r.Inductance, coil.henry), judge(r.Capacitance, coil.farad+base.trueFixC)
			})
			for name, outcomes := range map[string][]outcome{"L": l, "C": c} {
				known, covered := 0, 0
				for _, o := range outcomes {
					if o.known {
						known++
					}
					if o.covered {
						covered++
					}
					if o.known && !o.covered {
						t.Logf("%s %.4g, said %.4g ± %.2g by %s: rings %v cover %.3g", name, o.truth, o.q.Value,
							o.q.U95, o.model, len(o.coil.rings), o.coil.coverHz)
					}
				}
				t.Logf("%s: known for %d of %d coils, covered for %d", name, known, n, covered)
				chance := 2.5 * math.Sqrt(0.07*0.93*float64(known))
				if n >= 200 {
					chance = 0
				}
				if float64(covered) < 0.93*float64(known)-chance {
					t.Errorf("%s: U95 covers %d of %d", name, covered, known)
				}
			}
		})
	}
}
