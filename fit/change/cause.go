package change

import (
	"fmt"
	"math"
)

// warmest is the change of temperature, in kelvin, up to which it explains a change of R:
// that of a room (typical, no source).
const warmest = 15

// causes are what usually makes the quantities of a coil change so (common practice; the
// laws are those of a coil's circuit), each for a part of it. What is not known of both
// states rules nothing out and nothing in.
func causes(s signs) []string {
	c, l, r, kelvin := s.c, s.l, s.r, s.kelvin
	var found []string
	add := func(cause string) { found = append(found, cause) }
	turns := r*l > 0 // a winding that got longer or shorter moves both
	switch {
	case turns && r > 0:
		add("more turns")
	case turns:
		add("turns that were taken off, or are shorted")
	case r*r == 1 && math.Abs(kelvin) <= warmest:
		state := "warmer"
		if kelvin < 0 {
			state = "cooler"
		}
		text := fmt.Sprintf("a coil that is %s by %.2g °C", state, math.Abs(kelvin))
		if r > 0 {
			text += ", or a poor solder joint,"
		}
		add(text)
	case r > 0:
		add("a poor solder joint")
	case r < 0:
		add("shorted turns")
	}
	switch {
	case s.metal > 0 && c > 0:
		add("a metal cover that is connected to ground")
	case s.metal > 0:
		add("a metal cover or other metal near the winding")
	case s.metal < 0 && c < 0:
		add("a grounded metal cover that was taken off")
	case s.metal < 0:
		add("metal that was taken away from the winding")
	case c > 0 && l == 0:
		add("wax potting or a longer lead")
	case c < 0 && l == 0:
		add("a shorter lead or wax that was taken out")
	case c > 0 || c < 0:
		return nil // with L: nothing simple does both
	}
	if l*l == 1 && !turns {
		add("another magnet, a magnet of another strength, or pole pieces at another height")
	}
	if len(found) > 2 {
		return nil
	}
	return found
}
