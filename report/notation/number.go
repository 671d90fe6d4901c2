// Package notation is how the reports write numbers, quantities, counts and
// names. "±" is always U95, the expanded uncertainty for 95 % coverage (JCGM
// 100:2008, 6.2), and numbers are rounded to it (7.2.6). What is not a number has
// a sign of its own: a quantity that cannot be known is never shown as one.
package notation

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
	Unknown = "?" // cannot be known; the reason stands nearby
	None    = "–" // does not apply: nothing added, nothing flagged
)

// Units without SI prefixes, beside those of package quantity.
const (
	Ratio   quantity.Unit = ""
	Decibel quantity.Unit = "dB"
)

// WithU95 is a known quantity with its expanded uncertainty:
// "2.412 ± 0.024 H". An asymmetric interval is written out:
// "2.41 H (2.30 H … 2.70 H)".
func WithU95(q fit.Quantity, unit quantity.Unit) string {
	if q.Low == 0 && q.High == 0 {
		return Number(q.Value, q.U95, unit)
	}
	digits := DigitsDownTo(q.Value, (q.High-q.Low)/2)
	return fmt.Sprintf("%s (%s … %s)", Plain(q.Value, unit, digits), Plain(q.Low, unit, digits), Plain(q.High, unit, digits))
}

// Value is a known quantity at a glance: three significant digits, fewer
// where its uncertainty does not support them, a tenth of a dB.
func Value(q fit.Quantity, unit quantity.Unit) string {
	if unit == Decibel {
		return Plain(q.Value, unit, 0)
	}
	digits := 3
	if q.U95 > 0 {
		digits = min(digits, DigitsDownTo(q.Value, q.U95))
	}
	return Plain(q.Value, unit, digits)
}

// Number formats x ± u95; ratios and dB carry no prefix.
func Number(x, u95 float64, unit quantity.Unit) string {
	if unit != Ratio && unit != Decibel {
		return Minus(quantity.FormatWithU95(x, u95, unit))
	}
	suffix := ""
	if unit == Decibel {
		suffix = " dB"
	}
	if math.IsNaN(x) {
		return Unknown
	}
	if !(u95 > 0) || math.IsInf(u95, 1) {
		return Minus(strconv.FormatFloat(x, 'f', 1, 64)) + suffix
	}
	decimals := min(max(1-quantity.ExponentOf(u95, 2), 0), 6)
	return Minus(strconv.FormatFloat(x, 'f', decimals, 64)) + " ± " + strconv.FormatFloat(u95, 'f', decimals, 64) + suffix
}

// Plain formats x alone to so many significant digits.
func Plain(x float64, unit quantity.Unit, digits int) string {
	switch unit {
	case Ratio:
		exponent := quantity.ExponentOf(x, max(digits, 1))
		if exponent < -4 || exponent > 5 {
			return Minus(strconv.FormatFloat(x, 'e', max(digits-1, 0), 64))
		}
		return Minus(strconv.FormatFloat(x, 'f', max(digits-1-exponent, 0), 64))
	case Decibel:
		return Minus(strconv.FormatFloat(x, 'f', 1, 64)) + " dB"
	}
	return Minus(quantity.Format(x, unit, digits))
}

// Nominal formats a nominal value, as many digits as it needs and at most five.
func Nominal(x float64, unit quantity.Unit) string {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return Plain(x, unit, 1)
	}
	exact := strconv.FormatFloat(x, 'e', 4, 64)
	mantissa, _, _ := strings.Cut(strings.TrimPrefix(exact, "-"), "e")
	digits := len(strings.TrimRight(strings.Replace(mantissa, ".", "", 1), "0"))
	exponent := int(math.Floor(math.Log10(math.Abs(x)) + 1e-9))
	// Never round before the point: 470 pF, not 4.7e2.
	whole := ((exponent % 3) + 3) % 3
	return Plain(x, unit, max(digits, whole+1))
}

// DigitsDownTo is how many significant digits x needs to reach the second
// digit of its uncertainty u.
func DigitsDownTo(x, u float64) int {
	if x == 0 || !(u > 0) {
		return 4
	}
	last := math.Floor(math.Log10(u)) - 1
	return min(max(int(math.Floor(math.Log10(math.Abs(x)))-last)+1, 2), 7)
}

// Minus puts the minus sign in place of the hyphen.
func Minus(s string) string { return strings.ReplaceAll(s, "-", "−") }

// TwoDigits is x to two significant digits without an exponent.
func TwoDigits(x float64) string {
	if x == 0 {
		return "0"
	}
	decimals := max(1-int(math.Floor(math.Log10(math.Abs(x)))), 0)
	return Minus(strconv.FormatFloat(x, 'f', decimals, 64))
}

// ValueAndSpread parts "2.412 ± 0.024 H" into "2.412 H" and "± 0.024 H".
func ValueAndSpread(q fit.Quantity, unit quantity.Unit) (value, spread string) {
	whole := WithU95(q, unit)
	if head, interval, ok := strings.Cut(whole, " ("); ok {
		return head, strings.TrimSuffix(interval, ")")
	}
	left, right, ok := strings.Cut(whole, " ± ")
	if !ok {
		return whole, ""
	}
	if at := strings.LastIndexByte(right, ' '); at >= 0 {
		left += right[at:]
	}
	return left, "± " + right
}

// Difference is a difference with its sign and U95: "+0.10 ± 0.03 H".
func Difference(q fit.Quantity, unit quantity.Unit) string {
	if !q.Known() {
		return Unknown
	}
	text := Number(q.Value, q.U95, unit)
	if q.Value > 0 {
		text = "+" + text
	}
	return text
}

// Percent is a difference in percent with its sign: "+3.1 %".
func Percent(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	digits := 1
	if math.Abs(x) < 0.1 {
		digits = 3
	}
	return Minus(fmt.Sprintf("%+.*f %%", digits, x))
}

// En is a normalised error to two decimals.
func En(en *float64) string {
	if en == nil {
		return None
	}
	return Minus(fmt.Sprintf("%.2f", *en))
}

// Quantity is a quantity with its expanded uncertainty, or why it is not known.
func Quantity(q fit.Quantity, unit quantity.Unit) string {
	if !q.Known() {
		return "not known: " + Visible(q.Why)
	}
	return WithU95(q, unit)
}
