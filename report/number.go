package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// Signs of their own for what is not a number.
const (
	signUnknown = "?" // cannot be known; the reason stands nearby
	signNone    = "–" // does not apply: nothing added, nothing flagged
)

// Units without SI prefixes, beside those of package quantity.
const (
	ratio   quantity.Unit = ""
	decibel quantity.Unit = "dB"
)

// withU95 is a known quantity with its expanded uncertainty:
// "2.412 ± 0.024 H". An asymmetric interval is written out:
// "2.41 H (2.30 H … 2.70 H)".
func withU95(q fit.Quantity, unit quantity.Unit) string {
	if q.Low == 0 && q.High == 0 {
		return number(q.Value, q.U95, unit)
	}
	digits := digitsDownTo(q.Value, (q.High-q.Low)/2)
	return fmt.Sprintf("%s (%s … %s)", plain(q.Value, unit, digits), plain(q.Low, unit, digits), plain(q.High, unit, digits))
}

// valueOf is a known quantity at a glance: three significant digits, fewer
// where its uncertainty does not support them, a tenth of a dB.
func valueOf(q fit.Quantity, unit quantity.Unit) string {
	if unit == decibel {
		return plain(q.Value, unit, 0)
	}
	digits := 3
	if q.U95 > 0 {
		digits = min(digits, digitsDownTo(q.Value, q.U95))
	}
	return plain(q.Value, unit, digits)
}

// number formats x ± u95; ratios and dB carry no prefix.
func number(x, u95 float64, unit quantity.Unit) string {
	if unit != ratio && unit != decibel {
		return withMinus(quantity.FormatWithU95(x, u95, unit))
	}
	suffix := ""
	if unit == decibel {
		suffix = " dB"
	}
	if math.IsNaN(x) {
		return signUnknown
	}
	if !(u95 > 0) || math.IsInf(u95, 1) {
		return withMinus(strconv.FormatFloat(x, 'f', 1, 64)) + suffix
	}
	decimals := min(max(1-quantity.ExponentOf(u95, 2), 0), 6)
	return withMinus(strconv.FormatFloat(x, 'f', decimals, 64)) + " ± " + strconv.FormatFloat(u95, 'f', decimals, 64) + suffix
}

// plain formats x alone to so many significant digits.
func plain(x float64, unit quantity.Unit, digits int) string {
	switch unit {
	case ratio:
		exponent := quantity.ExponentOf(x, max(digits, 1))
		if exponent < -4 || exponent > 5 {
			return withMinus(strconv.FormatFloat(x, 'e', max(digits-1, 0), 64))
		}
		return withMinus(strconv.FormatFloat(x, 'f', max(digits-1-exponent, 0), 64))
	case decibel:
		return withMinus(strconv.FormatFloat(x, 'f', 1, 64)) + " dB"
	}
	return withMinus(quantity.Format(x, unit, digits))
}

// part formats a nominal value, as many digits as it needs and at most five.
func part(x float64, unit quantity.Unit) string {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return plain(x, unit, 1)
	}
	exact := strconv.FormatFloat(x, 'e', 4, 64)
	mantissa, _, _ := strings.Cut(strings.TrimPrefix(exact, "-"), "e")
	digits := len(strings.TrimRight(strings.Replace(mantissa, ".", "", 1), "0"))
	exponent := int(math.Floor(math.Log10(math.Abs(x)) + 1e-9))
	// Never round before the point: 470 pF, not 4.7e2.
	whole := ((exponent % 3) + 3) % 3
	return plain(x, unit, max(digits, whole+1))
}

// digitsDownTo is how many significant digits x needs to reach the second
// digit of its uncertainty u.
func digitsDownTo(x, u float64) int {
	if x == 0 || !(u > 0) {
		return 4
	}
	last := math.Floor(math.Log10(u)) - 1
	return min(max(int(math.Floor(math.Log10(math.Abs(x)))-last)+1, 2), 7)
}

// withMinus puts the minus sign in place of the hyphen.
func withMinus(s string) string { return strings.ReplaceAll(s, "-", "−") }

// cell is what a quantity shows in a table cell; unknowns collect the reasons.
func (n *notes) cell(q fit.Quantity, unit quantity.Unit) string {
	if q.Known() {
		return withU95(q, unit)
	}
	return n.sign(q.Why)
}

// notes numbers the reasons of unknown quantities, each once.
type notes struct{ reasons []string }

// sign is the sign for "cannot be known" with the number of its reason.
func (n *notes) sign(why string) string {
	for i, have := range n.reasons {
		if have == why {
			return signUnknown + strconv.Itoa(i+1)
		}
	}
	n.reasons = append(n.reasons, why)
	return signUnknown + strconv.Itoa(len(n.reasons))
}
