package response

import (
	"math/cmplx"

	"coilsweep/capture"
)

// withCard is the slope times the sound card's own response by its
// calibration, which is taken as 1 in magnitude at 1 kHz: dividing by it takes
// the card out of the coil's response.
func withCard(slope func(hz float64) complex128, c *capture.Calibration) func(hz float64) complex128 {
	reference, _ := c.At(slopeReferenceHz)
	gain := complex(cmplx.Abs(reference), 0)
	return func(hz float64) complex128 {
		h, _ := c.At(hz)
		return slope(hz) * h / gain
	}
}
