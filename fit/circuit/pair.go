package circuit

import (
	"math"
	"math/cmplx"
)

// Pair is two coils, the halves of a hum-cancelling pickup, as a circuit. Each has a hot
// lead and a cold one, and its own capacitance between the two.
type Pair struct {
	Coils [2]Coil
	// Coupling is the coupling factor of the inductances at low frequency, positive where
	// currents into both hot leads make fluxes that add.
	Coupling float64
	// Shared is metal that both coils share: what it takes off the coupling factor at high
	// frequency, negative where it adds to it, with its time constants.
	Shared []Ring
	// BetweenF is the capacitance between the windings, each taken at its mean potential:
	// a quarter of it from each lead of one to each lead of the other.
	BetweenF float64
	// GroundF is the capacitance of each winding to the metal, which is on ground, in the
	// same way: half of it from each lead.
	GroundF float64
	// Lay is how the windings lie to each other: 1 where their hot leads are side by
	// side, −1 where the hot lead of one is beside the cold lead of the other. It matters
	// for that part of BetweenF that goes along the windings.
	Lay float64
}

// PairWiring is what a load is connected to.
type PairWiring int

// The wirings. In series the first coil's cold lead is on the second's hot lead, in
// parallel hot is on hot.
const (
	FirstAlone PairWiring = iota
	SecondAlone
	PairInSeries
	PairInParallel
)

// PairConnection is how a pair is connected.
type PairConnection struct {
	Wiring PairWiring
	// Reversed: the second coil's leads are swapped, where both are connected.
	Reversed bool
	// Shorted: the leads of the coil that is not connected are both on ground; else they
	// are open.
	Shorted bool
}

// nodes are those of the leads: the first coil's hot and cold one, the second's. 0 is
// ground, 1 the input.
func (c PairConnection) nodes() (leads [4]int, count int) {
	switch {
	case c.Wiring == FirstAlone && c.Shorted:
		return [4]int{1, 0, 0, 0}, 1
	case c.Wiring == FirstAlone:
		return [4]int{1, 0, 2, 3}, 3
	case c.Wiring == SecondAlone && c.Shorted:
		return [4]int{0, 0, 1, 0}, 1
	case c.Wiring == SecondAlone:
		return [4]int{2, 3, 1, 0}, 3
	case c.Wiring == PairInSeries && c.Reversed:
		return [4]int{1, 2, 0, 2}, 2
	case c.Wiring == PairInSeries:
		return [4]int{1, 2, 2, 0}, 2
	case c.Reversed:
		return [4]int{1, 0, 0, 1}, 1
	}
	return [4]int{1, 0, 1, 0}, 1
}

// strayF is a capacitance to ground that an open lead always has: without any its
// potential would not be determined.
const strayF = 1e-21

// Transfer is the voltage across load at s, where the coils have the EMFs emf. No cover
// counts, and no dielectric loss of the coils: they are those of the EMFs and of the load.
func (p *Pair) Transfer(s complex128, emf [2]complex128, c PairConnection, load Load) complex128 {
	// The windings: i = Y (e - v) by Z = (Z1, sM; sM, Z2).
	l1, l2 := p.Coils[0].Inductance(s), p.Coils[1].Inductance(s)
	z1, z2 := complex(p.Coils[0].ResistanceOhm, 0)+s*l1, complex(p.Coils[1].ResistanceOhm, 0)+s*l2
	m := p.Mutual(s)
	sm := s * m
	inverse := reciprocal(z1*z2 - sm*sm)
	y1, y2, ym := z2*inverse, z1*inverse, -sm*inverse

	// Admittances between leads, as a matrix over the four of them.
	var y [4][4]complex128
	along := ym - s*complex(p.Lay*p.BetweenF/12, 0)
	own1, own2 := y1+s*complex(p.Coils[0].CapacitanceF, 0), y2+s*complex(p.Coils[1].CapacitanceF, 0)
	pair := func(i int, y11 complex128) {
		y[i][i] += y11
		y[i+1][i+1] += y11
		y[i][i+1] -= y11
		y[i+1][i] -= y11
	}
	pair(0, own1)
	pair(2, own2)
	quarter, ground := s*complex(p.BetweenF/4, 0), s*complex(p.GroundF/2+strayF, 0)
	for i := range 2 {
		for k := 2; k < 4; k++ {
			a := along
			if i == 1 != (k == 3) {
				a = -along
			}
			y[i][k] += a - quarter
			y[k][i] += a - quarter
		}
	}
	for i := range 4 {
		y[i][i] += 2*quarter + ground
	}
	i1, i2 := y1*emf[0]+ym*emf[1], ym*emf[0]+y2*emf[1]
	inject := [4]complex128{i1, -i1, i2, -i2}

	leads, n := c.nodes()
	var a [3][4]complex128 // with the right side as its last column
	for i, row := range leads {
		if row == 0 {
			continue
		}
		a[row-1][3] += inject[i]
		for k, column := range leads {
			if column > 0 {
				a[row-1][column-1] += y[i][k]
			}
		}
	}
	a[0][0] += complex(load.Conductance(), 0) + s*complex(load.CapacitanceF, 0)
	if load.LossF != 0 {
		a[0][0] += complex(load.LossF, 0) * LossTerm(s)
	}
	// Gaussian elimination from the last node to the first, the one that is asked for.
	for k := n - 1; k > 0; k-- {
		pivot := k
		if k == 2 && cmplx.Abs(a[1][2]) > cmplx.Abs(a[2][2]) {
			pivot = 1
		}
		a[k], a[pivot] = a[pivot], a[k]
		r := reciprocal(a[k][k])
		for i := range k {
			f := a[i][k] * r
			for _, j := range [...]int{0, 1, 3} {
				a[i][j] -= f * a[k][j]
			}
		}
	}
	return a[0][3] * reciprocal(a[0][0])
}

// Mutual is the mutual inductance at s in henry.
func (p *Pair) Mutual(s complex128) complex128 {
	k := complex(p.Coupling, 0)
	for _, r := range p.Shared {
		st := s * complex(r.TimeS, 0)
		k -= complex(r.Share, 0) * st * reciprocal(1+st)
	}
	return k * complex(math.Sqrt(p.Coils[0].InductanceH*p.Coils[1].InductanceH), 0)
}

// AsOne is the pair connected as one coil, at low frequency: its inductance, resistance and
// capacitance, without eddy currents.
func (p *Pair) AsOne(c PairConnection) Coil {
	a, b := p.Coils[0], p.Coils[1]
	m := p.Coupling * math.Sqrt(a.InductanceH*b.InductanceH)
	if c.Reversed {
		m = -m
	}
	var one Coil
	potentials := [4]float64{1, 0, 1, 0} // of the leads
	switch c.Wiring {
	case FirstAlone, SecondAlone:
		one = p.Coils[c.Wiring]
		potentials[2*(1-int(c.Wiring))] = 0 // the other coil's leads on ground
	case PairInSeries:
		one.InductanceH, one.ResistanceOhm = a.InductanceH+b.InductanceH+2*m, a.ResistanceOhm+b.ResistanceOhm
		middle := (b.InductanceH + m) / one.InductanceH
		potentials = [4]float64{1, middle, middle, 0}
	case PairInParallel:
		sum := a.ResistanceOhm + b.ResistanceOhm
		x, y := b.ResistanceOhm/sum, a.ResistanceOhm/sum
		one.InductanceH, one.ResistanceOhm = x*x*a.InductanceH+y*y*b.InductanceH+2*x*y*m, a.ResistanceOhm*b.ResistanceOhm/sum
	}
	if c.Reversed {
		potentials[2], potentials[3] = potentials[3], potentials[2]
	}
	square := func(i, k int) float64 { d := potentials[i] - potentials[k]; return d * d }
	one.CapacitanceF = a.CapacitanceF*square(0, 1) + b.CapacitanceF*square(2, 3)
	for i := range 2 {
		for k := range 2 {
			share := 0.25 - p.Lay/12
			if i == k {
				share = 0.25 + p.Lay/12
			}
			one.CapacitanceF += share * p.BetweenF * square(i, 2+k)
		}
	}
	for _, v := range potentials {
		one.CapacitanceF += p.GroundF / 2 * v * v
	}
	return one
}
