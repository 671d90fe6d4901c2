package pair

import (
	"math"

	"coilsweep/fit/circuit"
)

// chain leads from the derivatives of a response by the parts of the circuit to those by the columns, at
// the takes of one place.
type chain struct {
	*model
	pair *circuit.Pair
	x    []float64
	at   int // first column of the place
	// taken is how much a loop takes of what those before leave.
	taken [2][mostLoops]float64
	loads [][]part // by take
	drift []float64

	// What all takes have in common at a frequency: derivatives of R + s L(s) of the coils, and of s M(s)
	// by shared metal and by the coupling; s M(s) itself; what the second column of the place is multiplied
	// with.
	point                     circuit.Point
	coils                     [2]circuit.Gradient
	shared                    circuit.Gradient
	byCoupling, mutual, metal complex128
}

// part is by what the admittance across a take changes with a column: a conductance, a capacitance, a
// capacitance times its dissipation factor.
type part struct {
	column               int
	siemens, farad, loss float64
}

func (m *model) newChain(p *circuit.Pair, place int, x []float64) *chain {
	c := &chain{model: m, pair: p, x: x, at: m.place + ofPlace*place}
	for i := range c.taken {
		for k := range m.loops {
			c.taken[i][k] = 1 / (1 + math.Exp(-x[m.coil[i]+3+2*k]))
		}
	}
	for t, l := range m.loads {
		var parts []part
		for _, r := range l.resistors {
			parts = append(parts, part{column: r.at, siemens: -math.Exp(-x[r.at])})
		}
		for _, f := range l.capacitors {
			own := part{column: f.at, farad: math.Exp(x[f.at])}
			if f.loss >= 0 {
				own.loss = own.farad * x[f.loss]
				parts = append(parts, part{column: f.loss, loss: own.farad})
			}
			parts = append(parts, own)
		}
		c.loads, c.drift = append(c.loads, parts), append(c.drift, math.Exp(x[m.take+perTake*t+2]))
	}
	return c
}

// to goes to a frequency.
func (c *chain) to(p circuit.Point, metal complex128) {
	c.point, c.metal = p, metal
	for i := range c.coils {
		c.pair.Coils[i].BranchGradient(p.S, &c.coils[i])
	}
	c.byCoupling = c.pair.MutualGradient(p.S, &c.shared)
	c.mutual = p.S * c.pair.Mutual(p.S)
}

// write writes the derivatives of the logarithm of take t's response, d by the parts, into the rows of its
// real and imaginary part, which are empty.
func (c *chain) write(t int, d *circuit.PairGradient, re, im []float64) {
	set := func(column int, v complex128) { re[column], im[column] = real(v), imag(v) }
	p, x := c.pair, c.x
	set(c.at, d.EMF[1]*(1+complex(x[c.at+1], 0)*c.metal))
	set(c.at+1, d.EMF[1]*complex(x[c.at], 0)*c.metal)
	set(atCoupling, d.Mutual*c.byCoupling)
	set(atBetween, d.BetweenF*complex(p.BetweenF, 0))
	set(atGround, d.GroundF*complex(p.GroundF, 0))
	set(atLay, d.Lay)
	// Metal in common has the mean time constant of the loops of both coils.
	var byTime [mostLoops]complex128
	for k := range p.Shared {
		set(atShared+k, d.Mutual*c.shared.RingShare[k])
		byTime[k] = d.Mutual * c.shared.LnRingTime[k]
	}
	byTime[0] += d.EMF[1] * complex(x[c.at]*x[c.at+1], 0) * c.metal * (1 - c.metal)
	var byDrift complex128
	for i := range p.Coils {
		at, g := c.coil[i], &c.coils[i]
		byR := d.Branch[i] * g.LnResistance * complex(c.drift[t], 0)
		byDrift += byR
		set(at, d.Branch[i]*g.LnInductance+d.Mutual*c.mutual/2)
		set(at+1, byR)
		set(at+2, d.Capacitance[i]*complex(p.Coils[i].CapacitanceF, 0))
		var later complex128 // what all loops after this one take off
		for k := len(p.Coils[i].Rings) - 1; k >= 0; k-- {
			taken, of := c.taken[i][k], complex(p.Coils[i].Rings[k].Share, 0)*g.RingShare[k]
			set(at+3+2*k, d.Branch[i]*(complex(1-taken, 0)*of-complex(taken, 0)*later))
			set(at+4+2*k, d.Branch[i]*g.LnRingTime[k]+byTime[k]/2)
			later += of
		}
	}
	take := c.take + perTake*t
	set(take+2, byDrift)
	for _, l := range c.loads[t] {
		set(l.column, d.Load*(complex(l.siemens, 0)+c.point.S*complex(l.farad, 0)+c.point.Loss*complex(l.loss, 0)))
	}
	re[take], im[take+1] = 1, -imag(c.point.S)*1e-6
}
