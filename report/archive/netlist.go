package archive

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

// Netlist is the fitted circuit of the coil for a circuit simulator, driven by
// an EMF of 1 V, from 20 Hz to 20 kHz. The error says what is not known of
// it.
func Netlist(r fit.Result) (string, error) {
	coil, withFixture, err := circuitOf(r)
	if err != nil {
		return "", err
	}
	network, out, err := circuit.Harness{
		Coils:     []circuit.HarnessCoil{{Coil: coil, EMF: 1}},
		Wiring:    circuit.OneCoil,
		Amplifier: circuit.Load{ResistanceOhm: math.Inf(1)},
	}.Network()
	if err != nil {
		return "", err
	}
	title := "coil " + strings.Join(strings.Fields(r.Coil), " ") + ", fitted circuit, EMF 1 V"
	if withFixture {
		title += ", C with the fixture's"
	}
	var b strings.Builder
	err = network.WriteNetlist(&b, circuit.Netlist{Title: title, FromHz: 20, ToHz: 20e3, PointsPerDecade: 100, Print: []circuit.Node{out}})
	return b.String(), err
}

// circuitOf is the circuit that a result describes. withFixture: the coil's
// own C is not known, and the fixture's is part of it.
func circuitOf(r fit.Result) (coil circuit.Coil, withFixture bool, err error) {
	c := r.CapacitanceCoil
	if !c.Known() {
		c, withFixture = r.Capacitance, true
	}
	for _, q := range []struct {
		name string
		fit.Quantity
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
