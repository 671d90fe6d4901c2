package virtual

import (
	"context"
	"math"
	"math/cmplx"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/excite/quantity"
)

// tones are the frequencies of the test signal: whole Hz, so that one second
// holds whole periods of all of them.
var tones = []float64{30, 47, 100, 211, 500, 1000, 2003, 3001, 3989, 4507, 5003, 6007, 7993, 10007, 12007, 15013, 18013,
	19997}

// multitone is a sum of cosines at hz, each of the given amplitude, with phases
// that keep the crest low (M. R. Schroeder, IEEE Trans. Information Theory 16,
// 1970).
func multitone(hz []float64, rateHz, seconds int, each float64) []float32 {
	second := make([]float64, rateHz)
	for k, f := range hz {
		phase := math.Pi * float64(k*k) / float64(len(hz))
		for i := range second {
			_, turns := math.Modf(f * float64(i) / float64(rateHz))
			second[i] += each * math.Cos(2*math.Pi*turns+phase)
		}
	}
	x := make([]float32, 0, rateHz*seconds)
	for range seconds {
		for _, v := range second {
			x = append(x, float32(v))
		}
	}
	return x
}

// amplitude is the complex amplitude at hz of x, a whole number of periods.
func amplitude[T float32 | float64](x []T, rateHz int, hz float64) complex128 {
	var sum complex128
	step := cmplx.Rect(1, -2*math.Pi*hz/float64(rateHz))
	var turn complex128
	for i, v := range x {
		if i%1024 == 0 { // before rounding adds up
			_, turns := math.Modf(hz * float64(i) / float64(rateHz))
			turn = cmplx.Rect(1, -2*math.Pi*turns)
		}
		sum += complex(float64(v), 0) * turn
		turn *= step
	}
	return sum * complex(2/float64(len(x)), 0)
}

// record runs a bench and returns its channels.
func recorded(t testing.TB, b Bench, load capture.Load, rateHz int, seed uint64, play []float32,
	frames int) [][]float64 {
	t.Helper()
	r, err := b.Recorder(load, rateHz, seed)
	if err != nil {
		t.Fatal(err)
	}
	return recordWith(t, r, play, frames)
}

func recordWith(t testing.TB, r record.Recorder, play []float32, frames int) [][]float64 {
	t.Helper()
	if testing.Short() && frames > 30000 {
		t.Skip("a long recording")
	}
	out := make([][]float64, r.Format().Channels)
	_, err := r.Record(context.Background(), play, frames, func(block []float32) error {
		for i, v := range block {
			out[i%len(out)] = append(out[i%len(out)], float64(v))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(out[0]) != frames {
		t.Fatalf("%d frames delivered, asked for %d", len(out[0]), frames)
	}
	return out
}

// capacitor and resistor make added parts.
func capacitor(t testing.TB, text string) *quantity.Capacitance {
	t.Helper()
	c, err := quantity.ParseCapacitance(text)
	if err != nil {
		t.Fatal(err)
	}
	return &c
}

func resistor(t testing.TB, text string) *quantity.Resistance {
	t.Helper()
	r, err := quantity.ParseResistance(text)
	if err != nil {
		t.Fatal(err)
	}
	return &r
}

const (
	limitDB  = 0.001 // of the package comment
	limitDeg = 0.01
)

// compareTake plays tones into b without noise and compares what is recorded,
// in steady state, with want for every channel.
func compareTake(t *testing.T, b Bench, rateHz int, want func(channel int, hz float64) complex128, what ...any) {
	t.Helper()
	// s; e^(-2 pi 0.5 3) = 8e-5 is left of the onset behind a corner of 0.5 Hz, itself 1/60 of the tones
	const settle = 3
	play := multitone(tones, rateHz, settle+2, 0.03) // longer than the recording: its end rings
	out := recorded(t, b.Quiet(), capture.Load{}, rateHz, 1, play, rateHz*(settle+1))
	for ch := range out {
		for _, hz := range tones {
			got := amplitude(out[ch][settle*rateHz:], rateHz, hz) / amplitude(play[:rateHz], rateHz, hz)
			got *= cmplx.Rect(1, 2*math.Pi*hz*b.Clock.LatencySamples/float64(rateHz))
			ratio := got / want(ch, hz)
			db, deg := 20*math.Log10(cmplx.Abs(ratio)), cmplx.Phase(ratio)*180/math.Pi
			if math.Abs(db) > limitDB || math.Abs(deg) > limitDeg || cmplx.IsNaN(ratio) {
				t.Errorf("%v: %d Hz rate, channel %d at %.0f Hz is off by %+.5f dB, %+.5f degree", what, rateHz, ch, hz,
					db, deg)
			}
		}
	}
}
