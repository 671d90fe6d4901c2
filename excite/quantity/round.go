package quantity

import (
	"math"
	"strconv"
)

// SecondDigit is the power of ten of the second significant digit of x, which is
// above 0.
func SecondDigit(x float64) int { return int(math.Floor(math.Log10(x))) - 1 }

// RoundTo is x to a multiple of 10^digit, in the decimal number's own bits.
func RoundTo(x float64, digit int) float64 {
	text := strconv.FormatFloat(math.Round(x*math.Pow10(-digit)), 'f', 0, 64) + "e" + strconv.Itoa(digit)
	y, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return x
	}
	return y
}
