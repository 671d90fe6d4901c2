package joint

import (
	"context"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"coilsweep/fit"
)

// lossWorld is one of the worlds of fit_loss.cir: dielectric loss of the winding or
// of the added capacitors, without and with a loop, as the netlist has them.
type lossWorld struct {
	form      string
	coil      trueCoil
	addedLoss [3]float64
}

// lossAdded are the netlist's added capacitors in farad.
var lossAdded = [3]float64{0, 219.3e-12, 466.9e-12}

// lossWorlds are in the order of the netlist.
func lossWorlds() []lossWorld {
	bare := trueCoil{henry: 2.2, ohm: 6.1e3, farad: 120e-12}
	lossy := bare
	lossy.loss = 0.015
	looped := bare
	looped.rings = []element{{1e-6, 75.4e-3, 0.4472135955 * math.Sqrt(2.2*1e-6)}}
	lossyLooped := looped
	lossyLooped.loss = 0.015
	capacitors := [3]float64{0, 0.006, 0.003}
	return []lossWorld{
		{form: "loss-free with dielectric loss", coil: lossy},
		{form: "loss-free", coil: bare, addedLoss: capacitors},
		{form: "one ring with dielectric loss", coil: lossyLooped},
		{form: "one ring", coil: looped, addedLoss: capacitors},
	}
}

// across is the admittance of fixture and load in the netlist.
func (w lossWorld) across(s complex128, load int) complex128 {
	return complex(1e-6, 0) + s*complex(spiceFixtureF, 0) +
		lossyCapacitor(s, lossAdded[load], w.addedLoss[load])
}

// bench is the world through a sound card on a grid.
func (w lossWorld) bench(loads []spiceLoad, grid []float64, card string, seed uint64) cardedBench {
	b := cardedBench{coil: w.coil, farad: w.coil.farad + spiceFixtureF}
	b.takes, b.direct = cardedTakes(loads, spiceFixtureF, lossAdded[:], w.coil.ohm, grid, card, seed)
	for i, farad := range lossAdded {
		b.loads = append(b.loads, func(s complex128) complex128 { return w.across(s, i) })
		b.ohm, b.farads = append(b.ohm, w.coil.ohm), append(b.farads, b.farad+farad)
	}
	return b
}

// Coils of ngspice with dielectric loss in the winding or in the added capacitors,
// without and with a loop, through sound cards that ripple: the right form is
// chosen, or said not to be told from the chosen one; U95 covers L, C, R, and the LC frequency and Q of every take. Poles
// are those of the meshes, which give what ngspice gives.
func TestDielectricLossOfNgspice(t *testing.T) {
	all := readSpice(t, must(os.ReadFile(filepath.Join(spiceDir, "fit_loss.csv"))))
	cards := []string{"plain", "shelves", "cosine", "echo", "roll-off"}
	n := seeds(t, 2)
	for number, w := range lossWorlds() {
		loads := all[3*number : 3*number+3]
		for i := range loads {
			l := &loads[i]
			l.spline(t)
			for k, hz := range l.hz {
				between := hz * math.Exp2(1.0/48)
				for f, v := range map[float64]complex128{hz: l.v[k], between: l.at(between)} {
					s := complex(0, 2*math.Pi*f)
					meshes := w.coil.voltageAcross(s, w.across(s, i))
					if f < l.hz[len(l.hz)-1] && cmplx.Abs(v/meshes-1) > 2e-6 {
						t.Fatalf("%s, %s, %g Hz: ngspice has %v, the meshes %v", w.form, l.added, f, v, meshes)
					}
				}
			}
		}
		right, named, covered := 0, 0, map[string]int{}
		var lock sync.Mutex
		parallel(n, func(i int) {
			b := w.bench(loads, denseGrid(), cards[i%len(cards)], uint64(50+i))
			r := must(Analyse(context.Background(), b.direct, b.takes, fit.Options{}))
			lock.Lock()
			defer lock.Unlock()
			if r.Model.Name == w.form {
				right++
			}
			if slices.ContainsFunc(r.Model.Tried, func(m fit.Tried) bool {
				return m.Name == w.form && m.Probability > 1-sureOfForm
			}) {
				named++
			}
			if r.Model.Probability < sureOfForm {
				// What all the models agree on is told, and pointed to.
				for _, p := range r.Branch {
					if !p.Inductance.Known() || !p.Resistance.Known() {
						t.Errorf("%s, draw %d, %g Hz: %+v", w.form, i, p.Hz, p)
					}
				}
				for _, e := range r.Eddy {
					if !strings.HasSuffix(e.Share.Why, "see "+fit.BranchName) || e.Corner.Known() {
						t.Errorf("%s, draw %d, probability %g: share %+v", w.form, i, r.Model.Probability, e.Share)
					}
				}
			}
			count := func(what string, q fit.Quantity, truth float64) {
				if _, ok := covers(q, truth); ok {
					covered[what]++
					return
				}
				t.Logf("%s, draw %d, %s: %s %.6g ± %.2g (%s), truly %.6g", w.form, i, r.Model.Name, what, q.Value,
					q.U95, q.Why, truth)
			}
			count("L", r.Inductance, b.coil.henry)
			count("C", r.Capacitance, b.farad)
			count("R", r.Resistance, b.coil.ohm)
			for k, take := range r.Takes {
				truth := b.truth(k)
				count("lc", take.LC, truth["lc"])
				count("q", take.Q, truth["q"])
				count("resonance", take.Resonance, truth["resonance"])
			}
		})
		t.Logf("%s: right form %d of %d, not ruled out in %d, covered %v", w.form, right, n, named, covered)
		for what, c := range covered {
			want := 3 * n
			if n > 6 { // those of one draw go together
				want = 3 * n * 9 / 10
			}
			if slices.Contains([]string{"L", "C", "R"}, what) {
				want = n * 5 / 6
			}
			if c < want {
				t.Errorf("%s: %s covered in %d, want %d", w.form, what, c, want)
			}
		}
		if named < n*95/100 || right < n/2 {
			t.Errorf("%s: right form chosen in %d of %d, not ruled out in %d", w.form, right, n, named)
		}
	}
}

// Few points do not tell a loop with dielectric loss from a solid core without by
// far, but it is among the models tried.
func TestDielectricLossIsTried(t *testing.T) {
	loads := readSpice(t, must(os.ReadFile(filepath.Join(spiceDir, "fit_loss.csv"))))[6:9]
	for i := range loads {
		loads[i].spline(t)
	}
	w := lossWorlds()[2]
	b := w.bench(loads, loads[0].hz, "plain", 50)
	r := must(Analyse(t.Context(), b.direct, b.takes, fit.Options{}))
	for _, m := range r.Model.Tried {
		if m.Name == w.form && m.Probability > 1-sureOfForm {
			return
		}
	}
	t.Errorf("%s is not among %+v", w.form, r.Model.Tried)
}
