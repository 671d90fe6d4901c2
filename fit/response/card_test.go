package response

import (
	"math"
	"math/cmplx"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/capture/virtual"
	"coilsweep/excite"
)

// A sound card that is 2 dB down at 18 kHz, with corners of 8 and 12 Hz at its
// low end, drops out of a coil's response once it is calibrated.
func TestCalibrationTakesTheCardOut(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates sound")
	}
	b := virtual.Default().Quiet()
	b.Reference = virtual.Reference{}
	b.Exciter.Drive, b.Exciter.FullScaleA = "current", 5e-3
	b.Output.HighPassHz, b.Input.HighPassHz = []float64{8}, []float64{12}
	b.Output.RollOff = virtual.RollOff{DB: 1.2, AtHz: 18000, Order: 2}
	b.Input.RollOff = virtual.RollOff{DB: 0.8, AtHz: 18000, Order: 3}
	request := excite.DefaultRequest()
	request.SweepS, request.Repeats, request.LevelDBFS = 1.4, 2, -24
	stimulus, err := excite.Design(request)
	if err != nil {
		t.Fatal(err)
	}
	take := capture.Take{Drive: capture.Drive{Kind: "direct"}, Reference: capture.Reference{Kind: "none"},
		Stimulus: stimulus}
	hear := func(r *virtual.Recorder, err error) *Response {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		recording, take, err := record.Scout(t.Context(), r, take, nil)
		if err != nil {
			t.Fatal(err)
		}
		response, err := Estimate(t.Context(), recording, take)
		if err != nil {
			t.Fatal(err)
		}
		return response
	}
	cable := Calibrate(hear(b.CableRecorder(48000, 1)), take)

	coil, err := b.Recorder(capture.Load{}, 48000, 1)
	take.Drive.Kind = "current"
	without := hear(coil, err)
	take.Calibration = &cable
	with := hear(coil, err)
	worst := func(r *Response) (worstDB float64) {
		at := 0
		for i, hz := range r.FrequencyHz {
			if hz < 1000 {
				at = i
			}
		}
		scale := cmplx.Abs(r.H[at]) / cmplx.Abs(coil.Truth().Transfer(r.FrequencyHz[at]))
		for i, hz := range r.FrequencyHz {
			if hz >= 40 && hz <= 18000 {
				off := 20 * math.Log10(cmplx.Abs(r.H[i])/scale/cmplx.Abs(coil.Truth().Transfer(hz)))
				worstDB = math.Max(worstDB, math.Abs(off))
			}
		}
		return worstDB
	}
	off, left := worst(without), worst(with)
	t.Logf("off by %.3f dB without, %.4f dB with the calibration", off, left)
	if off < 1 || left > 0.01 {
		t.Errorf("off by %.3f dB without (want more than 1), %.4f dB with the calibration (want less than 0.01)", off,
			left)
	}
}
