package main

import (
	"math"
	"strconv"
)

// significantDigit is the power of ten of the second significant digit of x.
func significantDigit(x float64) int {
	return int(math.Floor(math.Log10(x))) - 1
}

// roundTo is x to a multiple of 10^digit, in the decimal number's own bits.
func roundTo(x float64, digit int) float64 {
	text := strconv.FormatFloat(math.Round(x*math.Pow10(-digit)), 'f', 0, 64) + "e" + strconv.Itoa(digit)
	y, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return x
	}
	return y
}
