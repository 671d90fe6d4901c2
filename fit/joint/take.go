package joint

import (
	"coilsweep/capture"
	"coilsweep/fit/response"
)

// Take is what the fit needs to know of one take.
type Take struct {
	Name     string
	Load     capture.Load
	Response *response.Response // nil where the take is unfit
	// Referenced: a reference channel took the sound card's low end out of
	// the response.
	Referenced bool
	// Ideal: nothing of a sound card is left in the response, as in a
	// simulation without one.
	Ideal bool
	// DriftPPM is by how much the clocks of playback and recording were found
	// to differ, in parts per million.
	DriftPPM float64
	// DriveFall and Linearity are those of the take; nil: not known.
	DriveFall   *capture.DriveFall
	Linearity   *capture.Linearity
	Flags       []string
	Unfit       string // why the take cannot be used; empty: it can
	AudioSHA256 string
}
