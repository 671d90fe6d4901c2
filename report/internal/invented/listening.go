package invented

import (
	"math"
	"testing"

	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/sound"
)

// Listening is two sounds of a second and a half: notes of 440 Hz, the first one with an
// octave above it.
func Listening(t testing.TB) *sound.Listening {
	t.Helper()
	const rate = 48000
	x := make([]float64, 3*rate/2)
	for i := range x {
		at := 2 * math.Pi * 440 * float64(i) / rate
		x[i] = 0.3*math.Sin(at) + 0.3*math.Sin(2*at)
	}
	mean := make(sound.Filter, 55) // half a period of the octave
	for i := range mean {
		mean[i] = 1.0 / 55
	}
	pair, err := sound.NewPair(t.Context(), x, rate, nil, mean)
	if err != nil {
		t.Fatal(err)
	}
	difference := []fit.Quantity{Quantity(-0.3, 0.2), Quantity(0.1, 0.2), Quantity(0.2, 0.2), Quantity(0.4, 0.3),
		Quantity(1.25, 0.3), Quantity(4.2, 0.4), Quantity(-3, 0.5), Quantity(-9.5, 0.8),
		fit.Unknown("the recording has nothing in this octave")}
	heard := &harness.Heard{Assumptions: []string{"cable 470p: a tolerance of 10 % is assumed"},
		Warnings: []string{"neck: taking out the coil that recorded raises what is near 6 kHz by 14 dB, its noise too"}}
	for i, q := range difference {
		heard.Octaves = append(heard.Octaves, harness.Octave{CentreHz: []float64{63, 125, 250, 500, 1e3, 2e3, 4e3, 8e3,
			16e3}[i], Difference: q})
	}
	return &sound.Listening{Recording: "take <5>.wav", Guitar: "an invented guitar",
		Names: [2]string{"neck", "</script>bridge"}, RecordedWith: "neck", Heard: heard, Pair: pair}
}
