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

// The prefixes used in print, by power of 1000 from femto.
const (
	printPrefixes = "fpnµm kMGT"
	lowestPower   = -5
	highestPower  = 4
)

func prefixOf(power int) string {
	p := []rune(printPrefixes)[power-lowestPower]
	if p == ' ' {
		return ""
	}
	return string(p)
}

// Format prints x with digits significant digits and an SI prefix: "2.41 H",
// "118 pF", "7.85 kΩ". Not-a-number prints as "?".
func Format(x float64, unit Unit, digits int) string {
	digits = max(digits, 1)
	if number, ok := special(x); ok {
		return number + " " + unit.symbol()
	}
	// Round first: 999.96 Hz with four digits is 1.000 kHz.
	e := ExponentOf(x, digits)
	power := powerOf(e)
	return fixed(x, 3*power, digits-1-(e-3*power)) + " " + prefixOf(power) + unit.symbol()
}

// FormatWithU95 prints a value with its expanded uncertainty, that one rounded
// to two significant digits and the value to the same place, with a common
// prefix: "2.412 ± 0.024 H". Without an uncertainty (zero, or not a number)
// it prints four digits and "± ?" or nothing.
func FormatWithU95(x, u95 float64, unit Unit) string {
	if _, ok := special(x); ok && x != 0 {
		return Format(x, unit, 4)
	}
	switch {
	case u95 == 0:
		return Format(x, unit, 4)
	case math.IsNaN(u95) || math.IsInf(u95, 0) || u95 < 0:
		e := powerOf(ExponentOf(x, 4))
		return fixed(x, 3*e, 3-(ExponentOf(x, 4)-3*e)) + " ± ? " + prefixOf(e) + unit.symbol()
	}
	place := ExponentOf(u95, 2) - 1 // power of ten of the last digit kept
	if x != 0 {
		place = max(place, ExponentOf(x, 1)-15) // no more digits than x has
	}
	e := ExponentOf(u95, 2)
	if x != 0 {
		e = max(e, ExponentOf(x, max(1, ExponentOf(x, 17)-place+1)))
	}
	power := powerOf(e)
	decimals := 3*power - place
	return fixed(x, 3*power, decimals) + " ± " + fixed(u95, 3*power, decimals) + " " + prefixOf(power) + unit.symbol()
}

// Minus is a printed text of numbers with minus signs in place of hyphens. Data
// for programs keep the hyphen.
func Minus(text string) string { return strings.ReplaceAll(text, "-", "−") }

// special prints numbers that have no magnitude.
func special(x float64) (string, bool) {
	switch {
	case math.IsNaN(x):
		return "?", true
	case math.IsInf(x, 1):
		return "∞", true
	case math.IsInf(x, -1):
		return "-∞", true
	case x == 0:
		return "0", true
	}
	return "", false
}

// ExponentOf is the decimal exponent of x after rounding to digits digits; 0
// for zero.
func ExponentOf(x float64, digits int) int {
	if x == 0 {
		return 0
	}
	text := strconv.FormatFloat(x, 'e', min(digits, 18)-1, 64)
	e, _ := strconv.Atoi(text[strings.IndexByte(text, 'e')+1:])
	return e
}

// powerOf is the power of 1000 whose prefix suits the decimal exponent e.
func powerOf(e int) int {
	return min(max(int(math.Floor(float64(e)/3)), lowestPower), highestPower)
}

// fixed prints x/10^exponent with decimals digits after the point; negative
// decimals round to tens, hundreds, ...
func fixed(x float64, exponent, decimals int) string {
	if decimals < 0 {
		step := math.Pow10(-decimals)
		return strconv.FormatFloat(math.Round(x/math.Pow10(exponent)/step)*step, 'f', 0, 64)
	}
	return strconv.FormatFloat(shift(x, -exponent), 'f', decimals, 64)
}

// shift is x*10^n with a single rounding.
func shift(x float64, n int) float64 {
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
	prefix := strings.Replace(prefixOf(powerOf(e)), "µ", "u", 1)
	whole := e - 3*powerOf(e) + 1 // digits before the point
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
