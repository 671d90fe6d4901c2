package data

import (
	"math"
	"strings"

	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

// Netlist is the fitted circuit of the coil for a circuit simulator, driven by
// an EMF of 1 V, from 20 Hz to 20 kHz. The error says what is not known of
// it.
func Netlist(r fit.Result) (string, error) {
	coil, withFixture, err := r.Circuit()
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
	err = network.WriteNetlist(&b, circuit.Netlist{Title: title, FromHz: 20, ToHz: 20e3, PointsPerDecade: 100,
		Print: []circuit.Node{out}})
	return b.String(), err
}
