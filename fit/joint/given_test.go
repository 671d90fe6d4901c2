package joint

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// One take and the DC resistance: L and C are not known, but what they are if the
// coil has no metal and no loss in its insulation is told with U95; the same of a
// coil of ngspice. Of a coil in which the take shows metal nothing is told.
func TestGivenNoMetal(t *testing.T) {
	n := seeds(t, 8)
	cards := []string{"plain", "shelves", "cosine", "echo", "roll-off"}
	air := trueCoil{henry: 2.2, ohm: 6.1e3, farad: 120e-12}
	covered := map[string]int{}
	var lock sync.Mutex
	parallel(n, func(i int) {
		b := drawCarded(air, cards[i%len(cards)], uint64(i), disturbance{})
		r := must(Analyse(context.Background(), b.direct, b.takes[:1], fit.Options{}))
		lock.Lock()
		defer lock.Unlock()
		for what, q := range map[string]struct {
			q     fit.Quantity
			truth float64
		}{"L": {r.Inductance, air.henry}, "C": {r.Capacitance, b.farad}} {
			g := q.q.Given
			if q.q.Known() || g == nil || !strings.HasPrefix(g.If, "there is no metal in the coil") ||
				g.Quantity.U95 > 0.04*g.Quantity.Value {
				t.Errorf("draw %d: %s %+v, given %+v", i, what, q.q, g)
				continue
			}
			if _, ok := covers(g.Quantity, q.truth); ok {
				covered[what]++
			}
			if i == 0 {
				t.Logf("%s = %.4g ± %.2g if %s", what, g.Quantity.Value, g.Quantity.U95, g.If)
			}
		}
	})
	for _, what := range []string{"L", "C"} {
		if float64(covered[what]) < float64(n)*(0.95-margin(0.03, 4, float64(n))) {
			t.Errorf("%s is covered in %d of %d", what, covered[what], n)
		}
	}

	dcr := must(quantity.ParseResistance("6.12k@20C 0.5%"))
	celsius := 20.0
	direct := capture.Coil{DCR: &dcr, CelsiusAtTakes: &celsius}
	c := spiceCoils[0]
	loads := readSpice(t, must(os.ReadFile(filepath.Join(spiceDir, "fit_"+c.name+".csv"))))
	r := must(Analyse(t.Context(), direct, c.takes(loads, 1)[:1], fit.Options{}))
	if g := r.Inductance.Given; g == nil || !strings.Contains(g.If, "and L is above 1.") {
		t.Errorf("coil of ngspice: %+v, given %+v", r.Inductance, g)
	} else if _, ok := covers(g.Quantity, c.henry); !ok {
		t.Errorf("coil of ngspice: L = %+v if %s, truly %g", g.Quantity, g.If, c.henry)
	}
	var read fit.Quantity
	text := must(json.Marshal(r.Inductance))
	if err := json.Unmarshal(text, &read); err != nil || read.Known() || read.Given == nil ||
		*read.Given != *r.Inductance.Given || !strings.Contains(string(text), `"given_form":{"if":"there is no metal`) {
		t.Errorf("%s is read as %+v, %v", text, read, err)
	}

	b := drawCarded(demoCoil(), "plain", 1, disturbance{})
	r = must(Analyse(t.Context(), b.direct, b.takes[:1], fit.Options{}))
	if r.Inductance.Known() || r.Inductance.Given != nil || r.Capacitance.Given != nil {
		t.Errorf("coil with metal: %s, L %+v, given %+v", r.Model.Name, r.Inductance, r.Inductance.Given)
	}
}
