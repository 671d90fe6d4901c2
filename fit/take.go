package fit

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
	Referenced  bool
	Flags       []string
	Unfit       string // why the take cannot be used; empty: it can
	AudioSHA256 string
}
