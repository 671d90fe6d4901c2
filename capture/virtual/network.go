package virtual

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// boltzmann constant in J/K (exact in the SI since 2019).
const boltzmann = 1.380649e-23

// loop is a closed conductor: the coil, the exciter, a shorted ring.
type loop struct {
	inductance, resistance float64 // H, ohm
}

// network is the circuit between the output jack and the input jack:
//
//	output R - sense R - series R - exciter (R, L)     or a current source
//	            exciter ~ coil (R, L) ~ rings, cover         (~ : mutual L)
//	            coil terminals: C and R of winding, fixture and added parts,
//	            the relaxations of lossy capacitors beside them
type network struct {
	coil   loop
	rings  []loop // shorted rings, a cover among them
	mutual *mat.SymDense
	// mutual[i][j] is the mutual inductance in H of loop i and loop j; loop 0
	// is the coil, then the rings. Its diagonal is not used.

	exciter       loop      // resistance: all of the loop but the output's
	exciterMutual []float64 // H, to the coil and each ring
	currentDriven bool      // the source is a current source
	outputR       float64   // ohm

	capacitance float64 // F, all across the coil's terminals at once
	relaxations []relaxation
	loadR       float64 // ohm, all across the coil's terminals; +Inf: none
}

// Inputs of the network as a system; from noiseIn on, one noise source each of
// the coil's resistance, each ring's, and the load's.
const (
	driveIn = iota // V of the source, or A of a current source
	humIn          // V induced in the coil by stray fields
	noiseIn
)

// Outputs of the network as a system.
const (
	coilOut    = iota // V at the coil's terminals
	currentOut        // A through the exciter
	jackOut           // V at the output jack (0 with a current source)
)

var errCoupling = errors.New("the couplings contradict each other: no coils can be coupled like that (the inductance matrix is not positive definite)")

// fastest is the highest rate in 1/s that the stepping resolves to nine digits.
const fastest = 1e12

var errFast = errors.New("the circuit has a time constant below 1 ps; check the units of its inductances, resistances and capacitances")

// loops are all loops whose current is a state: coil, rings and, where a
// voltage drives it, the exciter.
func (nw network) loops() []loop {
	all := append([]loop{nw.coil}, nw.rings...)
	if !nw.currentDriven {
		all = append(all, nw.exciter)
	}
	return all
}

// system writes the network in state space. States are the flux linkages of
// the loops, each over the square root of its inductance, and the charges of
// the capacitance and of each relaxation over the square root of that: all in
// sqrt(joule), so that the matrix holds nothing but rates (R/L, 1/sqrt(LC), 1/RC).
//
// Kirchhoff's law of each loop: d(flux)/dt = source - R i - terminal voltage,
// flux = (inductance matrix) i - M_exciter i_exciter. The flux takes in an
// ideal current source without its derivative. The exciter is wound so that a
// rising current drives a positive EMF.
func (nw network) system() (system, error) {
	loops := nw.loops()
	n := len(loops)
	m := n // where the charge stands
	root := make([]float64, n)
	for i, l := range loops {
		root[i] = math.Sqrt(l.inductance)
	}
	coupling := mat.NewSymDense(n, nil) // inductance matrix, scaled to 1 on its diagonal
	for i := range n {
		coupling.SetSym(i, i, 1)
		for j := range i {
			var mutual float64
			if i <= len(nw.rings) {
				mutual = nw.mutual.At(i, j)
			} else {
				mutual = -nw.exciterMutual[j]
			}
			coupling.SetSym(i, j, mutual/(root[i]*root[j]))
		}
	}
	var cholesky mat.Cholesky
	var inverse mat.SymDense
	if !cholesky.Factorize(coupling) || cholesky.Cond() > 1e10 {
		return system{}, errCoupling
	}
	if err := cholesky.InverseTo(&inverse); err != nil {
		return system{}, errCoupling
	}

	s := newSystem(n+1+len(nw.relaxations), noiseIn+len(nw.rings)+2, 3)
	rootC := math.Sqrt(nw.capacitance)
	exciter := n - 1
	for i, l := range loops {
		resistance := l.resistance
		if !nw.currentDriven && i == exciter {
			resistance += nw.outputR
		}
		for j := range n {
			s.a.Set(i, j, -resistance/l.inductance*inverse.At(i, j))
		}
	}
	s.a.Set(0, m, -1/(root[0]*rootC))
	for j := range n {
		s.a.Set(m, j, inverse.At(0, j)/(root[0]*rootC))
	}
	s.c.Set(coilOut, m, 1/rootC)
	leak := 1 / nw.loadR
	for i, r := range nw.relaxations {
		// Its current, (v - v_r)/R, charges it and discharges the capacitance.
		k, between := m+1+i, 1/(r.ohm*rootC*math.Sqrt(r.farad))
		s.a.Set(k, k, -1/(r.ohm*r.farad))
		s.a.Set(k, m, between)
		s.a.Set(m, k, between)
		leak += 1 / r.ohm
	}
	s.a.Set(m, m, -leak/nw.capacitance)

	if nw.currentDriven {
		// current of loop i, times root[i], that the exciter's flux calls for
		for i := range n {
			var share float64
			for j := range n {
				share += inverse.At(i, j) * nw.exciterMutual[j] / root[j]
			}
			s.b.Set(i, driveIn, -loops[i].resistance/loops[i].inductance*share)
			if i == 0 {
				s.b.Set(m, driveIn, share/(root[0]*rootC))
			}
		}
		s.d.Set(currentOut, driveIn, 1)
	} else {
		s.b.Set(exciter, driveIn, 1/root[exciter])
		for j := range n {
			s.c.Set(currentOut, j, inverse.At(exciter, j)/root[exciter])
			s.c.Set(jackOut, j, -nw.outputR*inverse.At(exciter, j)/root[exciter])
		}
		s.d.Set(jackOut, driveIn, 1)
	}

	if !(mat.Max(s.a) <= fastest && mat.Min(s.a) >= -fastest) {
		return system{}, errFast
	}

	s.b.Set(0, humIn, 1/root[0])
	for i := range 1 + len(nw.rings) {
		s.b.Set(i, noiseIn+i, 1/root[i])
	}
	s.b.Set(m, noiseIn+1+len(nw.rings), 1/rootC) // a current across the terminals
	return s, nil
}

// noiseDensity is that of each noise source, from noiseIn on: 4kTR in V/sqrt(Hz)
// for a resistance in a loop, 4kT/R in A/sqrt(Hz) for the load, one-sided
// (J. B. Johnson and H. Nyquist, Physical Review 32, 1928). The exciter's own
// noise is left out: it reaches the coil through a weak coupling. So is that of
// lossy capacitors: their conductance is small beside an input's.
func (nw network) noiseDensity(celsius float64) []float64 {
	fourKT := 4 * boltzmann * (celsius + 273.15)
	density := []float64{math.Sqrt(fourKT * nw.coil.resistance)}
	for _, ring := range nw.rings {
		density = append(density, math.Sqrt(fourKT*ring.resistance))
	}
	return append(density, math.Sqrt(fourKT/nw.loadR))
}
