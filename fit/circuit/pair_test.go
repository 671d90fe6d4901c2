package circuit

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// pairHarness is a pair on a load as a harness, which is checked against ngspice.
func pairHarness(p Pair, emf [2]float64, c PairConnection, load Load) Harness {
	h := Harness{Coupling: p.Coupling, BetweenF: p.BetweenF, GroundF: p.GroundF, Lay: p.Lay,
		CableCapacitanceF: load.CapacitanceF, Amplifier: Load{ResistanceOhm: load.ResistanceOhm}}
	h.Coils = []HarnessCoil{{Coil: p.Coils[0], EMF: emf[0]}, {Coil: p.Coils[1], EMF: emf[1], Reversed: c.Reversed}}
	switch c.Wiring {
	case FirstAlone:
		h.Wiring = Split
	case SecondAlone:
		h.Wiring = Split
		h.Coils[0], h.Coils[1] = h.Coils[1], h.Coils[0]
	case PairInSeries:
		h.Wiring = InSeries
	case PairInParallel:
		h.Wiring = InParallel
	}
	return h
}

// A pair is what the same parts are as a network.
func TestPairAgainstNetwork(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	coil := func() Coil {
		return Coil{InductanceH: between(1, 4), ResistanceOhm: between(2e3, 6e3), CapacitanceF: between(50e-12, 200e-12),
			Rings: []Ring{{between(0.02, 0.3), between(5e-6, 5e-5)}}}
	}
	for range 60 {
		p := Pair{Coils: [2]Coil{coil(), coil()}, Coupling: between(-0.3, 0.3), BetweenF: between(0, 60e-12),
			GroundF: between(0, 40e-12), Lay: between(-1, 1)}
		emf := [2]float64{between(0.2, 2), between(-2, 2)}
		load := Load{ResistanceOhm: between(1e5, 2e6), CapacitanceF: between(50e-12, 1e-9)}
		for _, c := range []PairConnection{{Wiring: PairInSeries}, {Wiring: PairInSeries, Reversed: true},
			{Wiring: PairInParallel}, {Wiring: PairInParallel, Reversed: true},
			{Wiring: FirstAlone, Shorted: true}, {Wiring: SecondAlone, Shorted: true}} {
			response, err := pairHarness(p, emf, c, load).Response()
			if err != nil {
				t.Fatal(err)
			}
			for _, hz := range []float64{25, 440, 3500, 7000, 12e3, 20e3} {
				want, err := response.Transfer(atHz(hz))
				if err != nil {
					t.Fatal(err)
				}
				got := p.Transfer(atHz(hz), [2]complex128{complex(emf[0], 0), complex(emf[1], 0)}, c, load)
				if cmplx.Abs(got-want) > 1e-8*(cmplx.Abs(want)+1e-3) {
					t.Fatalf("%+v at %g Hz: %v, want %v (%+v)", c, hz, got, want, p)
				}
			}
		}
	}
}

// With the other coil's leads open it is a resonator beside the one that is measured;
// without coupling and capacitances in common it is not there.
func TestPairOpen(t *testing.T) {
	a := Coil{InductanceH: 2.1, ResistanceOhm: 4e3, CapacitanceF: 110e-12, Rings: []Ring{{0.1, 2e-5}}}
	b := Coil{InductanceH: 2.3, ResistanceOhm: 4.2e3, CapacitanceF: 120e-12}
	load := Load{ResistanceOhm: 1e6, CapacitanceF: 200e-12}
	p := Pair{Coils: [2]Coil{a, b}}
	for _, hz := range []float64{30, 3000, 7000, 15e3} {
		want := a.Transfer(atHz(hz), load)
		got := p.Transfer(atHz(hz), [2]complex128{1, 0.7}, PairConnection{Wiring: FirstAlone}, load)
		if cmplx.Abs(got-want) > 1e-6*cmplx.Abs(want) {
			t.Errorf("%g Hz: %v, want %v", hz, got, want)
		}
	}
	// A coupled one is that whose only load is its own capacitance: the impedance that it
	// puts into the first coil is w²M²/Z.
	p.Coupling = 0.1
	for _, hz := range []float64{30, 3000, 7000, 15e3} {
		s := atHz(hz)
		sm := s * complex(0.1*math.Sqrt(2.1*2.3), 0)
		z := complex(b.ResistanceOhm, 0) + s*complex(b.InductanceH, 0) + 1/(s*complex(b.CapacitanceF, 0))
		z1 := complex(a.ResistanceOhm, 0) + s*a.Inductance(s) - sm*sm/z
		y := s*complex(310e-12, 0) + 1e-6
		want := 1 / (1 + z1*y)
		got := p.Transfer(s, [2]complex128{1, 0}, PairConnection{Wiring: FirstAlone}, load)
		if cmplx.Abs(got-want) > 1e-6*cmplx.Abs(want) {
			t.Errorf("coupled, %g Hz: %v, want %v", hz, got, want)
		}
	}
}
