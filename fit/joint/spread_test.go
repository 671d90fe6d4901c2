package joint

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"coilsweep/fit"
)

// A winding of ngspice whose capacitance is spread along it, without and with a loop,
// is in no model, and a circuit with a wrong DC resistance imitates it. It is said
// that the reading may be right and the circuit wrong, nothing is told of loops, and
// what is told of L, C and R is covered.
func TestSpreadWindingOfNgspice(t *testing.T) {
	n := seeds(t, 2)
	all := readSpice(t, must(os.ReadFile(filepath.Join(spiceDir, "fit_ladder.csv"))))
	cards := []string{"plain", "shelves", "cosine", "echo", "roll-off"}
	covered, told := map[string]int{}, map[string]int{}
	for world := range 2 {
		loads := all[3*world : 3*world+3]
		for i := range loads {
			loads[i].spline(t)
		}
		var lock sync.Mutex
		parallel(n, func(i int) {
			takes, direct := cardedTakes(loads, spiceFixtureF, lossAdded[:], 6.1e3, denseGrid(), cards[i%len(cards)],
				uint64(50+i))
			r := must(Analyse(context.Background(), direct, takes, fit.Options{}))
			lock.Lock()
			defer lock.Unlock()
			if len(r.Warnings) == 0 || !strings.Contains(r.Warnings[0], "capacitance is spread along it") {
				t.Errorf("world %d, draw %d: warnings %q", world, i, r.Warnings)
			}
			for _, e := range r.Eddy {
				if e.Share.Known() || e.Corner.Known() {
					t.Errorf("world %d, draw %d, %s: %+v", world, i, r.Model.Name, e)
				}
			}
			for what, q := range map[string]struct {
				q     fit.Quantity
				truth float64
			}{"L": {r.Inductance, 2.2}, "C": {r.Capacitance, 120e-12 + spiceFixtureF}, "R": {r.Resistance, 6.1e3}} {
				known, ok := covers(q.q, q.truth)
				if known {
					told[what]++
				}
				if ok {
					covered[what]++
				} else if known {
					t.Logf("world %d, draw %d, %s: %s %.5g ± %.2g, truly %.5g", world, i, r.Model.Name, what,
						q.q.Value, q.q.U95, q.truth)
				}
			}
		})
	}
	t.Logf("covered %v of %v", covered, told)
	for what, k := range told {
		if float64(covered[what]) < 0.85*float64(k) {
			t.Errorf("%s covered in %d of %d", what, covered[what], k)
		}
	}
}
