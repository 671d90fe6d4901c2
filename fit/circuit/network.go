package circuit

import (
	"fmt"
	"math"
	"strings"
)

// Node is a node of a Network; Ground is the reference.
type Node int

// Ground is node 0.
const Ground Node = 0

type partKind byte

// The letters are those of circuit simulation netlists since SPICE2 (L. W.
// Nagel, SPICE2, University of California, Berkeley, 1975).
const (
	resistor                partKind = 'R'
	capacitor               partKind = 'C'
	inductor                partKind = 'L'
	coupling                partKind = 'K'
	voltageSource           partKind = 'V'
	currentSource           partKind = 'I'
	voltageControlledSource partKind = 'E'
)

type part struct {
	kind      partKind
	name      string
	a, b      Node // plus, minus
	ca, cb    Node // controlling nodes of E
	value     float64
	amplitude complex128 // of sources
	l1, l2    int        // parts that K couples
}

// Network is a linear network of resistors, capacitors, coupled inductors and
// sources, to be analysed at a complex frequency. The zero value is an empty
// network. The Add methods note the first mistake, which Err and NewAnalysis
// return, so that a network can be written down without a check at each part.
//
// Part names start with a letter and hold letters, digits and '_'; they are
// unique within the parts of one kind without regard to case, as are the names
// of nodes.
type Network struct {
	nodes   []string
	byNode  map[string]Node
	parts   []part
	byName  map[string]int
	mistake error
}

// Node is the node called name, added at its first mention; "0" and "gnd" are
// Ground.
func (n *Network) Node(name string) Node {
	if n.byNode == nil {
		n.byNode = map[string]Node{"0": Ground, "gnd": Ground}
		n.nodes = []string{"0"}
	}
	key := strings.ToLower(name)
	if at, ok := n.byNode[key]; ok {
		return at
	}
	if !plainName(name) {
		n.fail(fmt.Errorf("node name %q: want letters, digits and '_' only", name))
	}
	at := Node(len(n.nodes))
	n.nodes = append(n.nodes, key)
	n.byNode[key] = at
	return at
}

// Err is the first mistake made in building the network.
func (n *Network) Err() error { return n.mistake }

// AddResistor puts ohm >= 0 between a and b; 0 is a wire.
func (n *Network) AddResistor(name string, a, b Node, ohm float64) {
	n.addValue(part{kind: resistor, name: name, a: a, b: b, value: ohm}, "resistance", "ohm")
}

// AddCapacitor puts farad >= 0 between a and b.
func (n *Network) AddCapacitor(name string, a, b Node, farad float64) {
	n.addValue(part{kind: capacitor, name: name, a: a, b: b, value: farad}, "capacitance", "F")
}

// AddInductor puts henry >= 0 between a and b; its current flows from a to b,
// and the dot of its winding is at a.
func (n *Network) AddInductor(name string, a, b Node, henry float64) {
	n.addValue(part{kind: inductor, name: name, a: a, b: b, value: henry}, "inductance", "H")
}

// Couple couples two inductors by the factor k, |k| <= 1: their mutual
// inductance is k sqrt(L1 L2), dots as told by AddInductor.
func (n *Network) Couple(name, inductor1, inductor2 string, k float64) {
	p := part{kind: coupling, name: name, value: k}
	var ok1, ok2 bool
	p.l1, ok1 = n.byName[partKey(inductor, inductor1)]
	p.l2, ok2 = n.byName[partKey(inductor, inductor2)]
	switch {
	case !ok1 || !ok2:
		n.fail(fmt.Errorf("coupling %s: no inductors %s and %s to couple", name, inductor1, inductor2))
	case p.l1 == p.l2:
		n.fail(fmt.Errorf("coupling %s: inductor %s cannot be coupled to itself", name, inductor1))
	case !(math.Abs(k) <= 1):
		n.fail(fmt.Errorf("coupling %s: factor %g is not between -1 and 1", name, k))
	default:
		n.add(p)
	}
}

// AddVoltageSource puts a source of the given phasor between plus and minus.
func (n *Network) AddVoltageSource(name string, plus, minus Node, volt complex128) {
	n.add(part{kind: voltageSource, name: name, a: plus, b: minus, amplitude: volt})
}

// AddCurrentSource drives the given phasor through the source from plus to
// minus, so out of the network at plus and into it at minus.
func (n *Network) AddCurrentSource(name string, plus, minus Node, ampere complex128) {
	n.add(part{kind: currentSource, name: name, a: plus, b: minus, amplitude: ampere})
}

// AddVoltageControlledSource puts gain times the voltage between controlPlus
// and controlMinus between plus and minus.
func (n *Network) AddVoltageControlledSource(name string, plus, minus, controlPlus, controlMinus Node, gain float64) {
	if notFinite(gain) {
		n.fail(fmt.Errorf("source %s: gain %g", name, gain))
		return
	}
	n.add(part{kind: voltageControlledSource, name: name, a: plus, b: minus,
		ca: controlPlus, cb: controlMinus, value: gain})
}

func (n *Network) addValue(p part, what, unit string) {
	if !(p.value >= 0) || math.IsInf(p.value, 0) {
		n.fail(fmt.Errorf("%s of %s is %g %s: want 0 or more, and finite", what, p.name, p.value, unit))
		return
	}
	n.add(p)
}

func (n *Network) add(p part) {
	n.Node("0")
	for _, at := range [...]Node{p.a, p.b, p.ca, p.cb} {
		if at < 0 || int(at) >= len(n.nodes) {
			n.fail(fmt.Errorf("part %s: node %d was not named", p.name, at))
			return
		}
	}
	key := partKey(p.kind, p.name)
	if _, taken := n.byName[key]; taken {
		n.fail(fmt.Errorf("two parts of kind %c are called %s", p.kind, p.name))
		return
	}
	if !plainName(p.name) {
		n.fail(fmt.Errorf("part name %q: want letters, digits and '_' only", p.name))
		return
	}
	if n.byName == nil {
		n.byName = map[string]int{}
	}
	n.byName[key] = len(n.parts)
	n.parts = append(n.parts, p)
}

func (n *Network) fail(err error) {
	if n.mistake == nil {
		n.mistake = err
	}
}

func partKey(kind partKind, name string) string { return string(kind) + strings.ToLower(name) }

func plainName(name string) bool {
	return name != "" && !strings.ContainsFunc(name, func(r rune) bool {
		return !(r == '_' || r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z')
	})
}
