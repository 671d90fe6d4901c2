package quantity

import (
	"fmt"
	"strings"
)

// Range is what sizes of one kind of value are plausible on the bench of a winder.
type Range struct {
	Kind string // as an option of that name has it: "dcr"
	What string // "the DC resistance of a coil"
	Unit Unit
	// From Least to Most a value is believed, from Low to High it is usual.
	Least, Low, High, Most float64
	Source                 string
}

// typical is the source of ranges of the trade.
const typical = "typical, no source"

// ranges is the one table of what is plausible: for options, pages, coil.toml and
// bench.toml.
var ranges = []Range{
	{"dcr", "the DC resistance of a coil", Ohm, 1e3, 1.5e3, 30e3, 200e3, typical},
	{"first-dcr", "the DC resistance of half a pickup", Ohm, 500, 1.5e3, 15e3, 100e3, typical},
	{"second-dcr", "the DC resistance of half a pickup", Ohm, 500, 1.5e3, 15e3, 100e3, typical},
	{"partial-r", "the resistor of a partial split", Ohm, 50, 470, 100e3, 10e6, typical},
	{"partial-c", "the capacitor of a partial split", Farad, 10e-12, 470e-12, 220e-9, 10e-6, typical},
	{"meter-l", "the inductance of a coil", Henry, 0.05, 0.5, 20, 200, typical},
	{"meter-c", "the capacitance of a coil", Farad, 1e-12, 20e-12, 1e-9, 100e-9, typical},
	{"winding", "the capacitance of a winding", Farad, 1e-12, 10e-12, 500e-12, 10e-9, typical},
	{"lead", "the capacitance of a lead", Farad, 1e-12, 10e-12, 1e-9, 10e-9, typical},
	{"input", "the capacitance of an input", Farad, 0.1e-12, 1e-12, 500e-12, 10e-9, typical},
	{"added-c", "a capacitor connected across the coil", Farad, 1e-12, 10e-12, 47e-9, 1e-6, typical},
	{"added-r", "a resistor connected across the coil", Ohm, 500, 4.7e3, 10e6, 1e9, typical},
	{"fixture-c", "the capacitance of cable, clips and input", Farad, 1e-12, 10e-12, 2e-9, 20e-9, typical},
	{"fixture-r", "the resistance of an input", Ohm, 5e3, 47e3, 22e6, 1e12, typical},
	{"fixture-series-r", "a resistor in series with an input", Ohm, 0.1, 10, 4.7e3, 100e3, typical},
	{"series", "the resistor in place of the coil", Ohm, 1e3, 47e3, 10e6, 1e9, typical},
	{"exciter-r", "the resistance of an exciter circuit", Ohm, 0.5, 4, 22e3, 1e6, typical},
	{"exciter-l", "the inductance of an exciter", Henry, 0.1e-6, 5e-6, 0.1, 10, typical},
	{"sense-r", "a sense resistor", Ohm, 0.05, 0.5, 1e3, 10e3, typical},
	{"volume", "a volume pot", Ohm, 5e3, 25e3, 2e6, 10e6, "makers' series, 25k to 2M"},
	{"tone", "a tone pot", Ohm, 5e3, 25e3, 2e6, 10e6, "makers' series, 25k to 2M"},
	{"tone-c", "a tone capacitor", Farad, 50e-12, 1e-9, 220e-9, 10e-6, typical},
	{"bleed-c", "the capacitor of a treble bleed", Farad, 1e-12, 100e-12, 10e-9, 1e-6, typical},
	{"bleed-parallel", "the parallel resistor of a treble bleed", Ohm, 1e3, 22e3, 2e6, 100e6, typical},
	{"bleed-series", "the series resistor of a treble bleed", Ohm, 100, 4.7e3, 1e6, 100e6, typical},
	{"cable", "the capacitance of a cable", Farad, 1e-12, 20e-12, 5e-9, 50e-9, typical},
	{"cable-per-metre", "the capacitance of a metre of cable", Farad, 5e-12, 30e-12, 300e-12, 2e-9, typical},
	{"cable-length", "the length of a cable", Metre, 0.01, 0.2, 30, 200, typical},
	{"amp", "the resistance of an amplifier's input", Ohm, 1e3, 22e3, 22e6, 1e12, typical},
	{"amp-c", "the capacitance of an amplifier's input", Farad, 0.1e-12, 1e-12, 1e-9, 20e-9, typical},
}

// InsistWord after a value says that it is right, however unusual: "785 really".
const InsistWord = "really"

// ImplausibleError is a value that nobody will have meant.
type ImplausibleError struct {
	Value  Value
	Range  Range
	Likely string // what was probably meant, as it is written; empty: no guess
}

func (e *ImplausibleError) Error() string {
	r, unit := e.Range, e.Range.Unit
	text := fmt.Sprintf("%s is not plausible for %s (usual: %s to %s)", Format(e.Value.SI, unit, 3), r.What,
		Format(r.Low, unit, 2), Format(r.High, unit, 2))
	if e.Likely != "" {
		text += fmt.Sprintf("; write %q if you meant that", e.Likely)
	}
	return fmt.Sprintf("%s; if it is right, write %q", text, e.Value.String()+" "+InsistWord)
}

// rangeOf is the range of a kind of value.
func rangeOf(kind string, unit Unit) (Range, bool) {
	for _, r := range ranges {
		if r.Kind == kind && r.Unit == unit {
			return r, true
		}
	}
	return Range{}, false
}

// Plausible tests a value, each of the parts that it is made of, by the table of what
// is plausible. The error is an *ImplausibleError; a kind that is not in the table is
// as it may be, and 0 says that there is none.
func Plausible(kind string, v Value) error {
	r, ok := rangeOf(kind, v.Unit)
	for _, part := range v.Components() {
		if ok && part.SI != 0 && !part.Insisted && !(part.SI >= r.Least && part.SI <= r.Most) {
			return &ImplausibleError{part, r, r.likely(part)}
		}
	}
	return nil
}

// Unusual is a remark on a value that is plausible but not usual; empty: nothing is to be
// remarked.
func Unusual(kind string, v Value) string {
	r, ok := rangeOf(kind, v.Unit)
	for _, part := range v.Components() {
		if ok && part.SI != 0 && !(part.SI >= r.Low && part.SI <= r.High) {
			return fmt.Sprintf("%s is unusual for %s (usual: %s to %s)", Format(part.SI, r.Unit, 3), r.What,
				Format(r.Low, r.Unit, 2), Format(r.High, r.Unit, 2))
		}
	}
	return ""
}

// likely is the value at another prefix at which it is usual, or else at another place
// of the decimal point.
func (r Range) likely(v Value) string {
	for _, n := range []int{3, -3, 6, -6, 9, 1, -1} { // 9: milli for mega
		if x := shift(v.SI, n); x >= r.Low && x <= r.High && (n < 9 || r.Unit == Ohm) {
			text := exactText(x, r.Unit)
			if r.Unit == Ohm || r.Unit == Farad {
				text = strings.TrimSuffix(text, string(r.Unit))
			}
			return text
		}
	}
	return ""
}

// marked is a capacitor's size in F as three digits on it say, "471": two digits and the
// power of ten in pF (typical, no source). "470" is as likely to mean 470 pF.
func marked(text string) (farad float64, ok bool) {
	digits := strings.TrimRight(text, "BCDFGJKM")
	if len(digits) != 3 || len(text)-len(digits) > 1 || strings.Trim(digits, "0123456789") != "" {
		return 0, false
	}
	pico := float64(digits[0]-'0')*10 + float64(digits[1]-'0')
	exponent := int(digits[2] - '0')
	return shift(pico, exponent-12), pico >= 10 && exponent >= 1 && exponent <= 6
}
