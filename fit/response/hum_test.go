package response

import (
	"context"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/align"
)

// humShape is the size of the harmonics of hum over its first, odd ones
// strong, as of a loop near a transformer (common practice).
var humShape = []float64{1, 0.1, 0.5, 0.05, 0.3, 0.02, 0.2, 0.01, 0.1, 0.01, 0.05, 0.005, 0.03}

// humAt is hum of unit size at phase cycles of the mains.
func humAt(cycles float64) float64 {
	sum := 0.0
	for i, a := range humShape {
		sum += a * math.Sin(2*math.Pi*float64(i+1)*cycles+float64(i*i))
	}
	return sum
}

// recording plays the default stimulus through h: whole, 2345 samples late,
// with noise and with what extra adds at each time. The take says where its
// repeats lie.
func recording(h func(hz float64) complex128, noise float64, seed uint64,
	extra func(t float64) float64) (capture.Recording, capture.Take) {
	stim := testStimulus(48000, 4)
	rng := rand.New(rand.NewPCG(seed, 7))
	x := noisy(make([]float64, stim.TotalSamples()+6000), noise, rng)
	period := through(testPeriod(), 48000, h)
	at := &align.Alignment{Quality: 1, Polarity: 1}
	for k := range stim.Repeats {
		at.StartSample = append(at.StartSample, float64(2345+stim.RepeatStart(k)))
		for i, v := range period {
			x[2345+stim.RepeatStart(k)+i] += v
		}
	}
	if extra != nil {
		for i := range x {
			x[i] += extra(float64(i) / 48000)
		}
	}
	return capture.Recording{RateHz: 48000, Samples: [][]float64{x}}, capture.Take{Name: "test", Stimulus: stim,
		Alignment: at}
}

// TestHum: hum 20 dB above the recorded sweep at the plateau's 1 kHz, steady or
// with a frequency that creeps, moves the response by a fraction of its u.
func TestHum(t *testing.T) {
	t.Parallel()
	h := resonator(4000, 5)
	amplitude := testStimulus(48000, 4).Amplitude()
	const noise = 1e-3
	rec, take := recording(driven(h), noise, 1, nil)
	without, err := Estimate(context.Background(), rec, take)
	if err != nil {
		t.Fatal(err)
	}
	if without.MainsHz != 0 || len(without.HumLinesHz) != 0 {
		t.Errorf("hum of %g Hz and lines %v Hz found in plain noise", without.MainsHz, without.HumLinesHz)
	}
	for _, c := range []struct {
		name  string
		size  float64
		hz    float64
		creep float64 // Hz/s
	}{
		{"faint", 0.01, 50.03, 0},
		{"strong", 10, 50.03, 0},
		{"strong, 60 Hz", 10, 59.96, 0},
		{"strong, creeping", 10, 49.98, 1e-3},
	} {
		rec, take := recording(driven(h), noise, 1, func(t float64) float64 {
			return c.size * amplitude * humAt(c.hz*t+c.creep*t*t/2)
		})
		r, err := Estimate(context.Background(), rec, take)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		middle := c.hz + c.creep*7
		if math.Abs(r.MainsHz-middle) > 2e-3 {
			t.Errorf("%s: mains of %.4f Hz found, want %.4f", c.name, r.MainsHz, middle)
		}
		var moved, movedOnLine, onLine, points float64
		errors := matched(r, h, 25, 18000)
		for i, e := range matched(without, h, 25, 18000) {
			f := r.FrequencyHz[i]
			if cmplx.IsNaN(e) {
				continue
			}
			d := square(errors[i]-e) * square(without.H[i]) / without.Variance[i]
			moved += d
			points++
			if off := math.Abs(math.Remainder(f, c.hz)); off < 1.7 && f < 14*c.hz {
				movedOnLine += d
				onLine++
			}
		}
		moved, movedOnLine = math.Sqrt(moved/points), math.Sqrt(movedOnLine/onLine)
		t.Logf("%s: %.6f Hz, %d lines; the response moves by %.3f u, near the lines by %.3f u (rms)", c.name, r.MainsHz,
			len(r.HumLinesHz), moved, movedOnLine)
		if moved > 0.1 || movedOnLine > 0.7 {
			t.Errorf("%s: the response moves by %.3f u, near the lines by %.3f u; want at most 0.1 and 0.7", c.name,
				moved,
				movedOnLine)
		}
	}
}

// TestUnsteadyLine: a line that no sinusoid describes (its phase runs away at
// random) is left out, and its neighbours are right within their u.
func TestUnsteadyLine(t *testing.T) {
	t.Parallel()
	h := resonator(4000, 5)
	var chi2, points float64
	for seed := range uint64(2) {
		rng := rand.New(rand.NewPCG(seed, 11))
		phase := 0.0
		rec, take := recording(driven(h), 1e-3, seed, func(t float64) float64 {
			phase += 0.002 * rng.NormFloat64()
			return 0.05 * math.Sin(2*math.Pi*1234.5*t+phase)
		})
		r, err := Estimate(context.Background(), rec, take)
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, f := range r.HumLinesHz {
			found = found || math.Abs(f-1234.5) < 1
		}
		if !found {
			t.Errorf("the line at 1234.5 Hz is not among those left out: %v", r.HumLinesHz)
		}
		for i, e := range matched(r, h, 30, 18000) {
			if math.Abs(r.FrequencyHz[i]-1234.5) < 30 {
				chi2 += square(e) * square(r.H[i]) / r.Variance[i]
				points++
			}
		}
	}
	t.Logf("chi-square a point within 30 Hz of the line: %.2f over %g points", chi2/points, points)
	if got := chi2 / points; got > 2 {
		t.Errorf("chi-square a point within 30 Hz of the line: %.2f, want about 1", got)
	}
}
