// Package quantity holds physical values as people write them: with SI
// prefixes, in the marking code of IEC 60062 ("4k7", "2n2"), with a tolerance
// and, for resistances, with the temperature of the reading.
//
// A value keeps the text it was typed as, its size in SI units, and its
// standard uncertainty. A tolerance is a limit ±a and gives u = a/sqrt(3)
// (rectangular distribution, JCGM 100:2008, 4.3.7); a value marked U95 is an
// expanded uncertainty with k = 2.
package quantity

// Unit is the SI unit of a value.
type Unit string

// The units that coilsweep reads and prints.
const (
	Ohm    Unit = "ohm"
	Farad  Unit = "F"
	Henry  Unit = "H"
	Hertz  Unit = "Hz"
	Second Unit = "s"
	Metre  Unit = "m"
)

// Basis says how the uncertainty of a value was stated.
type Basis string

// The ways to state an uncertainty.
const (
	// Unstated: no tolerance was given.
	Unstated Basis = ""
	// Limit: the value lies within ±Half ("1%").
	Limit Basis = "limit"
	// Expanded: Half is an expanded uncertainty with k = 2 ("0.3% U95").
	Expanded Basis = "U95"
)

// Value is one physical value in the SI unit Unit.
type Value struct {
	SI    float64 // size, in Unit
	Half  float64 // stated half-width, in Unit; its meaning is Basis
	Basis Basis
	Unit  Unit
	// Celsius is the temperature of the reading in °C, nil where none was
	// given ("7.85k@22C").
	Celsius *float64
	// Text is the value as it was typed.
	Text string
}

// The typed values, so that a field cannot hold the wrong unit. Each decodes
// from text (TOML strings, flags) and encodes to the text it came from.
type (
	// Resistance in ohm.
	Resistance struct{ Value }
	// Capacitance in farad.
	Capacitance struct{ Value }
	// Inductance in henry.
	Inductance struct{ Value }
)
