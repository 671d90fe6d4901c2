// Package quantity holds physical values as people write them: with SI
// prefixes, in the marking code of IEC 60062 ("4k7", "2n2"), with a tolerance
// and, for resistances, with the temperature of the reading.
//
// A value keeps the text it was typed as, its size in SI units, and its
// standard uncertainty. A tolerance is a limit ±a and gives u = a/sqrt(3)
// (rectangular distribution, JCGM 100:2008, 4.3.7); a value marked U95 is an
// expanded uncertainty with k = 2.
//
// What is written, with examples:
//
//	number, prefix, unit   470p  470pF  2.41 H  100k  1 Mohm  1MΩ  4.7e3
//	IEC 60062 letter code  R47  4R7  4k7  47K3  p33  3p3  2n2  4u7  1m0  2H4
//	tolerance (a limit)    470p 1%  470p,1%  470p ±2p  470pK  4K7K  3p3 C
//	accuracy of a meter    2.31H 0.5% + 2 digits  7.85k 3 digits
//	expanded uncertainty   470p 0.3% U95
//	temperature            7.85k@22C 0.5%
//	dielectric             470p 1% C0G  2n2 5% film PP  22n polyester
//	however unusual        785 really
//	parts in parallel      470p 1% || 220p 1%  100k || 100k 5%
//
// A digit of a meter is one unit in the last place as written: 0.01 H for
// "2.31H", 0.001 H for "2.310H".
//
// Case decides between milli and mega; k and K are both kilo. A comma never
// stands for a decimal point: "4,7k" is refused, unless WithPoint has made it one.
package quantity

import (
	"math"
	"strconv"
	"strings"
)

// Unit is the SI unit of a value.
type Unit string

// The units that coilsweep reads and prints.
const (
	Ohm     Unit = "ohm"
	Farad   Unit = "F"
	Henry   Unit = "H"
	Hertz   Unit = "Hz"
	Second  Unit = "s"
	Metre   Unit = "m"
	Volt    Unit = "V"
	Decibel Unit = "dB" // printed only
	Ratio   Unit = ""   // a plain number, such as a Q
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
	// Dielectric is that of a capacitor ("470p 1% C0G").
	Dielectric Dielectric
	// Insisted: the value is right, however unusual ("785 really").
	Insisted bool
	// Parallel are the parts of which it is made, connected in parallel ("470p 1% || 220p
	// 1%"); nil: it is one part.
	Parallel []Value
	// Text is the value as it was typed; "" for a value made by a program.
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

// U is the standard uncertainty in Unit: Half/sqrt(3) for a limit, Half/2 for
// an expanded uncertainty, 0 where none was stated.
func (v Value) U() float64 {
	switch v.Basis {
	case Limit:
		return v.Half / math.Sqrt(3)
	case Expanded:
		return v.Half / 2
	}
	return 0
}

// Coverage95 is the factor from a standard uncertainty to the expanded one for
// 95 %: the 97.5 % point of the normal distribution (JCGM 100:2008, G.1.3).
const Coverage95 = 1.959963984540054

// U95 is the expanded uncertainty in Unit: Half where it was stated as such,
// else Coverage95 times U; 0 where none was stated.
func (v Value) U95() float64 {
	if v.Basis == Expanded {
		return v.Half
	}
	return Coverage95 * v.U()
}

// String is the text as typed, or else a text that Parse reads back to the
// same value bit for bit.
func (v Value) String() string {
	if v.Text != "" {
		return v.Text
	}
	var b strings.Builder
	b.WriteString(exactText(v.SI, v.Unit))
	if v.Celsius != nil {
		b.WriteString("@" + strconv.FormatFloat(*v.Celsius, 'f', -1, 64) + "C")
	}
	if v.Basis != Unstated {
		b.WriteString(" ±" + exactText(v.Half, v.Unit))
	}
	if v.Basis == Expanded {
		b.WriteString(" U95")
	}
	if v.Dielectric != UnstatedDielectric {
		b.WriteString(" " + string(v.Dielectric))
	}
	if v.Insisted {
		b.WriteString(" " + InsistWord)
	}
	return b.String()
}

// MarshalText gives String; an error where that would not be read back.
func (v Value) MarshalText() ([]byte, error) {
	text := v.String()
	if _, err := Parse(text, v.Unit); err != nil {
		return nil, err
	}
	return []byte(text), nil
}

// ParseResistance reads a resistance such as "7.85k@22C 0.5%".
func ParseResistance(text string) (Resistance, error) {
	v, err := Parse(text, Ohm)
	return Resistance{v}, err
}

// SeriesResistance is a resistance in series with something; "0": there is none.
type SeriesResistance struct{ Resistance }

// ParseSeriesResistance reads a resistance, or "0".
func ParseSeriesResistance(text string) (SeriesResistance, error) {
	if none := strings.TrimSpace(text); none == "0" {
		return SeriesResistance{Resistance{Value{Unit: Ohm, Text: none}}}, nil
	}
	r, err := ParseResistance(text)
	return SeriesResistance{r}, err
}

// MarshalText gives String.
func (r SeriesResistance) MarshalText() ([]byte, error) {
	if _, err := ParseSeriesResistance(r.String()); err != nil {
		return nil, err
	}
	return []byte(r.String()), nil
}

// UnmarshalText reads what ParseSeriesResistance reads.
func (r *SeriesResistance) UnmarshalText(b []byte) error { return r.UnmarshalTOML(string(b)) }

// UnmarshalTOML reads a string as ParseSeriesResistance does, or a bare number in ohm.
func (r *SeriesResistance) UnmarshalTOML(x any) error {
	read, err := ParseSeriesResistance(textOf(x))
	if err == nil {
		*r = read
	}
	return err
}

// ParseCapacitance reads a capacitance such as "470p 1%".
func ParseCapacitance(text string) (Capacitance, error) {
	v, err := Parse(text, Farad)
	return Capacitance{v}, err
}

// ParseInductance reads an inductance such as "2.41 H".
func ParseInductance(text string) (Inductance, error) {
	v, err := Parse(text, Henry)
	return Inductance{v}, err
}

// UnmarshalText reads what Parse reads.
func (r *Resistance) UnmarshalText(b []byte) (err error) { return r.parse(string(b), Ohm) }

// UnmarshalText reads what Parse reads.
func (c *Capacitance) UnmarshalText(b []byte) (err error) { return c.parse(string(b), Farad) }

// UnmarshalText reads what Parse reads.
func (l *Inductance) UnmarshalText(b []byte) (err error) { return l.parse(string(b), Henry) }

// UnmarshalTOML reads a string as Parse does, or a bare number in ohm.
func (r *Resistance) UnmarshalTOML(x any) error { return r.parse(textOf(x), Ohm) }

// UnmarshalTOML reads a string as Parse does, or a bare number in farad.
func (c *Capacitance) UnmarshalTOML(x any) error { return c.parse(textOf(x), Farad) }

// UnmarshalTOML reads a string as Parse does, or a bare number in henry.
func (l *Inductance) UnmarshalTOML(x any) error { return l.parse(textOf(x), Henry) }

func (v *Value) parse(text string, unit Unit) error {
	p, err := Parse(text, unit)
	if err == nil {
		*v = p
	}
	return err
}

// textOf is a decoded TOML value as text. TOML numbers must not go through
// a fixed-point text: 470e-12 would become zero.
func textOf(x any) string {
	switch x := x.(type) {
	case string:
		return x
	case int64:
		return strconv.FormatInt(x, 10)
	case float64:
		return strconv.FormatFloat(x, 'g', -1, 64)
	}
	return ""
}
