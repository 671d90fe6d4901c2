package design

import (
	"math"

	"coilsweep/excite"
)

const (
	knotsPerOctave = 4
	nearKnots      = 8 // per octave, within nearOctaves of the resonance
	nearOctaves    = 0.75
	straightWithin = 0.03 // knots that a straight line meets so well are left out
)

// Knots are the frequencies in Hz between which the course of a sweep is shaped: the ends and what
// lies between, closer about the
// resonance, rounded so that they are short in a file.
func Knots(fromHz, toHz, resonanceHz float64) []float64 {
	out := []float64{fromHz}
	for hz := fromHz; ; {
		perOctave := float64(knotsPerOctave)
		if math.Abs(math.Log2(hz/resonanceHz)) < nearOctaves {
			perOctave = nearKnots
		}
		hz *= math.Exp2(1 / perOctave)
		if hz > toHz*math.Exp2(-0.5/perOctave) {
			return append(out, toHz)
		}
		digit := math.Pow(10, math.Floor(math.Log10(hz))-2)
		out = append(out, math.Round(hz/digit)*digit)
	}
}

// Straightened leaves out the knots that straight lines over ln f between
// others meet.
func Straightened(knots []excite.Knot) []excite.Knot {
	out := knots[:1:1]
	for first := 0; first < len(knots)-1; {
		last := first + 1
		for last+1 < len(knots) && isStraight(knots[first:last+2]) {
			last++
		}
		out = append(out, knots[last])
		first = last
	}
	return out
}

func isStraight(knots []excite.Knot) bool {
	a, b := knots[0], knots[len(knots)-1]
	span := math.Log(b.FrequencyHz / a.FrequencyHz)
	for _, k := range knots[1 : len(knots)-1] {
		line := a.Weight + (b.Weight-a.Weight)*math.Log(k.FrequencyHz/a.FrequencyHz)/span
		if math.Abs(k.Weight-line) > straightWithin*k.Weight {
			return false
		}
	}
	return true
}
