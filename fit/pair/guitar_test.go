package pair

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/interp"

	"coilsweep/excite/quantity"
	"coilsweep/fit/harness"
)

func guitar(t *testing.T) harness.Harness {
	t.Helper()
	cable, amp := must(quantity.ParseCapacitance("470p 0.01%")), must(quantity.ParseResistance("1M 0.01%"))
	return harness.Harness{Schema: harness.Schema, Cable: &harness.Cable{Capacitance: &cable},
		Amplifier: harness.Amplifier{Resistance: &amp}}
}

// What the connections do in a guitar is what ngspice finds for the ladders of the same
// pair, connected in that way with their magnets opposed: peak frequency, peak height and
// the curve lie within U95.
func TestGuitarOfNgspice(t *testing.T) {
	for number, w := range worlds {
		takes := readTakes(must(os.ReadFile(filepath.Join(spiceDir, fmt.Sprintf("pair_%d.csv", number+1)))))
		r := must(Fit(context.Background(), w.draw(takes, 3, nil)))
		part := must(quantity.ParseResistance("4.7k 0.01%"))
		if err := r.InGuitar(guitar(t), &Partial{part.Value}); err != nil {
			t.Fatal(err)
		}
		compared := 0
		for _, take := range takes {
			if take.folder != "guitar" {
				continue
			}
			var at InGuitar
			for _, g := range r.Guitar {
				if g.Wiring == take.name && g.Phase != "out" && (g.Coil == "" || g.Coil == "screws") {
					at = g
				}
			}
			var x, db []float64
			for k, v := range take.v {
				x, db = append(x, math.Log(take.hz[k])), append(db, 20*math.Log10(cmplx.Abs(v)))
			}
			var curve interp.NotAKnotCubic
			if err := curve.Fit(x, db); err != nil {
				t.Fatal(err)
			}
			peakHz, peakDB := 0.0, math.Inf(-1)
			for hz := 500.0; hz < 12e3; hz *= 1.0001 {
				if d := curve.Predict(math.Log(hz)) - db[0]; d > peakDB {
					peakHz, peakDB = hz, d
				}
			}
			compared++
			t.Logf("pair %d, %s: peak %.5g ± %.2g Hz, ngspice %.5g; %.4g ± %.2g dB, ngspice %.4g", number+1, take.name,
				at.Peak.Value, at.Peak.U95, peakHz, at.PeakDB.Value, at.PeakDB.U95, peakDB)
			if !(math.Abs(at.Peak.Value-peakHz) <= at.Peak.U95) ||
				!(math.Abs(at.PeakDB.Value-peakDB) <= at.PeakDB.U95+2e-3) {
				t.Errorf("pair %d, %s: not within U95", number+1, take.name)
			}
			out, all := 0, 0
			for _, p := range at.Response {
				if p.FrequencyHz > 15e3 {
					continue
				}
				all++
				if d := p.LevelDB.Value - curve.Predict(math.Log(p.FrequencyHz)); !(math.Abs(d) <= p.LevelDB.U95+2e-3) {
					out++
				}
			}
			if all == 0 || out > all/10 {
				t.Errorf("pair %d, %s: %d of %d points of the curve are not within U95", number+1, take.name, out, all)
			}
		}
		if compared != 4 {
			t.Errorf("pair %d: compared %d", number+1, compared)
		}
	}
}

// A guitar with a wiring of its own is refused, and so is a pair without balance.
func TestGuitarRefuses(t *testing.T) {
	takes := readTakes(must(os.ReadFile(filepath.Join(spiceDir, "pair_2.csv"))))
	r := must(Fit(context.Background(), worlds[1].draw(takes, 1, func(s spiceTake) bool {
		return !strings.HasSuffix(s.name, "reversed")
	})))
	two := guitar(t)
	two.Wiring = "series"
	if err := r.InGuitar(two, nil); !errors.Is(err, errOneCoil) {
		t.Errorf("error %v", err)
	}
	q := worlds[1].draw(takes, 1, nil)
	for i := range q.Takes {
		if q.Takes[i].Folder == "second" {
			q.Takes[i].Place = OverSecond
		}
	}
	r = must(Fit(context.Background(), q))
	if err := r.InGuitar(guitar(t), nil); !errors.Is(err, ErrNotBalanced) {
		t.Errorf("error %v", err)
	}
	if r.Balance.TurnsArea.Known() || r.Hum[0].Rejection.Known() || r.HumCancels != nil {
		t.Errorf("balance %+v, hum %+v", r.Balance, r.Hum)
	}
	q = worlds[1].draw(takes, 1, func(s spiceTake) bool { return s.folder != "both" })
	if _, err := Fit(context.Background(), q); !errors.Is(err, ErrTooLittle) {
		t.Errorf("error %v", err)
	}
}

// With the other coil's leads on ground, and both in parallel alone, little tells the
// capacitance between the windings from that to the metal: one is told with a large U95, the
// other not at all, with the reason; what both are in that connection is.
func TestTooFewConnections(t *testing.T) {
	takes := readTakes(must(os.ReadFile(filepath.Join(spiceDir, "pair_2.csv"))))
	w := worlds[1]
	r := must(Fit(context.Background(), w.draw(takes, 1, func(s spiceTake) bool {
		return s.folder != "both" || s.name == "parallel"
	})))
	t.Logf("%+v, %+v, in parallel %+v", r.Between, r.Ground, r.Connected[2])
	if r.Ground.Known() || !strings.Contains(r.Ground.Why, "add takes of both coils") {
		t.Errorf("to metal: %+v", r.Ground)
	}
	if q := r.Between; q.Known() && (q.U95 < 0.3*q.Value || math.Abs(q.Value-w.between) > 1.5*q.U95) {
		t.Errorf("between: %+v", q)
	}
	if m := w.coupling * math.Sqrt(w.henry[0]*w.henry[1]); !r.Mutual.Known() ||
		math.Abs(r.Mutual.Value-m) > 1.5*r.Mutual.U95 || !r.Connected[2].Capacitance.Known() {
		t.Errorf("M: %+v, truly %.4g; %+v", r.Mutual, m, r.Connected[2])
	}
}
