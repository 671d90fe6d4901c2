package virtual

import (
	"math"
	"math/cmplx"
	"testing"

	"coilsweep/excite/quantity"
)

// The divider of a resistor and a fixture by hand: 1/(1 + R/R_in + jwRC).
func TestSeriesResistorMakesADivider(t *testing.T) {
	b := Default().Quiet()
	b.Output.HighPassHz, b.Input.HighPassHz = nil, nil
	b.Output.RollOff, b.Input.RollOff = RollOff{}, RollOff{}
	b.Reference = Reference{Kind: "loopback", FullScaleV: 2}
	rate, play := 48000, 4800
	recorder, err := b.SeriesRecorder(*resistor(t, "470k"), rate, 1)
	if err != nil {
		t.Fatal(err)
	}
	const ro, rin, c = 33.0, 1e6, 65e-12
	rs := 470e3 + ro
	for _, hz := range []float64{100, 1000, 7000, 15000} {
		want := 1 / complex(1+rs/rin, 2*math.Pi*hz*rs*c)
		// What the jack has lost in the output's own resistance.
		jack := 1 - complex(ro/rs, 0)*(1-want)
		scale := complex(b.Output.FullScaleV/b.Input.FullScaleV, 0)
		if got := recorder.Truth().Recorded(0, hz); cmplx.Abs(got/(want*scale)-1) > 1e-9 {
			t.Errorf("%g Hz: %v, want %v", hz, got, want*scale)
		}
		if got := recorder.Truth().Recorded(1, hz); cmplx.Abs(got/(jack*complex(b.Output.FullScaleV/2, 0))-1) > 1e-9 {
			t.Errorf("%g Hz: loopback %v, want %v", hz, got, jack)
		}
		// And in time.
		tone := make([]float32, play)
		for i := range tone {
			tone[i] = float32(0.1 * math.Sin(2*math.Pi*hz*float64(i)/float64(rate)))
		}
		var sum complex128
		got := 0
		at := int(b.Clock.LatencySamples) + play/2 // when all is steady
		n := 2400 / 100 * 100
		_, err := recorder.Record(t.Context(), tone, at+n, func(block []float32) error {
			for i := 0; i < len(block); i += 2 {
				if got >= at && got < at+n {
					angle := 2 * math.Pi * hz * (float64(got) - b.Clock.LatencySamples) / float64(rate)
					sum += complex(float64(block[i]), 0) * cmplx.Rect(2/float64(n), -angle)
				}
				got++
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if ratio := sum / (complex(0, -0.1) * want * scale); hz >= 1000 && cmplx.Abs(ratio-1) > 1e-3 {
			t.Errorf("%g Hz in time: %v of what it should be", hz, ratio)
		}
	}
}

func TestCableIsTheSoundCardAlone(t *testing.T) {
	b := Default()
	recorder, err := b.CableRecorder(48000, 1)
	if err != nil {
		t.Fatal(err)
	}
	got := recorder.Truth().Recorded(0, 1000)
	want := b.Output.FullScaleV / b.Input.FullScaleV / (1 + 33/1e6)
	if math.Abs(cmplx.Abs(got)/want-1) > 1e-3 { // the roll-offs take a little
		t.Errorf("at 1 kHz %v, want about %v", cmplx.Abs(got), want)
	}
	if d := recorder.Describe(); d.Notes[0] != "simulated: demo bench (simulated, invented), a cable from output to "+
		"input" {
		t.Errorf("described as %q", d.Notes)
	}
}

func TestSeriesResistorThatCannotBe(t *testing.T) {
	b := Default()
	b.Fixture.Capacitance = quantity.Capacitance{}
	if _, err := b.SeriesRecorder(*resistor(t, "470k"), 48000, 1); err == nil {
		t.Error("a fixture without capacitance was taken")
	}
}
