package circuit

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
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

// transfer is the voltage across load at s by itself.
func (p *Pair) transfer(s complex128, emf [2]complex128, c PairConnection, load Load) complex128 {
	connected, at := p.Connect(c, load), p.At(At(s))
	return connected.Transfer(&at, emf, nil)
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
				got := p.transfer(atHz(hz), [2]complex128{complex(emf[0], 0), complex(emf[1], 0)}, c, load)
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
		got := p.transfer(atHz(hz), [2]complex128{1, 0.7}, PairConnection{Wiring: FirstAlone}, load)
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
		got := p.transfer(s, [2]complex128{1, 0}, PairConnection{Wiring: FirstAlone}, load)
		if cmplx.Abs(got-want) > 1e-6*cmplx.Abs(want) {
			t.Errorf("coupled, %g Hz: %v, want %v", hz, got, want)
		}
	}
}

// The derivatives of a pair are those of differences, in every connection.
func TestPairGradient(t *testing.T) {
	base := []float64{2.1, 2.3, 4e3, 4.2e3, 110e-12, 120e-12, 0.1, 2e-5, 0.05, 8e-5, // of the coils
		0.06, 0.02, 2e-5, 26e-12, 13e-12, 0.4, // in common
		1, 0.9, 1e6, 470e-12, 5e-12} // EMF, load
	const coupling, shared, between, second, ohm, farad = 10, 11, 13, 17, 18, 19
	pair := func(x []float64) (p Pair) {
		for i := range p.Coils {
			p.Coils[i] = Coil{InductanceH: x[i], ResistanceOhm: x[2+i], CapacitanceF: x[4+i],
				Rings: []Ring{{x[6+2*i], x[7+2*i]}}}
		}
		p.Coupling, p.Shared = x[coupling], []Ring{{x[shared], x[shared+1]}}
		p.BetweenF, p.GroundF, p.Lay = x[between], x[between+1], x[between+2]
		return p
	}
	connections := []PairConnection{{Wiring: PairInSeries}, {Wiring: PairInSeries, Reversed: true},
		{Wiring: PairInParallel}, {Wiring: PairInParallel, Reversed: true},
		{Wiring: FirstAlone, Shorted: true}, {Wiring: SecondAlone, Shorted: true},
		{Wiring: FirstAlone}, {Wiring: SecondAlone}}
	for _, c := range connections {
		for _, s := range []complex128{atHz(40), atHz(1100), atHz(5200), atHz(19e3), complex(-900, 3e4)} {
			value := func(x []float64) complex128 {
				p := pair(x)
				return p.transfer(s, [2]complex128{complex(x[second-1], 0), complex(x[second], 0)}, c,
					Load{ResistanceOhm: x[ohm], CapacitanceF: x[farad], LossF: x[farad+1]})
			}
			// Everything by the logarithms of what is in base.
			var d PairGradient
			var branch [2]Gradient
			var mutual Gradient
			p := pair(base)
			load := Load{ResistanceOhm: base[ohm], CapacitanceF: base[farad], LossF: base[farad+1]}
			connected, at := p.Connect(c, load), p.At(At(s))
			h := connected.Transfer(&at, [2]complex128{complex(base[second-1], 0), complex(base[second], 0)}, &d)
			byCoupling := p.MutualGradient(s, &mutual)
			got := make([]complex128, len(base))
			for i := range p.Coils {
				g := &branch[i]
				p.Coils[i].BranchGradient(s, g)
				got[i] = d.Branch[i]*g.LnInductance + d.Mutual*s*p.Mutual(s)/2
				got[2+i] = d.Branch[i] * g.LnResistance
				got[4+i] = d.Capacitance[i] * complex(base[4+i], 0)
				got[6+2*i] = d.Branch[i] * g.RingShare[0] * complex(base[6+2*i], 0)
				got[7+2*i] = d.Branch[i] * g.LnRingTime[0]
				got[second-1+i] = d.EMF[i] * complex(base[second-1+i], 0)
			}
			got[coupling] = d.Mutual * byCoupling * complex(base[coupling], 0)
			got[shared] = d.Mutual * mutual.RingShare[0] * complex(base[shared], 0)
			got[shared+1] = d.Mutual * mutual.LnRingTime[0]
			for k, v := range []complex128{d.BetweenF, d.GroundF, d.Lay} {
				got[between+k] = v * complex(base[between+k], 0)
			}
			got[ohm] = -d.Load * complex(1/base[ohm], 0)
			got[farad] = d.Load * s * complex(base[farad], 0)
			got[farad+1] = d.Load * LossTerm(s) * complex(base[farad+1], 0)
			for k := range base {
				// Of fourth order: at this step rounding and what is left out are below 1e-10.
				const small = 3e-4
				at := func(step float64) complex128 {
					x := slices.Clone(base)
					x[k] *= math.Exp(step * small)
					return value(x)
				}
				want := (8*(at(1)-at(-1)) - at(2) + at(-2)) / (12 * small)
				if got := h * got[k]; cmplx.Abs(got-want) > 1e-9*(0.1+cmplx.Abs(want)) {
					t.Errorf("%+v at %v, %d: %v, by differences %v", c, s, k, got, want)
				}
			}
		}
	}
}
