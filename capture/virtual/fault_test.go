package virtual

import (
	"math"
	"math/cmplx"
	"testing"

	"coilsweep/capture"
)

// loopbackBench sends what is played straight back: a played 1 is recorded as 1
// in channel 2.
func loopbackBench() Bench {
	b := plainCoil(2.2, 6000, 120e-12, 350e-12, 1e6)
	b.Exciter = Exciter{Drive: "voltage", Resistance: ohm(100), Inductance: henry(1e-3), Mutual: henry(1e-4)}
	b.Reference = Reference{Kind: "loopback", FullScaleV: 1}
	return b
}

// tone is a cosine.
func tone(rateHz int, seconds, hz, amplitude float64) []float32 {
	x := make([]float32, int(seconds*float64(rateHz)))
	for i := range x {
		x[i] = float32(amplitude * math.Cos(2*math.Pi*hz*float64(i)/float64(rateHz)))
	}
	return x
}

func dB(x float64) float64 { return 20 * math.Log10(x) }

// TestFullScale: a sine whose peak is full scale has 0 dBFS (AES17), that is
// rms 1/sqrt 2, and comes back as it went out.
func TestFullScale(t *testing.T) {
	const rate = 48000
	out := recorded(t, loopbackBench(), capture.Load{}, rate, 1, tone(rate, 2.1, 997, 1), 2*rate)[1][rate:]
	if level := dB(math.Sqrt2 * rms(out)); math.Abs(level) > 0.001 {
		t.Errorf("a full-scale sine is recorded at %.4f dBFS", level)
	}
	half := recorded(t, loopbackBench(), capture.Load{}, rate, 1, tone(rate, 2.1, 997, 0.5), 2*rate)[1][rate:]
	if level := dB(math.Sqrt2 * rms(half)); math.Abs(level+6.0206) > 0.001 {
		t.Errorf("a sine of amplitude 0.5 is recorded at %.4f dBFS, wanted -6.0206", level)
	}
}

// TestOutputDistortion: harmonics of a full-scale sine are as stated, and fall
// by 1 and 2 dB for each dB of level.
func TestOutputDistortion(t *testing.T) {
	const rate = 48000
	b := loopbackBench()
	b.Reference.FullScaleV = 2 // room for the harmonics
	b.Output.SecondHarmonicDB, b.Output.ThirdHarmonicDB = -60, -74
	for _, level := range []float64{0, -20} {
		out := recorded(t, b, capture.Load{}, rate, 1, tone(rate, 3, 1000, math.Pow(10, level/20)), 2*rate)[1][rate:]
		base := cmplx.Abs(amplitude(out, rate, 1000))
		second, third := dB(cmplx.Abs(amplitude(out, rate, 2000))/base), dB(cmplx.Abs(amplitude(out, rate, 3000))/base)
		if math.Abs(second-(-60+level)) > 0.02 || math.Abs(third-(-74+2*level)) > 0.02 {
			t.Errorf("at %v dBFS the harmonics are %.3f and %.3f dB, wanted %v and %v", level, second, third, -60+level,
				-74+2*level)
		}
	}
}

func TestClipping(t *testing.T) {
	const rate = 48000
	b := plainCoil(2.2, 6000, 120e-12, 350e-12, 1e6)
	play := tone(rate, 1.5, 1000, 1)
	peak := cmplx.Abs(meshResponse(b, 0, 0, 0, 1000))
	b.Input.FullScaleV = peak / 1.5 // a peak of 1.5 of full scale

	atRails := func(x []float64, rail float64) (count int) {
		for _, v := range x {
			if math.Abs(v) > rail {
				t.Fatalf("%v lies above the rail %v", v, rail)
			}
			if math.Abs(v) == rail {
				count++
			}
		}
		return count
	}
	hard := recorded(t, b, capture.Load{}, rate, 1, play, rate)[0][rate/2:]
	// |cos| > 1/1.5 for acos(1/1.5)/(pi/2) = 53.5 % of the time.
	if share := float64(atRails(hard, 1)) / float64(len(hard)); math.Abs(share-0.535) > 0.03 {
		t.Errorf("%.1f %% of the samples stand at full scale, wanted 53.5 %%", 100*share)
	}
	b.Input.ClipAt = 0.8
	early := recorded(t, b, capture.Load{}, rate, 1, play, rate)[0][rate/2:]
	if share := float64(atRails(early, float64(float32(0.8)))) / float64(len(early)); share < 0.5 {
		t.Errorf("only %.1f %% of the samples stand at 0.8 of full scale", 100*share)
	}
	b.Input.ClipAt, b.Input.Bits = 0, 16
	quantised := recorded(t, b, capture.Load{}, rate, 1, play, rate)[0][rate/2:]
	if top := maxOf(quantised); top != 1-math.Ldexp(1, -15) {
		t.Errorf("16 bits clip at %v, wanted 32767/32768", top)
	}
	b.Input.Bits, b.Input.SoftKnee = 0, 0.6
	soft := recorded(t, b, capture.Load{}, rate, 1, play, rate)[0][rate/2:]
	if top := maxOf(soft); top >= 1 || top < 0.9 {
		t.Errorf("soft clipping lets %v through, wanted 0.9 … 1", top)
	}
	third := cmplx.Abs(amplitude(soft[:rate/2], rate, 3000)) / cmplx.Abs(amplitude(soft[:rate/2], rate, 1000))
	if dB(third) < -30 {
		t.Errorf("soft clipping by 3.5 dB gives a third harmonic of only %.1f dB", dB(third))
	}
	b.Input.FullScaleV = peak / 0.55 // below the knee
	clean := recorded(t, b, capture.Load{}, rate, 1, play, rate)[0][rate/2:]
	if third := cmplx.Abs(amplitude(clean[:rate/2], rate, 3000)); third > 1e-7 {
		t.Errorf("below the knee there is a third harmonic of %.1f dB", dB(third))
	}
}

func maxOf(x []float64) float64 {
	top := math.Inf(-1)
	for _, v := range x {
		top = math.Max(top, v)
	}
	return top
}

// TestQuantising: rounding leaves lsb^2/12, which is -98.09 dBFS for 16 bits
// (a full-scale sine being 0 dBFS); triangular dither of two steps makes it
// three times as much (S. P. Lipshitz, R. A. Wannamaker and J. Vanderkooy, J.
// Audio Eng. Soc. 40, 1992).
func TestQuantising(t *testing.T) {
	const rate = 48000
	b := loopbackBench()
	play := tone(rate, 2.5, 997.3, 0.7)
	exact := recorded(t, b, capture.Load{}, rate, 1, play, 2*rate)[1]
	for _, c := range []struct {
		bits   int
		dither bool
		want   float64
	}{{16, false, -98.09}, {16, true, -98.09 + 4.77}, {12, false, -98.09 + 4*6.0206}} {
		b.Input.Bits, b.Input.Dither = c.bits, c.dither
		got := recorded(t, b, capture.Load{}, rate, 1, play, 2*rate)[1]
		off := make([]float64, len(got))
		for i, v := range got {
			if step := math.Ldexp(v, c.bits-1); step != math.Trunc(step) {
				t.Fatalf("%d bits: %v is no whole step", c.bits, v)
			}
			off[i] = v - exact[i]
		}
		if level := dB(math.Sqrt2 * rms(off)); math.Abs(level-c.want) > 0.1 {
			t.Errorf("%d bits, dither %v: noise %.2f dBFS, wanted %.2f", c.bits, c.dither, level, c.want)
		}
	}
}

func TestPolarity(t *testing.T) {
	b := loopbackBench()
	play := tone(48000, 0.5, 3000, 0.5)
	upright := recorded(t, b, capture.Load{}, 48000, 1, play, 20000)
	b.Input.Inverted = true
	inverted := recorded(t, b, capture.Load{}, 48000, 1, play, 20000)
	for i := range upright[0] {
		if inverted[0][i] != -upright[0][i] || inverted[1][i] != upright[1][i] {
			t.Fatalf("frame %d: %v, %v, inverted %v, %v", i, upright[0][i], upright[1][i], inverted[0][i],
				inverted[1][i])
		}
	}
}

// TestDrift: with a recording clock 137 ppm fast a tone comes back 137 ppm low,
// and is still a tone.
func TestDrift(t *testing.T) {
	const rate, hz, ppm = 48000, 12345.0, 137.0
	for _, sign := range []float64{1, -1} {
		b := loopbackBench()
		b.Clock.DriftPPM, b.Clock.LatencySamples = sign*ppm, 33.25
		out := recorded(t, b, capture.Load{}, rate, 1, tone(rate, 2.5, hz, 0.5), 2*rate)[1]
		low := 2 * math.Pi * hz / (1 + sign*ppm*1e-6) / rate
		var worst float64
		for i := rate / 2; i < len(out); i++ {
			want := 0.5 * math.Cos(low*(float64(i)-33.25))
			worst = math.Max(worst, math.Abs(out[i]-want))
		}
		// 0.0001 dB of the filters is 6e-6.
		if worst > 1e-5 {
			t.Errorf("drift %+v ppm: off by %.2g of full scale from the shifted tone", sign*ppm, worst)
		}
	}
}

func TestDropOuts(t *testing.T) {
	const rate = 48000
	b := loopbackBench()
	play := tone(rate, 1, 440, 0.5)
	clean := recorded(t, b, capture.Load{}, rate, 1, play, rate)[1]
	b.Faults.DropOuts = []DropOut{
		{AtS: 0.25, Lost: 300, Reported: true},
		{AtS: 0.5, Inserted: 100},
	}
	r, err := b.Recorder(capture.Load{}, rate, 1)
	if err != nil {
		t.Fatal(err)
	}
	var got []float64
	session, err := r.Record(t.Context(), play, rate-200, func(block []float32) error {
		for i := 1; i < len(block); i += 2 {
			got = append(got, float64(block[i]))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range got {
		var want float64
		switch {
		case i < rate/4:
			want = clean[i]
		case i < rate/2-300:
			want = clean[i+300]
		case i < rate/2-200: // 100 frames of silence
		default:
			want = clean[i+200]
		}
		if v != want {
			t.Fatalf("frame %d is %v, wanted %v", i, v, want)
		}
	}
	want := capture.Xrun{Frame: rate / 4, Kind: "input-overflow"}
	if len(session.Xruns) != 1 || session.Xruns[0] != want {
		t.Errorf("xruns %v, wanted only %v", session.Xruns, want)
	}
}
