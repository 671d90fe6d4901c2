package joint

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"sync"
	"testing"

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
