package circuit

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"strconv"
	"strings"
)

// Netlist says how WriteNetlist writes a network.
type Netlist struct {
	Title string
	// An analysis over frequency is asked for where PointsPerDecade > 0.
	FromHz, ToHz    float64
	PointsPerDecade int
	// Print are the nodes whose voltages the simulator shall print.
	Print []Node
}

// WriteNetlist writes the network as a netlist for ngspice and other
// simulators that read the language of SPICE2 (L. W. Nagel, 1975): a title
// line, a line for each part, .ac and .print, .end. Values are in SI units
// without prefix, to 12 digits.
func (n *Network) WriteNetlist(w io.Writer, how Netlist) error {
	if n.mistake != nil {
		return n.mistake
	}
	if how.PointsPerDecade > 0 && !(how.FromHz > 0 && how.ToHz >= how.FromHz && !math.IsInf(how.ToHz, 0)) {
		return fmt.Errorf("netlist: analysis from %g to %g Hz: want from above 0 up to more", how.FromHz, how.ToHz)
	}
	for _, at := range how.Print {
		if at < 0 || int(at) >= len(n.nodes) {
			return fmt.Errorf("netlist: node %d was not named", at)
		}
	}
	b := bufio.NewWriter(w)
	// The first line is the title whatever it says; line ends in it would
	// start parts.
	fmt.Fprintf(b, "* %s\n", strings.Join(strings.Fields(how.Title), " "))
	for _, p := range n.parts {
		n.writePart(b, p)
	}
	if how.PointsPerDecade > 0 {
		fmt.Fprintf(b, ".ac dec %d %s %s\n", how.PointsPerDecade, number(how.FromHz), number(how.ToHz))
		if len(how.Print) > 0 {
			fmt.Fprint(b, ".print ac")
			for _, at := range how.Print {
				fmt.Fprintf(b, " vdb(%s) vp(%[1]s)", n.nodes[at])
			}
			fmt.Fprintln(b)
		}
	}
	fmt.Fprintln(b, ".end")
	return b.Flush()
}

func (n *Network) writePart(b *bufio.Writer, p part) {
	ends := n.nodes[p.a] + " " + n.nodes[p.b]
	switch p.kind {
	case coupling:
		fmt.Fprintf(b, "K%s L%s L%s %s\n", p.name, n.parts[p.l1].name, n.parts[p.l2].name, number(p.value))
	case voltageSource, currentSource:
		magnitude, phase := polarDegrees(p.amplitude)
		fmt.Fprintf(b, "%c%s %s dc 0 ac %s %s\n", p.kind, p.name, ends, number(magnitude), number(phase))
	case voltageControlledSource:
		fmt.Fprintf(b, "E%s %s %s %s %s\n", p.name, ends, n.nodes[p.ca], n.nodes[p.cb], number(p.value))
	case resistor:
		if p.value == 0 {
			// Simulators put some small resistance in place of 0 ohm.
			fmt.Fprintf(b, "Vwire_%s %s dc 0\n", p.name, ends)
			return
		}
		fallthrough
	default:
		fmt.Fprintf(b, "%c%s %s %s\n", p.kind, p.name, ends, number(p.value))
	}
}

// number writes 12 digits: more would show rounding, not the part.
func number(x float64) string { return strconv.FormatFloat(x, 'g', 12, 64) }

func polarDegrees(x complex128) (magnitude, degrees float64) {
	magnitude, radians := cmplx.Polar(x)
	return magnitude, radians * 180 / math.Pi
}
