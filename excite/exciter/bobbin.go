package exciter

import (
	"fmt"

	"coilsweep/excite/quantity"
)

// Bobbin is the room for a winding.
type Bobbin struct {
	CoreDiameterM   float64 // on which the first turn lies
	FlangeDiameterM float64 // to which it may be filled
	LengthM         float64 // between the flanges
}

// Packing says how well a winding fills its window: the turns times the square
// of the wire's outer diameter, over the window. Turns in square order have 1,
// neatly nested layers up to 1.15.
type Packing float64

// HandGuided is a scatter-wound coil, the wire guided by hand (common practice:
// 0.7 ... 0.9).
const HandGuided Packing = 0.8

func (b Bobbin) check() error {
	if !(b.CoreDiameterM >= 0 && b.FlangeDiameterM > b.CoreDiameterM && b.LengthM > 0) {
		return fmt.Errorf("a bobbin needs a length and a flange wider than its core, not core %s, flange %s, length %s",
			metres(b.CoreDiameterM), metres(b.FlangeDiameterM), metres(b.LengthM))
	}
	return nil
}

func (b Bobbin) depth() float64 { return (b.FlangeDiameterM - b.CoreDiameterM) / 2 }

// TurnsThatFit is how many turns of a wire the window holds.
func (b Bobbin) TurnsThatFit(w Wire, packing Packing) int {
	if b.check() != nil || w.OuterM > b.LengthM || w.OuterM > b.depth() {
		return 0
	}
	return int(float64(packing) * b.LengthM * b.depth() / (w.OuterM * w.OuterM) * (1 + 1e-12))
}

// Wind puts turns on the bobbin: over its whole length, as deep as they need.
// The error says how many turns would fit.
func (b Bobbin) Wind(w Wire, turns int, packing Packing) (Coil, error) {
	if err := b.check(); err != nil {
		return Coil{}, err
	}
	switch fit := b.TurnsThatFit(w, packing); {
	case !(packing > 0.1 && packing <= 1.2):
		return Coil{}, fmt.Errorf("a packing of %g is not possible: want 0.1 to 1.2", packing)
	case !(w.BareM > 0 && w.OuterM >= w.BareM):
		return Coil{}, fmt.Errorf("the wire needs a bare diameter above zero and an outer one no smaller")
	case turns < 1 || turns > fit:
		return Coil{}, fmt.Errorf("%d turns of %s cannot be wound on this bobbin: from 1 to %d turns fit", turns, w.Name, fit)
	}
	depth := max(float64(turns)*w.OuterM*w.OuterM/(float64(packing)*b.LengthM), w.OuterM)
	return Coil{MeanRadiusM: (b.CoreDiameterM + depth) / 2, LengthM: b.LengthM, DepthM: depth, Turns: turns, Wire: w}, nil
}

func metres(x float64) string { return quantity.Format(x, quantity.Metre, 3) }
