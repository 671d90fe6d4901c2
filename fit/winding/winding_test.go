package winding

import (
	"errors"
	"math"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s is %.6g, want %.6g", what, got, want)
	}
}

func wire(t *testing.T, text string) exciter.Wire {
	t.Helper()
	w, err := exciter.ParseWire(text)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// 5000 turns of AWG 42 on an oblong core of 60 mm by 5 mm, 10 mm high. By hand:
// 2·55 + pi·5 = 125.71 mm on the core. AWG 42 is 0.06334 mm bare (ASTM B258, by
// its formula), so 0.0172414/(pi/4·0.06334²) = 5.4715 ohm/m at 20 °C (wire tables
// have about 5.45 ohm/m, from the rounded diameter: typical value, no source).
// With 0.0766 mm over the enamel and a packing of 0.8 the winding is
// 5000·0.0766²/(0.8·10) = 3.67 mm deep, the mean turn 125.71 + pi·3.67 = 137.2
// mm, and R = 5000·0.1372·5.4715 = 3754 ohm.
func TestResistanceByHand(t *testing.T) {
	p := Plan{Wire: wire(t, "AWG 42"), Turns: 5000, CoreLengthM: 60e-3, CoreWidthM: 5e-3, HeightM: 10e-3}
	near(t, "mean turn", p.MeanTurnM(5000), 0.1372, 2e-3)
	r := p.Resistance(5000, 20)
	near(t, "resistance", r.Value, 3754, 3e-3)
	near(t, "at 30 °C", p.Resistance(5000, 30).Value, r.Value*1.0393, 1e-9) // IEC 60028
	if part := r.U95 / r.Value; part < 0.08 || part > 0.15 {
		t.Errorf("U95 is %.1f %%", 100*part)
	}
	// The turns that this resistance stands for are those.
	n := p.TurnsOf(r.Value, 0, 20)
	near(t, "turns", n.Value, 5000, 1e-6)
	near(t, "uncertainty of the turns", n.U95/n.Value, r.U95/r.Value, 0.12)
}

// On a round core the winding is that of package exciter, worked out there from
// radii.
func TestRoundCore(t *testing.T) {
	p := Plan{Wire: wire(t, "0.1mm"), CoreLengthM: 12e-3, CoreWidthM: 12e-3, HeightM: 8e-3}
	c, err := exciter.Bobbin{CoreDiameterM: 12e-3, FlangeDiameterM: 40e-3, LengthM: 8e-3}.Wind(p.Wire, 2000,
		exciter.HandGuided)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "resistance", p.Resistance(2000, 25).Value, c.ResistanceOhm(25), 1e-9)
	want, err := c.InductanceH()
	if err != nil {
		t.Fatal(err)
	}
	got, err := p.AirInductance(2000)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "inductance", got, want, 1e-9)
}

// Two coupled loops by mesh analysis, Z = R + sL + (w k)² L L2/(R2 + s L2), show
// the same shorted turns as the ring: 1 % of the turns, closed on themselves.
func TestShortedTurnsAgainstMesh(t *testing.T) {
	const part, l, r, n = 0.01, 2.4, 7850.0, 8000.0
	l2, r2 := l*part*part, r*part
	ring := circuit.Coil{InductanceH: l, Rings: []circuit.Ring{{Share: turnCoupling, TimeS: part * l / r}}}
	for _, hz := range []float64{100, 1e3, 1e4, 1e5} {
		s := complex(0, 2*math.Pi*hz)
		mesh := s*complex(l, 0) - s*s*complex(turnCoupling*l*l2, 0)/(complex(r2, 0)+s*complex(l2, 0))
		if got := s * ring.Inductance(s); math.Abs(real(got-mesh))+math.Abs(imag(got-mesh)) > 1e-9*imag(mesh) {
			t.Errorf("%g Hz: %v, mesh %v", hz, got, mesh)
		}
	}
	near(t, "part of the turns", PartOfRing(l, r, 1/(2*math.Pi*part*l/r)), part, 1e-12)
	// More shorted turns take more from Q, and a few hardly anything.
	coil := circuit.Coil{InductanceH: l, ResistanceOhm: r, CapacitanceF: 110e-12,
		Rings: []circuit.Ring{{Share: 0.09, TimeS: 26e-6}}}
	whole := ShortTurns(coil, 0)
	_, q, _ := coil.Resonance(circuit.Load{ResistanceOhm: math.Inf(1)})
	near(t, "Q without any", whole.Q, q, 1e-6)
	last := whole.Q
	for _, part := range []float64{1 / n, 0.001, 0.01, 0.03} {
		now := ShortTurns(coil, part)
		if !(now.Q < last) {
			t.Errorf("Q %g with %g of the turns shorted, %g with fewer", now.Q, part, last)
		}
		last = now.Q
	}
	if one := ShortTurns(coil, 1/n); whole.Q/one.Q > 1.02 {
		t.Errorf("one shorted turn of 8000 takes Q from %g to %g", whole.Q, one.Q)
	}
}

func known(value, u95 float64) fit.Quantity {
	return fit.Quantity{Value: value, U: u95 / quantity.Coverage95, U95: u95}
}

func TestCheckCoil(t *testing.T) {
	p := Plan{Wire: wire(t, "AWG 42"), Turns: 8000, CoreLengthM: 58e-3, CoreWidthM: 5e-3, HeightM: 11e-3}
	usual := p.Resistance(8000, 22).Value
	air, err := p.AirInductance(8000)
	if err != nil {
		t.Fatal(err)
	}
	unknown := fit.Unknown("no")
	for _, test := range []struct {
		name      string
		ohm, l    float64
		eddyShare float64
		turns     int
		want      []string
	}{
		{"as it should be", usual, 1.8 * air, 0.1, 8000, nil},
		{"fewer turns", 0.8 * usual, 1.3 * air, 0.1, 8000, []string{"20 % below"}},
		{"thin wire", 1.3 * usual, 1.8 * air, 0.1, 8000, []string{"30 % above"}},
		{"low inductance", usual, 0.5 * air, 0.1, 8000, []string{"without pole pieces and magnets: fewer turns"}},
		{"high inductance", usual, 6 * air, 0.1, 8000, []string{"more turns than stated"}},
		{"shorted turns", usual, 1.8 * air, 0.7, 8000, []string{"if these are shorted turns"}},
		{"turns not counted", usual, 1.8 * air, 0.1, 0, nil},
	} {
		t.Run(test.name, func(t *testing.T) {
			p := p
			p.Turns = test.turns
			r := &fit.Result{Inductance: known(test.l, 0.01*test.l), Resistance: unknown,
				Eddy: []fit.Eddy{{Share: known(test.eddyShare, 0.01), Corner: known(30e3, 300)}}}
			celsius := 22.0
			coil := capture.Coil{DCR: &quantity.Resistance{Value: quantity.Value{SI: test.ohm, Half: 0.005 * test.ohm,
				Basis: quantity.Limit, Unit: quantity.Ohm, Celsius: &celsius}}}
			c, err := CheckCoil(p, coil, r)
			if err != nil {
				t.Fatal(err)
			}
			if len(c.Suspicions) != len(test.want) {
				t.Fatalf("suspicions %q, want %q", c.Suspicions, test.want)
			}
			for i, want := range test.want {
				if !strings.Contains(c.Suspicions[i], want) {
					t.Errorf("suspicion %q, want one with %q", c.Suspicions[i], want)
				}
			}
			near(t, "turns by resistance", c.Turns.Value, 8000*test.ohm/usual, 0.05)
			if (test.turns == 0) == c.Expected.Known() {
				t.Errorf("expected resistance %+v with %d turns", c.Expected, test.turns)
			}
		})
	}
	c, err := CheckCoil(p, capture.Coil{}, nil)
	if err != nil || c.Measured.Known() || c.Turns.Known() || len(c.Remarks) != 1 {
		t.Errorf("nothing known: %+v, %v", c, err)
	}
}

func TestPlanOf(t *testing.T) {
	if _, err := PlanOf(capture.Coil{}); !errors.Is(err, ErrNoWinding) {
		t.Errorf("no winding: %v", err)
	}
	good := capture.Winding{Wire: "AWG 42", Turns: 8000, CoreLength: "58mm", CoreWidth: "5mm", Height: "11mm"}
	p, err := PlanOf(capture.Coil{Winding: &good})
	if err != nil || p.CoreLengthM != 0.058 || p.HeightM != 0.011 || p.Turns != 8000 {
		t.Errorf("%+v, %v", p, err)
	}
	for want, spoil := range map[string]func(*capture.Winding){
		"winding.wire":        func(w *capture.Winding) { w.Wire = "thin" },
		"winding.core_length": func(w *capture.Winding) { w.CoreLength = "" },
		"winding.height":      func(w *capture.Winding) { w.Height = "11m" },
		"more than":           func(w *capture.Winding) { w.CoreWidth = "60mm" },
	} {
		w := good
		spoil(&w)
		if _, err := PlanOf(capture.Coil{Winding: &w}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one with %q", err, want)
		}
	}
}
