package joint

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// Coils of ngspice at an input that has 100 of the fixture's 170 pF behind 1 kohm: U95 covers L, C and R, and a loop where it is told.
func TestInputOfNgspice(t *testing.T) {
	n := seeds(t, 3)
	all := readSpice(t, must(os.ReadFile(filepath.Join(spiceDir, "fit_input.csv"))))
	cards := []string{"plain", "shelves", "cosine", "echo", "roll-off"}
	const fixtureF = spiceFixtureF + 100e-12
	for world, name := range []string{"loss-free", "one ring"} {
		loads := all[3*world : 3*world+3]
		for i := range loads {
			loads[i].spline(t)
		}
		covered, told, forms := map[string]int{}, map[string]int{}, map[string]int{}
		var lock sync.Mutex
		parallel(n, func(i int) {
			takes, direct := cardedTakes(loads, fixtureF, lossAdded[:], 6.1e3, denseGrid(), cards[i%len(cards)],
				seed(50+i))
			r := must(Analyse(context.Background(), direct, takes, fit.Options{}))
			lock.Lock()
			defer lock.Unlock()
			forms[r.Model.Name]++
			count := func(what string, q fit.Quantity, truth float64) {
				known, ok := covers(q, truth)
				if known {
					told[what]++
				}
				if ok {
					covered[what]++
				} else {
					t.Logf("%s, draw %d, %s: %s %.5g ± %.2g %s, truly %.5g", name, i, r.Model.Name, what, q.Value,
						q.U95, q.Why, truth)
				}
			}
			count("L", r.Inductance, 2.2)
			count("C", r.Capacitance, 120e-12+fixtureF)
			count("R", r.Resistance, 6.1e3)
			if world == 1 && len(r.Eddy) == 1 {
				count("share", r.Eddy[0].Share, 0.1)
				count("corner", r.Eddy[0].Corner, 18.8e3/(2*math.Pi))
			}
		})
		t.Logf("%s: models %v, covered %v of %v", name, forms, covered, told)
		for what, k := range told {
			if share := float64(covered[what]) / float64(k); share < 0.95-margin(0.1, 3, float64(k)) {
				t.Errorf("%s: %s covered in %d of %d", name, what, covered[what], k)
			}
		}
	}
}

// What is stated of the resistor in series with the input goes into U95, its tolerance
// as well; an input that has none costs nothing.
func TestInputStated(t *testing.T) {
	b := drawCarded(ringedCoil(), "plain", 7, disturbance{})
	u := func(stated string) float64 {
		takes := slices.Clone(b.takes)
		for i := range takes {
			if takes[i].Load.FixtureSeriesR = nil; stated != "" {
				r := must(quantity.ParseSeriesResistance(stated))
				takes[i].Load.FixtureSeriesR = &r
			}
		}
		r := must(Analyse(context.Background(), b.direct, takes, fit.Options{}))
		if _, covered := covers(r.Capacitance, b.farad); !covered {
			t.Errorf("%q: C %.5g ± %.2g, true %.5g", stated, r.Capacitance.Value, r.Capacitance.U95, b.farad)
		}
		return r.Branch[len(r.Branch)-1].Resistance.U95
	}
	none, small, unstated, large := u("0"), u("470 10%"), u(""), u("2k2 5%")
	t.Logf("U95 of the resistance at the resonance: none %.4g, 470 10%% %.4g, not stated %.4g, 2k2 5%% %.4g", none, small,
		unstated, large)
	if !(none < small && small < unstated && unstated < large) {
		t.Error("U95 does not grow with what the input has in series")
	}
	if limit := u("1k"); limit != unstated {
		t.Errorf("1k stated: %.4g", limit)
	}
	if wide := u("900 11.1111%"); math.Abs(wide/unstated-1) > 1e-3 {
		t.Errorf("900 11.1%%: %.4g, not that of its limit", wide)
	}
}
