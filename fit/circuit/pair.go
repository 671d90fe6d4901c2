package circuit

import "math"

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

// ConnectedPair is a pair in a connection, with a load across what is connected.
type ConnectedPair struct {
	leads [4]int
	count int
	// farad is the matrix of the capacitances between the nodes, that of the load with them; what
	// stands in row and column 0, of ground, counts nowhere.
	farad [4][4]float64
	pair  Pair
	load  Load
}

// Connect is the pair connected to load.
func (p *Pair) Connect(c PairConnection, load Load) ConnectedPair {
	cp := ConnectedPair{pair: *p, load: load}
	cp.leads, cp.count = c.nodes()
	add := func(i, k int, farad float64) { cp.farad[cp.leads[i]][cp.leads[k]] += farad }
	for i := range 2 {
		own := p.Coils[i].CapacitanceF
		add(2*i, 2*i, own)
		add(2*i+1, 2*i+1, own)
		add(2*i, 2*i+1, -own)
		add(2*i+1, 2*i, -own)
		for k := range 2 {
			share := 0.25 - p.Lay/12
			if i == k {
				share = 0.25 + p.Lay/12
			}
			add(i, 2+k, -share*p.BetweenF)
			add(2+k, i, -share*p.BetweenF)
		}
	}
	for i := range 4 {
		add(i, i, p.BetweenF/2+p.GroundF/2+strayF)
	}
	cp.farad[1][1] += load.CapacitanceF
	return cp
}

// PairPoint is the windings of a pair at one complex frequency but for their resistances: the same
// in every connection.
type PairPoint struct {
	Point
	own    [2]complex128 // s L(s) of each coil
	mutual complex128    // s M(s)
}

// At is the pair's windings at a point.
func (p *Pair) At(at Point) PairPoint {
	s := at.S
	return PairPoint{Point: at, own: [2]complex128{s * p.Coils[0].Inductance(s), s * p.Coils[1].Inductance(s)},
		mutual: s * p.Mutual(s)}
}

// PairGradient holds the partial derivatives of the natural logarithm of a pair's Transfer with respect
// to the parts themselves, unlike those of Gradient.
type PairGradient struct {
	EMF         [2]complex128
	Branch      [2]complex128 // R + s L(s) of each coil
	Mutual      complex128    // s M(s)
	Capacitance [2]complex128 // of each coil, in farad
	BetweenF    complex128
	GroundF     complex128
	Lay         complex128
	Load        complex128 // the load's admittance
}

// Transfer is the voltage across the load at a point, where the coils have the EMFs emf. The pair that the
// point was made of may have other resistances and capacitances. No cover counts, and no dielectric loss of
// the coils: they are those of the EMFs and of the load. dst is set to the gradient, unless it is nil.
func (c *ConnectedPair) Transfer(at *PairPoint, emf [2]complex128, dst *PairGradient) complex128 {
	// The windings: i = Y (e - v) by Z = (Z1, sM; sM, Z2).
	z1 := complex(c.pair.Coils[0].ResistanceOhm, 0) + at.own[0]
	z2 := complex(c.pair.Coils[1].ResistanceOhm, 0) + at.own[1]
	inverse := reciprocal(z1*z2 - at.mutual*at.mutual)
	y1, y2, ym := z2*inverse, z1*inverse, -at.mutual*inverse

	var a [4][5]complex128 // by node, with the right side as its last column
	re, im := real(at.S), imag(at.S)
	for i := 1; i <= c.count; i++ {
		for k := 1; k <= c.count; k++ {
			a[i][k] = complex(re*c.farad[i][k], im*c.farad[i][k])
		}
	}
	p, q, r, s := c.leads[0], c.leads[1], c.leads[2], c.leads[3]
	a[p][p] += y1
	a[q][q] += y1
	a[p][q] -= y1
	a[q][p] -= y1
	a[r][r] += y2
	a[s][s] += y2
	a[r][s] -= y2
	a[s][r] -= y2
	a[p][r] += ym
	a[r][p] += ym
	a[q][s] += ym
	a[s][q] += ym
	a[p][s] -= ym
	a[s][p] -= ym
	a[q][r] -= ym
	a[r][q] -= ym
	i1, i2 := y1*emf[0]+ym*emf[1], ym*emf[0]+y2*emf[1]
	a[p][4] += i1
	a[q][4] -= i1
	a[r][4] += i2
	a[s][4] -= i2
	a[1][1] += complex(c.load.Conductance(), 0)
	if c.load.LossF != 0 {
		a[1][1] += complex(c.load.LossF, 0) * at.Loss
	}
	// Gaussian elimination from the last node to the first, the one that is asked for.
	var pivots [4]complex128
	for k := c.count; k > 1; k-- {
		if k == 3 && size(a[2][3]) > size(a[3][3]) {
			a[2], a[3] = a[3], a[2]
		}
		pivots[k] = reciprocal(a[k][k])
		for i := 1; i < k; i++ {
			f := a[i][k] * pivots[k]
			for j := 1; j < k; j++ {
				a[i][j] -= f * a[k][j]
			}
			a[i][4] -= f * a[k][4]
		}
	}
	pivots[1] = reciprocal(a[1][1])
	h := a[1][4] * pivots[1]
	if dst == nil {
		return h
	}
	// A v = b, h = v1: d ln h = w (db - dA v), where A w = (1/h, 0, 0), as A is its own transpose. Nothing of that
	// right side is eliminated.
	var v, w [4]complex128 // 0 on ground
	v[1], w[1] = h, pivots[1]*reciprocal(h)
	for k := 2; k <= c.count; k++ {
		v[k], w[k] = a[k][4], 0
		for j := 1; j < k; j++ {
			v[k] -= a[k][j] * v[j]
			w[k] -= a[k][j] * w[j]
		}
		v[k] *= pivots[k]
		w[k] *= pivots[k]
	}
	// Across the windings; dY = -Y dZ Y there.
	v1, v2, w1, w2 := v[p]-v[q], v[r]-v[s], w[p]-w[q], w[r]-w[s]
	e1, e2 := emf[0]-v1, emf[1]-v2
	i1, i2 = y1*e1+ym*e2, ym*e1+y2*e2
	j1, j2 := y1*w1+ym*w2, ym*w1+y2*w2
	dst.EMF = [2]complex128{j1, j2}
	dst.Branch = [2]complex128{-j1 * i1, -j2 * i2}
	dst.Mutual = -j1*i2 - j2*i1
	dst.Capacitance = [2]complex128{-at.S * w1 * v1, -at.S * w2 * v2}
	// Twice the mean potentials of the windings, and what goes along them.
	squares := w[p]*v[p] + w[q]*v[q] + w[r]*v[r] + w[s]*v[s]
	along := at.S / 12 * (w1*v2 + w2*v1)
	dst.Lay = along * complex(c.pair.BetweenF, 0)
	dst.BetweenF = along*complex(c.pair.Lay, 0) -
		at.S/4*(2*squares-(w[p]+w[q])*(v[r]+v[s])-(w[r]+w[s])*(v[p]+v[q]))
	dst.GroundF = -at.S / 2 * squares
	dst.Load = -w[1] * h
	return h
}

// size orders complex numbers as their absolute values do.
func size(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }

// Mutual is the mutual inductance at s in henry.
func (p *Pair) Mutual(s complex128) complex128 {
	// Shared metal takes as much off as loops off a coil.
	c := Coil{InductanceH: p.meanH(), Rings: p.Shared}
	return c.Inductance(s) + complex((p.Coupling-1)*c.InductanceH, 0)
}

// MutualGradient is the derivative of s M(s) by Coupling, and sets those by shared metal in dst, as a Gradient
// holds those by eddy-current loops.
func (p *Pair) MutualGradient(s complex128, dst *Gradient) (byCoupling complex128) {
	c := Coil{InductanceH: p.meanH(), Rings: p.Shared}
	c.BranchGradient(s, dst)
	return s * complex(c.InductanceH, 0)
}

func (p *Pair) meanH() float64 { return math.Sqrt(p.Coils[0].InductanceH * p.Coils[1].InductanceH) }

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
