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

	// second are the ends of the first ring where that is no ring but a second coil; nil:
	// there is none. first are those of the coil; both are node 0 and ground without a second.
	first, second *ends
	capacitance   float64       // F, all from node 0 to ground at once
	capacitors    []capacitorAt // others
	relaxations   []relaxation
	loadR         float64 // ohm, all across the coil's terminals; +Inf: none
}

// ends are the nodes of a coil's hot and its cold lead. Node 0 is the input.
type ends struct{ hot, cold int }

// ground is the node that all voltages are measured from.
const ground = -1

// capacitorAt is a capacitor between two nodes.
type capacitorAt struct {
	a, b  int
	farad float64
}

// nodes are what hangs on the nodes: the matrix of capacitances as L Lᵀ, of which upward is
// the inverse of L. The states are the charges by it: Lᵀ v.
type nodes struct {
	upward *mat.TriDense
	coils  []ends // of loops 0, and 1 where it is a coil
}

// nodes factors the capacitances of all nodes.
func (nw network) nodes() (n nodes, err error) {
	n.coils = []ends{{0, ground}}
	count := 1
	if nw.second != nil {
		n.coils = []ends{*nw.first, *nw.second}
		for _, e := range n.coils {
			count = max(count, e.hot+1, e.cold+1)
		}
	}
	farad := mat.NewSymDense(count, nil)
	for _, c := range append([]capacitorAt{{0, ground, nw.capacitance}}, nw.capacitors...) {
		if c.a == c.b {
			continue
		}
		for _, at := range [...]int{c.a, c.b} {
			if at != ground {
				farad.SetSym(at, at, farad.At(at, at)+c.farad)
			}
		}
		if c.a != ground && c.b != ground {
			farad.SetSym(c.a, c.b, farad.At(c.a, c.b)-c.farad)
		}
	}
	var cholesky mat.Cholesky
	if !cholesky.Factorize(farad) {
		return n, errNode
	}
	var lower mat.TriDense
	cholesky.LTo(&lower)
	n.upward = mat.NewTriDense(count, mat.Lower, nil)
	return n, n.upward.InverseTri(&lower)
}

// across is how state k of the nodes counts in the voltage of coil i, and in its current's
// effect on that state.
func (n nodes) across(i, k int) (sum float64) {
	if at := n.coils[i].hot; at != ground {
		sum += n.upward.At(k, at)
	}
	if at := n.coils[i].cold; at != ground {
		sum -= n.upward.At(k, at)
	}
	return sum
}

var errNode = errors.New("a lead of a coil has no capacitance: state metal_c of the second coil")

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

var errCoupling = errors.New("the couplings contradict each other: no coils can be coupled like that (the inductance " +
	"matrix is not positive definite)")

// fastest is the highest rate in 1/s that the stepping resolves to nine digits.
const fastest = 1e12

var errFast = errors.New("the circuit has a time constant below 1 ps; check the units of its inductances, " +
	"resistances and capacitances")

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
// the nodes' capacitance and of each relaxation over the square root of that: all in
// sqrt(joule), so that the matrix holds nothing but rates (R/L, 1/sqrt(LC), 1/RC).
//
// Kirchhoff's law of each loop: d(flux)/dt = source - R i - terminal voltage,
// flux = (inductance matrix) i - M_exciter i_exciter. The flux takes in an
// ideal current source without its derivative. The exciter is wound so that a
// rising current drives a positive EMF.
func (nw network) system() (system, error) {
	loops := nw.loops()
	n := len(loops)
	m := n // where the charges stand
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

	at, err := nw.nodes()
	if err != nil {
		return system{}, err
	}
	count, _ := at.upward.Dims()
	s := newSystem(n+count+len(nw.relaxations), noiseIn+len(nw.rings)+2, 3)
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
	for k := range count {
		for i := range at.coils {
			v := at.across(i, k) / root[i]
			s.a.Set(i, m+k, -v)
			for j := range n {
				s.a.Set(m+k, j, s.a.At(m+k, j)+v*inverse.At(i, j))
			}
		}
		s.c.Set(coilOut, m+k, at.upward.At(k, 0))
	}
	leak := 1 / nw.loadR
	for i, r := range nw.relaxations {
		// Its current, (v - v_r)/R, charges it and discharges the capacitance.
		own := m + count + i
		s.a.Set(own, own, -1/(r.ohm*r.farad))
		for k := range count {
			between := at.upward.At(k, 0) / (r.ohm * math.Sqrt(r.farad))
			s.a.Set(own, m+k, between)
			s.a.Set(m+k, own, between)
		}
		leak += 1 / r.ohm
	}
	for k := range count {
		for j := range count {
			s.a.Set(m+k, m+j, -leak*at.upward.At(k, 0)*at.upward.At(j, 0))
		}
	}

	if nw.currentDriven {
		// current of loop i, times root[i], that the exciter's flux calls for
		for i := range n {
			var share float64
			for j := range n {
				share += inverse.At(i, j) * nw.exciterMutual[j] / root[j]
			}
			s.b.Set(i, driveIn, -loops[i].resistance/loops[i].inductance*share)
			for k := range count {
				if i < len(at.coils) {
					s.b.Set(m+k, driveIn, s.b.At(m+k, driveIn)+at.across(i, k)/root[i]*share)
				}
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
	if nw.second != nil {
		s.b.Set(1, humIn, nw.exciterMutual[1]/nw.exciterMutual[0]/root[1])
	}
	for i := range 1 + len(nw.rings) {
		s.b.Set(i, noiseIn+i, 1/root[i])
	}
	for k := range count {
		s.b.Set(m+k, noiseIn+1+len(nw.rings), at.upward.At(k, 0)) // a current across the terminals
	}
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
