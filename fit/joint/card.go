package joint

import "math"

// What is left of the sound card in a response, as limits of its size within
// the band (common practice for the filters of converters): without a
// reference the ripple of output and input, with one the difference between
// two inputs.
const (
	rippleDB   = 0.01
	mismatchDB = 0.003
)

// ripplePoints is over how many points of the grid ripple is reckoned to be the
// same: unlike noise it does not average out over them.
const ripplePoints = 30

// rippleU is the standard uncertainty, in neper, of a response for what is left
// of the sound card in it.
func (t Take) rippleU() float64 {
	limit := rippleDB
	switch {
	case t.Ideal:
		return 0
	case t.Referenced:
		limit = mismatchDB
	}
	return limit * math.Ln10 / 20 / math.Sqrt(3)
}

// cardVariance is what the ripple adds to the variance of one point, so that
// the fit does not lean on differences that are the sound card's.
func (t Take) cardVariance(h complex128) float64 {
	u := t.rippleU()
	return ripplePoints * u * u * (real(h)*real(h) + imag(h)*imag(h))
}
