package response

import (
	"math"
	"math/cmplx"

	"coilsweep/capture"
)

// calibrationPoints is how many points an octave a calibration keeps: a sound
// card's response is smooth.
const calibrationPoints = 24

// Calibrate makes the calibration of a sound card from the response r of take,
// a cable from its output to its input.
func Calibrate(r *Response, take capture.Take) capture.Calibration {
	var hz, u []float64
	var h []complex128
	next := 0.0
	for i, f := range r.FrequencyHz {
		if f < next && i < len(r.FrequencyHz)-1 {
			continue
		}
		hz, h = append(hz, f), append(h, r.H[i])
		u = append(u, math.Sqrt(r.Variance[i]/2)/cmplx.Abs(r.H[i]))
		next = f * math.Exp2(1.0/calibrationPoints)
	}
	s := take.Stimulus
	return capture.Calibration{
		Made: take.Started, Program: take.Program, RateHz: s.RateHz,
		InputDevice: take.Bench.InputDevice, OutputDevice: take.Bench.OutputDevice, HostAPI: take.Bench.HostAPI,
		CoilChannel: max(1, take.Bench.CoilChannel), OutputChannel: 1,
		FromHz: s.FromHz, ToHz: s.ToHz, LevelDBFS: s.LevelDBFS, Stimulus: &s,
	}.WithResponse(hz, h, u)
}
