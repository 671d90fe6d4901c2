package fit

import (
	"errors"
	"fmt"
	"math"

	"coilsweep/fit/circuit"
)

// Circuit is the coil that a result describes. withFixture: the coil's own C is
// not known, and the fixture's is part of it. The error names the unknown value.
func (r *Result) Circuit() (coil circuit.Coil, withFixture bool, err error) {
	c := r.CapacitanceCoil
	if !c.Known() {
		c, withFixture = r.Capacitance, true
	}
	for _, q := range []struct {
		name string
		Quantity
	}{{"inductance", r.Inductance}, {"resistance", r.Resistance}, {"capacitance", c}} {
		if !q.Known() {
			return coil, false, fmt.Errorf("the %s is not known: %s", q.name, q.Why)
		}
	}
	coil = circuit.Coil{InductanceH: r.Inductance.Value, ResistanceOhm: r.Resistance.Value, CapacitanceF: c.Value}
	for _, e := range r.Eddy {
		if !e.Share.Known() || !e.Corner.Known() || !(e.Corner.Value > 0) {
			return coil, false, errors.New("a loss by eddy currents is not known")
		}
		ring := circuit.Ring{Share: e.Share.Value, TimeS: 1 / (2 * math.Pi * e.Corner.Value)}
		if e.Form == "cylinder" {
			coil.Cylinder = ring
		} else {
			coil.Rings = append(coil.Rings, ring)
		}
	}
	if q := r.CoverCorner; q != nil {
		if !q.Known() || !(q.Value > 0) {
			return coil, false, errors.New("the cover's shielding is not known")
		}
		coil.CoverTimeS = 1 / (2 * math.Pi * q.Value)
	}
	return coil, withFixture, nil
}
