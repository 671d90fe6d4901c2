package virtual

import (
	"context"
	"math"
	"math/cmplx"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
)

// tones are the frequencies of the test signal: whole Hz, so that one second
// holds whole periods of all of them.
var tones = []float64{30, 47, 100, 211, 500, 1000, 2003, 3001, 3989, 4507, 5003, 6007, 7993, 10007, 12007, 15013, 18013, 19997}

// multitone is seconds of a sum of cosines of amplitude each with phases that keep the crest low.
func multitone(rateHz, seconds int, each float64) []float32 {
	x := make([]float32, rateHz*seconds)
	for i := range x {
		var sum float64
		for k, hz := range tones {
			_, turns := math.Modf(hz * float64(i) / float64(rateHz))
			sum += math.Cos(2*math.Pi*turns + math.Pi*float64(k*k)/float64(len(tones)))
		}
		x[i] = float32(each * sum)
	}
	return x
}

// amplitude is the complex amplitude at hz of x, a whole number of periods.
func amplitude(x []float64, rateHz int, hz float64) complex128 {
	var sum complex128
	for i, v := range x {
		_, turns := math.Modf(hz * float64(i) / float64(rateHz))
		sum += complex(v, 0) * cmplx.Rect(1, -2*math.Pi*turns)
	}
	return sum * complex(2/float64(len(x)), 0)
}

// record runs a bench and returns its channels.
func record(t testing.TB, b Bench, load capture.Load, rateHz int, seed uint64, play []float32, frames int) [][]float64 {
	t.Helper()
	r, err := b.Recorder(load, rateHz, seed)
	if err != nil {
		t.Fatal(err)
	}
	out := make([][]float64, r.Format().Channels)
	_, err = r.Record(context.Background(), play, frames, func(block []float32) error {
		for i, v := range block {
			out[i%len(out)] = append(out[i%len(out)], float64(v))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func farad(t testing.TB, text string) *quantity.Capacitance {
	t.Helper()
	c, err := quantity.ParseCapacitance(text)
	if err != nil {
		t.Fatal(err)
	}
	return &c
}

func TestSmoke(t *testing.T) {
	b := Default().Quiet()
	for _, rate := range []int{44100, 48000, 96000} {
		play := multitone(rate, 3, 0.02)
		out := record(t, b, capture.Load{}, rate, 1, play, 3*rate)
		truth, _ := b.Truth(capture.Load{}, 1)
		for ch := range out {
			for _, hz := range tones {
				in := amplitude(f64(play[:rate]), rate, hz)
				got := amplitude(out[ch][2*rate:], rate, hz) / in
				got *= cmplx.Rect(1, 2*math.Pi*hz*b.Clock.LatencySamples/float64(rate))
				want := truth.Recorded(ch, hz)
				r := got / want
				t.Logf("%d ch %d %6.0f Hz %8.2f dB, off %+.5f dB %+.5f deg", rate, ch, hz, 20*math.Log10(cmplx.Abs(want)), 20*math.Log10(cmplx.Abs(r)), cmplx.Phase(r)*180/math.Pi)
			}
		}
		t.Logf("%+v", truth.ResonanceHz)
		t.Logf("%+v %v", truth.Q, truth.LCHz)
	}
}

func f64(x []float32) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = float64(v)
	}
	return y
}
func BenchmarkTake(b *testing.B) {
	bench := Default()
	play := multitone(48000, 14, 0.02)
	b.ReportAllocs()
	for b.Loop() {
		r, _ := bench.Recorder(capture.Load{}, 48000, 1)
		r.Record(context.Background(), play, 15*48000, func([]float32) error { return nil })
	}
}
