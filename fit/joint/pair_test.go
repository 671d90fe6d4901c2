package joint

import (
	"context"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"coilsweep/fit"
)

// spicePair is a pair of coils in series, as fit_pair.cir and fit_pairplate.cir have
// them; the second and the junction have capacitance to ground.
type spicePair struct {
	henry, ohm, farad [2]float64
	coupling          float64
	plate             bool
}

var spicePairs = []spicePair{
	{[2]float64{2.05, 2.2}, [2]float64{3.95e3, 4.2e3}, [2]float64{165e-12, 168e-12}, 0.06, false},
	{[2]float64{2.6, 2.25}, [2]float64{4.6e3, 4.1e3}, [2]float64{120e-12, 203e-12}, 0.1, false},
	{[2]float64{1.5, 1.62}, [2]float64{3.1e3, 3.3e3}, [2]float64{210e-12, 188e-12}, 0.03, false},
	{[2]float64{2.15, 2.3}, [2]float64{3.95e3, 4.2e3}, [2]float64{150e-12, 173e-12}, 0.05, true},
}

// pairAdded are the netlists' added capacitors in farad.
var pairAdded = []float64{0, 219.3e-12, 466.9e-12, 1003e-12}

// whole are inductance and capacitance of the pair at low frequency, the fixture with
// it: what their impedance s L (1 - s² L C) has in the powers of s.
func (p spicePair) whole() (henry, farad float64) {
	m := p.coupling * math.Sqrt(p.henry[0]*p.henry[1])
	henry = p.henry[0] + p.henry[1] + 2*m
	farad = spiceFixtureF
	for i, c := range p.farad {
		farad += c * square((p.henry[i]+m)/henry)
	}
	return henry, farad
}

// Hum-cancelling pairs of ngspice with the exciter over one of the coils, which no
// model has: U95 covers L, C and R of the whole and resonance and Q of every take, L
// is known to 5.5 %, peaks are those of the response, and it is said that there may
// be two coils. With a baseplate below both what is told is covered, too.
func TestPairsOfNgspice(t *testing.T) {
	n := seeds(t, 1)
	loads := readSpice(t, must(os.ReadFile(filepath.Join(spiceDir, "fit_pair.csv"))))
	loads = append(loads, readSpice(t, must(os.ReadFile(filepath.Join(spiceDir, "fit_pairplate.csv"))))...)
	for i := range loads {
		loads[i].spline(t)
	}
	cards := []string{"plain", "shelves", "cosine", "echo", "roll-off"}
	for number, p := range spicePairs {
		loads := loads[4*number : 4*number+4]
		henry, farad := p.whole()
		covered, asked := map[string]int{}, map[string]int{}
		var lock sync.Mutex
		relative := 0.0 // mean U95 of L
		parallel(n, func(i int) {
			takes, direct := cardedTakes(loads, spiceFixtureF, pairAdded, p.ohm[0]+p.ohm[1], denseGrid(), cards[i%len(cards)],
				uint64(i))
			r := must(Analyse(context.Background(), direct, takes, fit.Options{}))
			lock.Lock()
			defer lock.Unlock()
			count := func(what string, q fit.Quantity, truth float64) {
				asked[what]++
				if _, ok := covers(q, truth); ok {
					covered[what]++
					return
				}
				t.Logf("pair %d, draw %d, %s: %s %.6g ± %.2g (%s), truly %.6g", number+1, i, r.Model.Name, what,
					q.Value, q.U95, q.Why, truth)
			}
			count("L", r.Inductance, henry)
			count("R", r.Resistance, p.ohm[0]+p.ohm[1])
			if p.plate {
				t.Logf("pair %d, draw %d, %s: L %.4g ± %.2g", number+1, i, r.Model.Name, r.Inductance.Value,
					r.Inductance.U95)
				return
			}
			t.Logf("pair %d, draw %d, %s: L %+.2f ± %.2f %%", number+1, i, r.Model.Name,
				100*(r.Inductance.Value/henry-1), 100*r.Inductance.U95/henry)
			count("C", r.Capacitance, farad)
			if len(r.Warnings) == 0 || !strings.Contains(r.Warnings[0], "two coils") {
				t.Errorf("pair %d, draw %d: warnings %q", number+1, i, r.Warnings)
			}
			relative += r.Inductance.U95 / r.Inductance.Value / float64(n)
			for k, take := range r.Takes {
				hz, q := loads[k].resonance()
				count("resonance", take.Resonance, hz)
				count("Q", take.Q, q)
				peak, db := loads[k].peak()
				count("peak", take.Peak, peak)
				count("peak height", take.PeakDB, db)
				if take.Peak.U95 > 0.01*peak || take.PeakDB.U95 > 0.6 {
					t.Errorf("pair %d, draw %d: peak %+v, %+v", number+1, i, take.Peak, take.PeakDB)
				}
			}
		})
		t.Logf("pair %d: covered %v of %v", number+1, covered, asked)
		if relative > 0.055 {
			t.Errorf("pair %d: U95 of L is %.3g of it", number+1, relative)
		}
		for what, c := range asked {
			if float64(covered[what]) < 0.93*float64(c) {
				t.Errorf("pair %d: %s covered in %d of %d", number+1, what, covered[what], c)
			}
		}
	}
}

// peak is that of the load's voltage, over that at the lowest frequency.
func (l *spiceLoad) peak() (hz, db float64) {
	size := func(hz float64) float64 { return cmplx.Abs(l.at(hz)) }
	for f := 500.0; f < l.hz[len(l.hz)-1]; f *= 1.002 {
		if hz == 0 || size(f) > size(hz) {
			hz = f
		}
	}
	low, high := 0.99*hz, 1.01*hz
	for range 60 {
		a, z := low+(high-low)/3, high-(high-low)/3
		if size(a) < size(z) {
			low = a
		} else {
			high = z
		}
	}
	return low, 20 * math.Log10(size(low)/size(l.hz[0]))
}
