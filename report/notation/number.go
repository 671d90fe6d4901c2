// Package notation is how numbers, quantities, counts and names are written
// wherever people read them.
//
// "±" is always U95, the expanded uncertainty for 95 % coverage (JCGM 100:2008,
// 6.2), and numbers are rounded to it (7.2.6). Without it a number has four
// digits. Quantities below each other have one SI prefix. The minus sign is "−".
// What is not a number is "–", in a table with the number of its reason.
package notation

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// None is written where there is no number: it cannot be known, or nothing was
// added, flagged or measured.
const None = "–"

const (
	mostDigits  = 5 // of a value alone: more are not read
	looseDigits = 4 // of a value without an uncertainty
)

// WithU95 is a known quantity with its expanded uncertainty:
// "2.412 ± 0.024 H". An asymmetric interval is written out:
// "2.41 H (2.30 H … 2.70 H)".
func WithU95(q fit.Quantity, unit quantity.Unit) string {
	return withU95(q, unit, scaleOf(q, unit))
}

// Value is a known quantity alone, with the digits that its uncertainty leaves,
// at most five: "2.412 H".
func Value(q fit.Quantity, unit quantity.Unit) string { return value(q, unit, scaleOf(q, unit)) }

// Rounded is a known quantity in a sentence: three digits at most, a tenth of
// a dB: "2.41 H".
func Rounded(q fit.Quantity, unit quantity.Unit) string {
	if unit == quantity.Decibel {
		return Decibels(q.Value)
	}
	return quantity.Format(q.Value, unit, min(digitsOf(q), 3))
}

// Quantity is a quantity with its expanded uncertainty, or why it is not known.
func Quantity(q fit.Quantity, unit quantity.Unit) string {
	if !q.Known() {
		return "not known: " + Typeset(q.Why)
	}
	return WithU95(q, unit)
}

// Difference is a difference with its sign and U95: "+0.10 ± 0.03 H".
func Difference(q fit.Quantity, unit quantity.Unit) string {
	if !q.Known() {
		return None
	}
	return signed(q.Value, WithU95(q, unit))
}

// printedZero is a number of which nothing is left in print, which has no sign then.
var printedZero = regexp.MustCompile(`^−?0(\.0+)?($|[^\d.])`)

func signed(x float64, text string) string {
	if printedZero.MatchString(text) {
		return strings.TrimPrefix(text, "−")
	}
	if x > 0 {
		return "+" + text
	}
	return text
}

// Apart is a known quantity for a page that sets its uncertainty apart: "2.412 H"
// and "± 0.024 H", or the interval where that is asymmetric; nothing without U95.
func Apart(q fit.Quantity, unit quantity.Unit) (value, spread string) {
	whole := WithU95(q, unit)
	if head, interval, ok := strings.Cut(whole, " ("); ok {
		return head, strings.TrimSuffix(interval, ")")
	}
	value, spread, ok := strings.Cut(whole, " ± ")
	if !ok {
		return whole, ""
	}
	_, symbol, _ := strings.Cut(spread, " ")
	return strings.TrimSpace(value + " " + symbol), "± " + spread
}

// scaleOf is the scale of a quantity that stands alone.
func scaleOf(q fit.Quantity, unit quantity.Unit) quantity.Scale {
	return quantity.ScaleWithU95(q.Value, halfOf(q), unit)
}

// halfOf is the half-width of a quantity's interval.
func halfOf(q fit.Quantity) float64 {
	if q.Low != 0 || q.High != 0 {
		return (q.High - q.Low) / 2
	}
	return q.U95
}

func digitsOf(q fit.Quantity) int { return min(DigitsDownTo(q.Value, halfOf(q)), mostDigits) }

func withU95(q fit.Quantity, unit quantity.Unit, scale quantity.Scale) string {
	if q.Low == 0 && q.High == 0 && (q.U95 > 0 || unit != quantity.Decibel) {
		return scale.FormatWithU95(q.Value, q.U95, unit)
	}
	if q.Low == 0 && q.High == 0 {
		return Decibels(q.Value)
	}
	write := func(x float64) string { return place(x, halfOf(q), unit, scale) }
	return fmt.Sprintf("%s (%s … %s)", write(q.Value), write(q.Low), write(q.High))
}

// place is x rounded to the second digit of u.
func place(x, u float64, unit quantity.Unit, scale quantity.Scale) string {
	if !(u > 0) {
		return scale.Format(x, unit, looseDigits)
	}
	return strings.TrimRight(scale.Decimal(x, quantity.SecondDigit(u))+" "+scale.Symbol(unit), " ")
}

func value(q fit.Quantity, unit quantity.Unit, scale quantity.Scale) string {
	if unit == quantity.Decibel && !(halfOf(q) > 0) {
		return Decibels(q.Value)
	}
	return scale.Format(q.Value, unit, digitsOf(q))
}

// Nominal formats a nominal value, as many digits as it needs and at most five.
func Nominal(x float64, unit quantity.Unit) string {
	digits := nominalDigits(x)
	return quantity.ScaleOf(x, unit, digits).Format(x, unit, digits)
}

// Nominals formats nominal values that stand below each other; zero is left
// empty. Capacitances are counted in the unit of the smallest, as parts are
// marked: 100 pF, 2200 pF.
func Nominals(list []float64, unit quantity.Unit) []string {
	var scale columnScale
	for _, x := range list {
		if x != 0 {
			scale.take(quantity.ScaleOf(x, unit, nominalDigits(x)), unit)
		}
	}
	out := make([]string, len(list))
	for i, x := range list {
		if x != 0 {
			out[i] = scale.Format(x, unit, nominalDigits(x))
		}
	}
	return out
}

// nominalDigits are the digits that x needs, and never less than all before the
// point: 470 pF, not 4.7e2.
func nominalDigits(x float64) int {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return 1
	}
	mantissa, _, _ := strings.Cut(strconv.FormatFloat(math.Abs(x), 'e', mostDigits-1, 64), "e")
	digits := len(strings.TrimRight(strings.Replace(mantissa, ".", "", 1), "0"))
	return max(digits, ((quantity.ExponentOf(x, mostDigits)%3)+3)%3+1)
}

// DigitsDownTo is how many significant digits x needs to reach the second
// digit of its uncertainty u; four where there is none.
func DigitsDownTo(x, u float64) int {
	if x == 0 || !(u > 0) || math.IsInf(u, 1) {
		return looseDigits
	}
	return min(max(quantity.ExponentOf(x, 1)-quantity.SecondDigit(u)+1, 2), 7)
}

// TwoDigits is x to two significant digits; whole numbers in full.
func TwoDigits(x float64) string {
	return quantity.Format(x, quantity.Ratio, max(2, quantity.ExponentOf(x, 2)+1))
}

// Percent is a share or a spread in percent: "0.17 %", "81 %".
func Percent(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return None
	}
	return TwoDigits(x) + " %"
}

// Change is a difference in percent with its sign: "+3.1 %"; empty where there
// is none.
func Change(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	return signed(x, Percent(x))
}

// Decibels is a level difference to a tenth of a dB: "−0.4 dB".
func Decibels(x float64) string { return tenths(x, "dB") }

// Level is a level by AES17, to a tenth: "−12.1 dBFS". Below what any converter
// has it is silent.
func Level(dBFS float64) string {
	if dBFS <= -200 {
		return "silent"
	}
	return tenths(dBFS, "dBFS")
}

func tenths(x float64, unit string) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return None
	}
	text := strconv.FormatFloat(x, 'f', 1, 64)
	if text == "-0.0" {
		text = "0.0"
	}
	return quantity.Minus(text) + " " + unit
}

// WholeDecibels is a ratio of levels that is not worth a tenth, such as a
// signal over its noise: "71 dB".
func WholeDecibels(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return None
	}
	return quantity.Minus(strconv.FormatFloat(x, 'f', 0, 64)) + " dB"
}

// En is a normalised error to two decimals.
func En(en *float64) string {
	if en == nil {
		return None
	}
	return quantity.Minus(fmt.Sprintf("%.2f", *en))
}

// Bytes is a size of a file: "4.2 MB".
func Bytes(n int64) string {
	if n < 1000 {
		return fmt.Sprintf("%d B", n)
	}
	return quantity.Format(float64(n), "B", 3)
}

// Distribution is how the trials of a Monte Carlo calculation scatter, in words:
// mean, standard uncertainty, and the interval of 95 % of them.
type Distribution struct{ Mean, U, Interval string }

// DistributionOf is that of a quantity; "–" where no trial gave a value.
func DistributionOf(d fit.MonteCarloQuantity, unit quantity.Unit) Distribution {
	if d.Known == 0 {
		return Distribution{None, None, None}
	}
	half := (d.High - d.Low) / 2
	scale := quantity.ScaleWithU95(d.Mean, half, unit)
	write := func(x float64) string { return place(x, half, unit, scale) }
	return Distribution{write(d.Mean), scale.Format(d.U, unit, 2), write(d.Low) + " … " + write(d.High)}
}
