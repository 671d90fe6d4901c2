package quantity

import (
	"math"
	"strconv"
	"strings"
)

// symbol is the unit as printed.
func (u Unit) symbol() string {
	if u == Ohm {
		return "Ω"
	}
	return string(u)
}

// Scale is an SI prefix of print as a power of 1000. Values below each other
// are printed in one scale.
type Scale int

// scalePrefixes are the prefixes used in print, from femto.
const scalePrefixes = "fpnµm kMGT"

// scales are the smallest and the largest scale in which a unit is printed:
// ratios and decibels have no prefix, and nobody reads millihertz or femtofarad.
func (u Unit) scales() (least, most Scale) {
	switch u {
	case Ratio, Decibel:
		return 0, 0
	case Hertz:
		return 0, 4
	case Farad:
		return -4, 4
	}
	return -5, 4
}

// ScaleOf is the scale in which x, rounded to digits significant digits, has one
// to three digits before the point.
func ScaleOf(x float64, unit Unit, digits int) Scale {
	if _, ok := special(x); ok {
		return 0
	}
	// Rounded first: 999.96 Hz with four digits is 1.000 kHz.
	return scaleAt(ExponentOf(x, max(digits, 1)), unit)
}

// scaleAt is the scale that suits the decimal exponent e.
func scaleAt(e int, unit Unit) Scale {
	least, most := unit.scales()
	return min(max(Scale(math.Floor(float64(e)/3)), least), most)
}

// ScaleWithU95 is the scale in which x is printed with its expanded uncertainty.
func ScaleWithU95(x, u95 float64, unit Unit) Scale {
	if !(u95 > 0) || math.IsInf(u95, 1) {
		return ScaleOf(x, unit, 4)
	}
	place := lastPlace(x, u95)
	e := ExponentOf(u95, 2)
	if x != 0 && !math.IsNaN(x) && !math.IsInf(x, 0) {
		e = max(e, ExponentOf(x, max(1, ExponentOf(x, 17)-place+1)))
	}
	return scaleAt(e, unit)
}

// lastPlace is the power of ten of the last digit kept of x ± u95.
func lastPlace(x, u95 float64) int {
	place := SecondDigit(u95)
	if x != 0 && !math.IsNaN(x) && !math.IsInf(x, 0) {
		place = max(place, ExponentOf(x, 1)-15) // no more digits than x has
	}
	return place
}

// Symbol is the unit with the prefix of the scale: "kHz"; empty for a ratio.
func (s Scale) Symbol(unit Unit) string {
	prefix := string([]rune(scalePrefixes)[s+5])
	return strings.TrimSpace(prefix) + unit.symbol()
}

// Decimal is x in the scale without its unit, rounded to a multiple of 10^place
// of the unit, with a true minus sign.
func (s Scale) Decimal(x float64, place int) string {
	decimals := 3*int(s) - place
	var text string
	if decimals < 0 {
		step := math.Pow10(-decimals)
		text = strconv.FormatFloat(math.Round(x/math.Pow10(3*int(s))/step)*step, 'f', 0, 64)
	} else {
		text = strconv.FormatFloat(shift(x, -3*int(s)), 'f', decimals, 64)
	}
	return strings.Replace(text, "-", "−", 1)
}

// Format prints x in the scale with digits significant digits: "2.41 H",
// "118 pF". Not-a-number prints as "–".
func (s Scale) Format(x float64, unit Unit, digits int) string {
	if number, ok := special(x); ok {
		return s.suffixed(number, unit)
	}
	digits = max(digits, 1)
	return s.suffixed(s.Decimal(x, ExponentOf(x, digits)-digits+1), unit)
}

// FormatWithU95 prints a value with its expanded uncertainty in the scale, that
// one rounded to two significant digits and the value to the same place
// (JCGM 100:2008, 7.2.6): "2.412 ± 0.024 H". Without an uncertainty it prints
// four digits.
func (s Scale) FormatWithU95(x, u95 float64, unit Unit) string {
	if _, ok := special(x); ok && x != 0 || !(u95 > 0) || math.IsInf(u95, 1) {
		return s.Format(x, unit, 4)
	}
	place := lastPlace(x, u95)
	return s.suffixed(s.Decimal(x, place)+" ± "+s.Decimal(u95, place), unit)
}

func (s Scale) suffixed(number string, unit Unit) string {
	if symbol := s.Symbol(unit); symbol != "" && number != "–" {
		return number + " " + symbol
	}
	return number
}

// Format prints x with digits significant digits and an SI prefix: "2.41 H",
// "118 pF", "7.85 kΩ".
func Format(x float64, unit Unit, digits int) string {
	return ScaleOf(x, unit, digits).Format(x, unit, digits)
}

// FormatWithU95 prints a value with its expanded uncertainty and an SI prefix
// for both: "2.412 ± 0.024 H".
func FormatWithU95(x, u95 float64, unit Unit) string {
	return ScaleWithU95(x, u95, unit).FormatWithU95(x, u95, unit)
}

// Minus is a printed text of numbers with minus signs in place of hyphens. Data
// for programs keep the hyphen.
func Minus(text string) string { return strings.ReplaceAll(text, "-", "−") }

// special prints numbers that have no magnitude.
func special(x float64) (string, bool) {
	switch {
	case math.IsNaN(x):
		return "–", true
	case math.IsInf(x, 1):
		return "∞", true
	case math.IsInf(x, -1):
		return "−∞", true
	case x == 0:
		return "0", true
	}
	return "", false
}

// SecondDigit is the power of ten of the second significant digit of x, to which
// an uncertainty x and its value are rounded.
func SecondDigit(x float64) int { return ExponentOf(x, 2) - 1 }

// RoundTo is x rounded to a multiple of 10^place, in the bits that the decimal
// number has.
func RoundTo(x float64, place int) float64 {
	text := strconv.FormatFloat(math.Round(shift(x, -place)), 'f', 0, 64)
	y, err := strconv.ParseFloat(text+"e"+strconv.Itoa(place), 64)
	if err != nil {
		return x
	}
	return y
}

// ExponentOf is the decimal exponent of x after rounding to digits digits; 0
// for zero and for what has no magnitude.
func ExponentOf(x float64, digits int) int {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	text := strconv.FormatFloat(x, 'e', min(digits, 18)-1, 64)
	e, _ := strconv.Atoi(text[strings.IndexByte(text, 'e')+1:])
	return e
}

// shift is x*10^n with a single rounding.
func shift(x float64, n int) float64 {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return x
	}
	text := strconv.FormatFloat(x, 'e', -1, 64)
	at := strings.IndexByte(text, 'e')
	e, _ := strconv.Atoi(text[at+1:])
	y, _ := strconv.ParseFloat(text[:at+1]+strconv.Itoa(e+n), 64)
	return y
}

// exactText is x in the shortest text that Parse reads back to the same bits:
// "470pF", or "4.7e-20F" where no prefix suits.
func exactText(x float64, unit Unit) string {
	text := strconv.FormatFloat(x, 'e', -1, 64)
	at := strings.IndexByte(text, 'e')
	if at < 0 {
		return text + string(unit) // not a number
	}
	e, _ := strconv.Atoi(text[at+1:])
	scale := scaleAt(e, Metre) // of all prefixes
	prefix := strings.Replace(strings.TrimSuffix(scale.Symbol(Metre), "m"), "µ", "u", 1)
	whole := e - 3*int(scale) + 1 // digits before the point
	if x <= 0 || whole < 1 || whole > 3 || !strings.Contains(units[unit].prefixes, prefix) {
		return text + string(unit)
	}
	digits := strings.Replace(text[:at], ".", "", 1)
	for len(digits) < whole {
		digits += "0"
	}
	if len(digits) > whole {
		digits = digits[:whole] + "." + digits[whole:]
	}
	return digits + prefix + string(unit)
}
