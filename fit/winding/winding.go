// Package winding checks the measurements against how the coil was wound: the
// resistance that wire, turns and bobbin should have, the turns that a resistance
// means, the inductance against that of the winding without pole pieces and
// magnets, and the effect of shorted turns.
//
// Copper is that of IEC 60028, wire that of ASTM B258 or its bare diameter
// (package exciter). A turn lies on an oblong core with round ends of length a
// and width b, at the depth x: 2 (a-b) + pi b + 2 pi x long.
package winding

import (
	"errors"
	"fmt"
	"math"

	"coilsweep/capture"
	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

// Plan is how a coil was wound, in SI units.
type Plan struct {
	Wire        exciter.Wire
	Turns       int // 0: not counted
	CoreLengthM float64
	CoreWidthM  float64
	HeightM     float64 // between the flanges
	Grade       int     // of the wire's insulation build; 0: not stated, and taken to be 1
	RoomM       float64 // how deep a winding may be; 0: not stated
}

// ErrNoWinding: coil.toml does not say how the coil was wound.
var ErrNoWinding = errors.New("coil.toml does not say how the coil was wound: fill in [winding]")

// PlanOf reads the winding of a coil. The errors name the key of coil.toml.
func PlanOf(coil capture.Coil) (Plan, error) {
	w := coil.Winding
	if w == nil {
		return Plan{}, ErrNoWinding
	}
	p := Plan{Turns: w.Turns}
	var err error
	if p.Wire, err = exciter.ParseWire(w.Wire); err != nil {
		return p, fmt.Errorf("coil.toml: winding.wire: %w", err)
	}
	for _, l := range []struct {
		key, text string
		to        *float64
	}{{"core_length", w.CoreLength, &p.CoreLengthM}, {"core_width", w.CoreWidth, &p.CoreWidthM},
		{"height", w.Height, &p.HeightM}} {
		if *l.to, err = quantity.ParseMetres(l.text); err != nil {
			return p, fmt.Errorf("coil.toml: winding.%s: %w", l.key, err)
		}
		if !(*l.to > 0 && *l.to < 1) {
			return p, fmt.Errorf("coil.toml: winding.%s is %s: want a length above zero and below 1 m", l.key, l.text)
		}
	}
	if w.Room != "" {
		if p.RoomM, err = quantity.ParseMetres(w.Room); err != nil {
			return p, fmt.Errorf("coil.toml: winding.room: %w", err)
		}
		if !(p.RoomM > 0 && p.RoomM < 0.1) {
			return p, fmt.Errorf("coil.toml: winding.room is %s: want a depth above zero and below 0.1 m", w.Room)
		}
	}
	if p.Grade = w.Grade; p.Grade > 0 {
		if p.Wire, err = p.Wire.WithGrade(p.Grade); err != nil {
			return p, fmt.Errorf("coil.toml: winding.grade: %w", err)
		}
	}
	if p.CoreWidthM > p.CoreLengthM {
		return p, errors.New("coil.toml: winding.core_width is more than core_length")
	}
	return p, nil
}

const (
	// WireLimit bounds the resistance per metre of thin wire about its nominal
	// value, between 0.05 and 0.1 mm (typical value, no source).
	WireLimit = 0.08
	// StretchLimit is what winding tension may add (common practice).
	StretchLimit = 0.05
	// Packing of a winding by hand or on a simple machine, and its limits
	// (common practice).
	Packing, PackingLimit = float64(exciter.HandGuided), 0.15
)

// DepthM is how deep turns lie, by their packing.
func (p Plan) DepthM(turns, packing float64) float64 {
	return max(turns*p.Wire.OuterM*p.Wire.OuterM/(packing*p.HeightM), p.Wire.OuterM)
}

// MeanTurnM is the length of the mean turn.
func (p Plan) MeanTurnM(turns float64) float64 { return p.meanTurnM(turns, Packing) }

func (p Plan) meanTurnM(turns, packing float64) float64 {
	return 2*(p.CoreLengthM-p.CoreWidthM) + math.Pi*p.CoreWidthM + math.Pi*p.DepthM(turns, packing)
}

// OhmAt is the resistance of turns with a packing at a temperature, in ohm.
func (p Plan) OhmAt(turns, packing, celsius float64) float64 {
	return turns * p.meanTurnM(turns, packing) * p.Wire.OhmPerMetre(celsius)
}

// Resistance is what so many turns should have at a temperature. Its
// uncertainty is that of the wire, its stretch and the packing.
func (p Plan) Resistance(turns int, celsius float64) fit.Quantity {
	n := float64(turns)
	r := p.OhmAt(n, Packing, celsius)
	byPacking := (p.OhmAt(n, Packing-PackingLimit, celsius) - p.OhmAt(n, Packing+PackingLimit, celsius)) / 2
	u := math.Sqrt((WireLimit*WireLimit+StretchLimit*StretchLimit)*r*r+byPacking*byPacking) / math.Sqrt(3)
	return fit.Quantity{Value: r, U: u, U95: quantity.Coverage95 * u}
}

// TurnsOf is how many turns a resistance at a temperature stands for.
func (p Plan) TurnsOf(ohm, uOhm, celsius float64) fit.Quantity {
	low, high := 0.0, 1.0
	for p.OhmAt(high, Packing, celsius) < ohm {
		if high *= 2; high > 1e7 {
			return fit.Unknown("no number of turns of this wire has that resistance")
		}
	}
	for range 60 {
		if mid := (low + high) / 2; p.OhmAt(mid, Packing, celsius) < ohm {
			low = mid
		} else {
			high = mid
		}
	}
	n := (low + high) / 2
	expected := p.Resistance(int(math.Round(max(n, 1))), celsius)
	slope := (p.OhmAt(1.01*n, Packing, celsius) - p.OhmAt(0.99*n, Packing, celsius)) / (0.02 * n)
	u := math.Hypot(expected.U, uOhm) / slope
	return fit.Quantity{Value: n, U: u, U95: quantity.Coverage95 * u}
}

// AirInductance is roughly the inductance of so many turns without pole pieces or
// magnets, in H: that of a round winding of the same area. For an oblong one it
// is some 10 to 20 % too low.
func (p Plan) AirInductance(turns int) (float64, error) {
	h, err := p.AirPerTurn2H(float64(turns), Packing)
	return h * float64(turns) * float64(turns), err
}

// AirPerTurn2H is AirInductance over the square of the turns: what the shape of the
// winding makes of it, in H.
func (p Plan) AirPerTurn2H(turns, packing float64) (float64, error) {
	depth := p.DepthM(turns, packing)
	a, b := p.CoreLengthM+depth, p.CoreWidthM+depth // of the mean turn
	area := (a-b)*b + math.Pi/4*b*b
	radius := math.Sqrt(area / math.Pi)
	if depth > 2*radius {
		return 0, errors.New("the winding is deeper than the core leaves room for in a round one")
	}
	return exciter.Coil{MeanRadiusM: radius, LengthM: p.HeightM, DepthM: depth, Turns: 1, Wire: p.Wire}.InductanceH()
}

// turnCoupling is the share k² of the inductance that some turns of a winding,
// closed on themselves, can shield: the turns of one winding share most of
// their flux (common practice: 0.6 to 0.9).
const turnCoupling = 0.7

// Shorted is what a part of the turns, closed on themselves, does to a coil.
type Shorted struct {
	Part        float64 // of the turns
	ResonanceHz float64 // NaN: it does not resonate any more
	Q           float64
}

// ShortTurns works out a coil with a part of its turns shorted: n of N turns have
// L (n/N)² and R n/N, so that they are an eddy-current loop with the time
// constant (n/N) L/R; they are missing from the resistance.
func ShortTurns(coil circuit.Coil, part float64) Shorted {
	c := coil
	c.Rings = append(append([]circuit.Ring{}, coil.Rings...),
		circuit.Ring{Share: turnCoupling * (1 - lost(coil)), TimeS: part * coil.InductanceH / coil.ResistanceOhm})
	c.ResistanceOhm *= 1 - part
	s := Shorted{Part: part, ResonanceHz: math.NaN(), Q: math.NaN()}
	if hz, q, ok := c.Resonance(circuit.Load{ResistanceOhm: math.Inf(1)}); ok {
		s.ResonanceHz, s.Q = hz, q
	}
	return s
}

// lost is the share of L that loops and solid core have already.
func lost(c circuit.Coil) float64 {
	sum := c.Cylinder.Share
	for _, r := range c.Rings {
		sum += r.Share
	}
	return min(sum, 1)
}

// PartOfRing is the part of the turns that a loop with that corner means if it is
// shorted turns: (n/N) = R/(2 pi corner L).
func PartOfRing(inductanceH, resistanceOhm, cornerHz float64) float64 {
	return resistanceOhm / (2 * math.Pi * cornerHz * inductanceH)
}
