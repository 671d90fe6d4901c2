package record

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"coilsweep/capture"
)

// card is the response of two first-order corners, 5 Hz and 60 kHz, with a
// delay of half a sample at 48 kHz.
func card(hz float64) complex128 {
	s := complex(0, hz)
	return 2 * s / (s + 5) / (1 + s/60e3) * cmplx.Rect(1, -math.Pi*hz/48000)
}

func calibration(t testing.TB) capture.Calibration {
	t.Helper()
	var hz, u []float64
	var h []complex128
	for f := 25.0; f < 19000; f *= math.Exp2(1.0 / 24) {
		hz, h, u = append(hz, f), append(h, card(f)), append(u, 1e-5)
	}
	return capture.Calibration{
		Made: time.Date(2026, 11, 1, 12, 0, 0, 0, time.UTC), RateHz: 48000,
		InputDevice: "line in", OutputDevice: "line out", CoilChannel: 1, OutputChannel: 1,
		FromHz: 20, ToHz: 20000, LevelDBFS: -24,
	}.WithResponse(hz, h, u)
}

func TestCalibrationBetweenItsPoints(t *testing.T) {
	text, err := capture.EncodeCalibration(calibration(t))
	if err != nil {
		t.Fatal(err)
	}
	c, err := capture.DecodeCalibration(text)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(calibration(t), c); diff != "" {
		t.Errorf("read back (-written +read):\n%s", diff)
	}
	for hz := 26.0; hz < 18500; hz *= 1.01 {
		got, u := c.At(hz)
		if off := cmplx.Abs(got/card(hz) - 1); off > 2e-4 || u != 1e-5 {
			t.Errorf("%g Hz: off by %.2g, u %g", hz, off, u)
		}
	}
	low, _ := c.At(1)
	high, _ := c.At(1e5)
	if got, _ := c.At(25); low != got {
		t.Errorf("below the table %v, want its end %v", low, got)
	}
	if end, _ := c.At(c.FrequencyHz[len(c.FrequencyHz)-1]); cmplx.Abs(high/end-1) > 1e-12 {
		t.Errorf("above the table %v, want its end %v", high, end)
	}
}

func TestCalibrationOfAnotherBenchIsRefused(t *testing.T) {
	c := calibration(t)
	take := plan(t, "bare") // 100 Hz to 16 kHz at 48 kHz
	if err := c.Covers(take); err != nil {
		t.Error(err)
	}
	same := capture.Bench{InputDevice: "line in", OutputDevice: "line out", CoilChannel: 1}
	if err := c.Matches(same, 0); err != nil {
		t.Error(err)
	}
	for want, change := range map[string]func(*capture.Take, *capture.Calibration){
		"take is at 48000 Hz":               func(_ *capture.Take, c *capture.Calibration) { c.RateHz = 44100 },
		"the sweep is from 100 Hz to 16000": func(_ *capture.Take, c *capture.Calibration) { c.ToHz = 15000 },
		"columns of 3": func(_ *capture.Take, c *capture.Calibration) {
			c.FrequencyHz = c.FrequencyHz[:3]
		},
		"cannot be: calibrate again": func(_ *capture.Take, c *capture.Calibration) {
			c.MagnitudeDB[4] = math.NaN()
		},
		"point 3 of the response (25 Hz, 5.8": func(_ *capture.Take, c *capture.Calibration) { c.FrequencyHz[2] = 25 },
	} {
		c, take := calibration(t), plan(t, "bare")
		change(&take, &c)
		if err := c.Covers(take); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
		// A take with it is not even begun.
		take.Calibration = &c
		if _, err := Run(t.Context(), mono(), newFolder(t), take, Options{}); err == nil {
			t.Errorf("a take was made: want %q", want)
		}
	}
	for want, other := range map[string]capture.Bench{
		"input device line in, and now it is mic": {InputDevice: "mic", OutputDevice: "line out", CoilChannel: 1},
		"output device line out, and now it is phones": {InputDevice: "line in", OutputDevice: "phones",
			CoilChannel: 1},
		"coil's channel 1, and now it is 2": {InputDevice: "line in", OutputDevice: "line out", CoilChannel: 2},
	} {
		if err := c.Matches(other, 1); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
	if err := c.Matches(same, 2); err == nil {
		t.Error("another output channel was taken")
	}
}

func TestScoutKeepsNothing(t *testing.T) {
	bench := &loopback{rateHz: 48000, channels: 2, gain: 1, xruns: []capture.Xrun{{Frame: 5, Kind: "input-overflow"}}}
	take := capture.Take{Drive: capture.Drive{Kind: "direct"}, Reference: capture.Reference{Kind: "none"},
		Stimulus: shortStimulus(t)}
	var peak float64 = math.Inf(-1)
	reports := 0
	r, take, err := Scout(t.Context(), bench, take, func(m []Meter) {
		if len(m) != 2 {
			t.Fatalf("%d meters, want 2", len(m))
		}
		reports++
		peak = max(peak, m[0].PeakDBFS)
		if m[0].RMSDBFS > m[0].PeakDBFS+3.1 {
			t.Errorf("rms %g over peak %g", m[0].RMSDBFS, m[0].PeakDBFS)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(peak - -12) > 0.1 || reports < 10 {
		t.Errorf("%d reports, peak %g dBFS, want -12", reports, peak)
	}
	if r.Frames() < take.Stimulus.TotalSamples() || len(r.Samples) != 2 || len(take.Quality.Xruns) != 1 ||
		take.Bench.InputDevice != "loopback" {
		t.Errorf("%d frames of %d channels, %+v", r.Frames(), len(r.Samples), take.Quality)
	}
	bench.failAfter = 20000
	if _, _, err := Scout(t.Context(), bench, take, nil); err == nil {
		t.Error("a device that vanishes is no error")
	}
	take.Reference.Kind = "loopback"
	if _, _, err := Scout(t.Context(), mono(), take, nil); err == nil || !strings.Contains(err.Error(),
		"needs a second one") {
		t.Errorf("%v", err)
	}
}

func FuzzDecodeCalibration(f *testing.F) {
	c := calibration(f)
	c = c.WithResponse(c.FrequencyHz[:3], []complex128{1, 1i, -1}, []float64{0, 1, 2})
	text, err := capture.EncodeCalibration(c)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	s := shortStimulus(f)
	c.Stimulus, c.Audio = &s, &capture.Audio{File: "card-48000.wav", SHA256: "00ff", RateHz: 48000, Channels: 1,
		Frames: 7}
	if text, err = capture.EncodeCalibration(c); err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte("schema = \"coilsweep.card/1\"\nfrequency_hz = [1.0, nan]\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := capture.DecodeCalibration(text)
		if err != nil {
			return
		}
		for _, hz := range []float64{1e-3, 1000, 1e7} {
			if h, u := c.At(hz); cmplx.IsNaN(h) || math.IsNaN(u) {
				t.Errorf("%g Hz: %v, %v", hz, h, u)
			}
		}
	})
}
