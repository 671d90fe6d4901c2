package virtual

import (
	"encoding/binary"
	"hash/fnv"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
)

// parts are the true values of what the user connected across the coil.
type parts struct {
	loadC float64 // F; 0: none
	loadR float64 // ohm; 0: none
}

// trueParts turns what is written on the added parts into what they are.
// load.FixtureC and FixtureR are what the user knows of the fixture; the bench
// has its own.
func (b Bench) trueParts(load capture.Load, seed uint64) (parts, error) {
	var p parts
	c := &checker{}
	if load.AddedC != nil {
		for i, v := range load.AddedC.Components() {
			c.part("added capacitor", v, 0, 1e-3, true)
			p.loadC += v.SI * (1 + trueError(v, i, b.Added.CError, seed))
		}
	}
	if load.AddedR != nil {
		for i, v := range load.AddedR.Components() {
			c.part("added resistor", v, 1e-3, 1e12, false)
			r := v.SI * (1 + trueError(v, i, b.Added.RError, seed))
			if p.loadR > 0 {
				r = parallel(p.loadR, r)
			}
			p.loadR = r
		}
	}
	if c.err != nil {
		return parts{}, c.err
	}
	if !finite(p.loadC) || p.loadC < 0 || !finite(p.loadR) || p.loadR < 0 {
		return parts{}, &FieldError{Key: "added part", Text: "its tolerance lets it be negative; state a smaller one"}
	}
	return p, nil
}

// trueError is the relative error of one part: as stated, else drawn. Of parts in
// parallel number counts from 0: two of the same value are two pieces.
func trueError(v quantity.Value, number int, stated *float64, seed uint64) float64 {
	if stated != nil {
		return *stated
	}
	if v.Half == 0 || v.SI == 0 {
		return 0
	}
	draw := rand.New(rand.NewPCG(seed, hash("part", string(v.Unit), v.SI)+uint64(number)))
	switch v.Basis {
	case quantity.Limit:
		return v.Half / v.SI * (2*draw.Float64() - 1)
	case quantity.Expanded:
		return v.Half / 2 / v.SI * draw.NormFloat64()
	}
	return 0
}

// hash makes a stream number from words and numbers.
func hash(words ...any) uint64 {
	h := fnv.New64a()
	for _, w := range words {
		switch w := w.(type) {
		case string:
			h.Write([]byte(w))
			h.Write([]byte{0})
		case float64:
			var bits [8]byte
			binary.LittleEndian.PutUint64(bits[:], math.Float64bits(w))
			h.Write(bits[:])
		}
	}
	return h.Sum64()
}

// parallel is the resistance of a and b side by side; 0 means there is none.
func parallel(a, b float64) float64 {
	g := 0.0
	for _, r := range []float64{a, b} {
		if r > 0 {
			g += 1 / r
		}
	}
	return 1 / g // +Inf where there is neither
}

// network is the circuit with p connected across the coil.
func (b Bench) network(p parts) network {
	l := b.Coil.Inductance.SI
	nw := network{
		coil:          loop{l, b.copper(b.Coil)},
		currentDriven: b.Exciter.Drive == "current",
		outputR:       b.Output.Resistance.SI,
		exciter: loop{
			inductance: b.Exciter.Inductance.SI,
			resistance: b.Exciter.Resistance.SI + b.Exciter.SeriesR.SI + b.senseR(),
		},
		loadR: parallel(b.Fixture.Resistance.SI, p.loadR),
	}
	winding, late := dielectric(b.Coil.WindingC.SI, b.Coil.WindingLoss)
	added, later := dielectric(p.loadC, b.Added.CLoss)
	nw.capacitance = winding + b.Fixture.Capacitance.SI + added
	nw.relaxations = append(late, later...)
	number := map[string]int{}
	if second := b.Second; second != nil {
		nw.rings = append(nw.rings, loop{second.Inductance.SI, b.copper(second.Coil)})
		nw.capacitance -= winding
		second.join(&nw, winding)
	}
	firstRing := 1 + len(nw.rings)
	for i, r := range b.Coil.Rings {
		nw.rings = append(nw.rings, loop{r.Inductance.SI, r.Resistance.SI})
		number[r.Name] = firstRing + i
	}
	secondsRing := 1 + len(nw.rings)
	if b.Second != nil {
		for _, r := range b.Second.Rings {
			nw.rings = append(nw.rings, loop{r.Inductance.SI, r.Resistance.SI})
		}
	}
	if b.Cover != nil {
		nw.rings = append(nw.rings, loop{b.Cover.Inductance.SI, b.Cover.Resistance.SI})
	}
	nw.mutual = mat.NewSymDense(1+len(nw.rings), nil)
	between := func(i, j int, coupling float64) {
		li, lj := l, nw.rings[j-1].inductance
		if i > 0 {
			li = nw.rings[i-1].inductance
		}
		nw.mutual.SetSym(i, j, coupling*math.Sqrt(li*lj))
	}
	for i, r := range b.Coil.Rings {
		between(0, firstRing+i, r.Coupling)
	}
	if second := b.Second; second != nil {
		between(0, 1, second.Coupling)
		for i, r := range second.Rings {
			between(1, secondsRing+i, r.Coupling)
		}
	}
	for _, m := range b.Coil.Mutual {
		i, j := number[m.Between[0]], number[m.Between[1]]
		between(min(i, j), max(i, j), m.Coupling)
	}
	nw.exciterMutual = make([]float64, 1+len(nw.rings))
	nw.exciterMutual[0] = b.Exciter.Mutual.SI
	if b.Second != nil {
		nw.exciterMutual[1] = b.Second.Field * b.Exciter.Mutual.SI
	}
	if k := b.Cover; k != nil {
		last := len(nw.rings)
		between(0, last, k.Coupling)
		// The current in the cover sends a part of the exciter's flux back. At
		// high frequency the flux in the coil is M - M_coil,cover
		// M_exciter,cover / L_cover: this mutual takes Shielding of it away.
		nw.exciterMutual[last] = k.Shielding * b.Exciter.Mutual.SI * k.Inductance.SI / nw.mutual.At(0, last)
	}
	return nw
}

// senseR is the sense resistor in the exciter's loop; 0: none.
func (b Bench) senseR() float64 {
	if b.Reference.Kind == "current" {
		return b.Reference.SenseR.SI
	}
	return 0
}
