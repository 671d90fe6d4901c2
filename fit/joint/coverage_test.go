package joint

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

func covers(q fit.Quantity, truth float64) (known, covered bool) {
	return q.Known(), q.Known() && math.Abs(q.Value-truth) <= q.U95
}

// TestCoverage counts how often U95 covers the truth over noise sequences and draws
// of the known parts and the clock, for three coils at two signal-to-noise
// ratios. In a study of 500 seeds every cell must lie within 92 and 98 % and
// all together within 94 and 96 %; with fewer, the chance of a fair count is
// allowed for. Sound cards that ripple are drawn beside: what is reckoned for
// the ripple may be more than it needs, but not less.
func TestCoverage(t *testing.T) {
	n := seeds(t, 20)
	coils := map[string]func() trueCoil{
		"loss-free": func() trueCoil { return trueCoil{henry: 2.2, ohm: 6000, farad: 120e-12} },
		"one ring": func() trueCoil {
			c := trueCoil{henry: 4.4, ohm: 8200, farad: 100e-12}
			c.ring(0.2, 3000)
			return c
		},
		"two rings with cover": func() trueCoil {
			c := demoCoil()
			c.coverHz = 25000
			return c
		},
	}
	type cell struct{ known, covered int }
	var all cell
	study := 0
	for _, rippled := range []bool{false, true} {
		for _, name := range []string{"loss-free", "one ring", "two rings with cover"} {
			if rippled && name == "two rings with cover" {
				continue // a cover and the card's band edge look alike
			}
			for _, snr := range []float64{70, 35} {
				study++
				cells := map[string]*cell{}
				forms := map[string]int{}
				var lock sync.Mutex
				parallel(n, func(i int) {
					r, truth := drawnBench(coils[name](), snr, rippled, seed(10000*study+i))
					lock.Lock()
					defer lock.Unlock()
					forms[r.Model.Name]++
					for key, q := range map[string]fit.Quantity{
						"resonance": r.Takes[1].Resonance, "Q": r.Takes[1].Q,
						"L": r.Inductance, "C": r.Capacitance, "R": r.Resistance,
					} {
						if cells[key] == nil {
							cells[key] = &cell{}
						}
						known, covered := covers(q, truth[key])
						if known {
							cells[key].known++
						}
						if covered {
							cells[key].covered++
						}
					}
				})
				line := ""
				for _, key := range []string{"resonance", "Q", "L", "C", "R"} {
					c := cells[key]
					if c.known < n*9/10 {
						t.Errorf("%s at %g dB: %s known in %d of %d", name, snr, key, c.known, n)
						continue
					}
					share := float64(c.covered) / float64(c.known)
					line += fmt.Sprintf("  %s %.3f", key, share)
					if !rippled {
						all.known += c.known
						all.covered += c.covered
					}
					limit := margin(0.03, 4, float64(c.known))
					if share < 0.95-limit || share > 0.95+limit && !rippled {
						t.Errorf("%s at %g dB: U95 of %s covers %d of %d", name, snr, key, c.covered, c.known)
					}
				}
				t.Logf("%s, %g dB, card that ripples %v:%s  %v", name, snr, rippled, line, forms)
			}
		}
	}
	// The quantities of one fit go together: a fifth of the counts are
	// independent.
	share := float64(all.covered) / float64(all.known)
	t.Logf("pooled %.4f", share)
	if n < 500 && math.Abs(share-0.95) > margin(0.01, 3.5, float64(all.known)/5) || n >= 500 &&
		math.Abs(share-0.95) > 0.01 {
		t.Errorf("U95 covers %.3f of all", share)
	}
}

// margin is the limit in a study, and with fewer than 500 counts that of a fair
// chance.
func margin(limit, deviations, counts float64) float64 {
	if counts >= 450 {
		return limit
	}
	return max(limit, deviations*math.Sqrt(0.05*0.95/counts))
}

// drawnBench is a bench whose parts are what they are said to be but for a draw
// from the distribution that the fit assumes of them (normal, u = a/sqrt(3)),
// whose clock is off and whose sound card ripples, and what the fit makes of it.
func drawnBench(coil trueCoil, snr float64, rippled bool, seed uint64) (*fit.Result, map[string]float64) {
	random := rand.New(rand.NewPCG(seed, 77))
	draw := func(nominal, limit float64) float64 {
		return nominal * math.Exp(limit/math.Sqrt(3)*random.NormFloat64())
	}
	trueR := draw(1e6, 0.01)
	base := load{fixtureC: "65p 5%", fixtureR: "1M 1%", trueFixR: trueR, trueFixC: draw(65e-12, 0.05)}
	var loads []load
	for i, c := range []float64{0, 220e-12, 470e-12, 1e-9} {
		l := base
		if c > 0 {
			l.addedC = fmt.Sprintf("%gp 1%%", c*1e12)
			l.trueC = draw(c, 0.01)
		}
		l.gain = 0.2 * (1 + 0.1*float64(i))
		loads = append(loads, l)
	}
	b := bench{coil: coil, snrDB: snr, seed: seed,
		clock:      capture.Card{}.OrUsual(false).ClockPPM * 1e-6 / math.Sqrt(3) * random.NormFloat64(),
		referenced: !rippled, rippled: rippled}
	dcr := must(quantity.ParseResistance("8k@20C 0.5%"))
	dcr.SI = draw(coil.ohm, 0.005)
	dcr.Half = dcr.SI * 0.005
	celsius := 20.0
	r := must(Analyse(context.Background(), capture.Coil{DCR: &dcr, CelsiusAtTakes: &celsius}, b.takes(loads...),
		fit.Options{}))
	// The truth of resonance and Q from the poles of the true network.
	c := circuit.Coil{InductanceH: coil.henry, ResistanceOhm: coil.ohm, CapacitanceF: coil.farad}
	for _, e := range coil.rings {
		c.Rings = append(c.Rings, circuit.Ring{Share: e.mutual * e.mutual / (coil.henry * e.henry),
			TimeS: e.henry / e.ohm})
	}
	f, q, _ := c.Resonance(circuit.Load{ResistanceOhm: trueR, CapacitanceF: base.trueFixC + loads[1].trueC})
	return r, map[string]float64{"resonance": f, "Q": q, "L": coil.henry, "C": coil.farad + base.trueFixC,
		"R": coil.ohm}
}
