package virtual

import (
	"math"
	"math/cmplx"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"coilsweep/capture"
	"coilsweep/capture/quality"
)

// spectrum is the one-sided density of a recording, squared, in 1/Hz.
type spectrum struct {
	squared []float64
	binHz   float64
}

func spectrumOf(x []float64, rateHz int) spectrum {
	s := spectrum{binHz: float64(rateHz) / float64(len(x))}
	for _, c := range fourier.NewFFT(len(x)).Coefficients(nil, x) {
		s.squared = append(s.squared, 2*(real(c)*real(c)+imag(c)*imag(c))/float64(len(x))/float64(rateHz))
	}
	return s
}

// density is the mean from from to to (Hz), 1/sqrt(Hz).
func (s spectrum) density(from, to float64) float64 {
	band := s.squared[int(from/s.binHz):int(to/s.binHz)]
	var sum float64
	for _, v := range band {
		sum += v
	}
	return math.Sqrt(sum / float64(len(band)))
}

func rms(x []float64) float64 {
	l := quality.LevelOf(x)
	return math.Sqrt(l.Square / float64(l.N))
}

// TestThermalNoise: sqrt(4kTRB) of 6 kohm, 20 °C, 20 kHz is 1.394 uV (J. B.
// Johnson and H. Nyquist, Physical Review 32, 1928; k of the SI). The coil's
// noise is flat only far below its resonance; there it must have that density.
func TestThermalNoise(t *testing.T) {
	b := plainCoil(2.2, 6000, 120e-12, 350e-12, 1e9)
	b.Noise.Thermal = true
	b.Input.FullScaleV = 1e-3
	const rate, seconds = 48000, 10
	x := recorded(t, b, capture.Load{}, rate, 5, nil, rate*seconds)[0]
	// Below 400 Hz the resonance at 4.9 kHz lifts the level by 0.2 %; 3700
	// bins scatter by 0.8 %.
	got := 1e-3 * spectrumOf(x, rate).density(30, 400) * math.Sqrt(20000)
	if math.Abs(got/1.394e-6-1) > 0.02 {
		t.Errorf("noise of 6 kohm in 20 kHz is %.4g V, wanted 1.394 uV", got)
	}
	b.Noise.Thermal = false
	if r := rms(recorded(t, b, capture.Load{}, rate, 5, nil, rate)[0]); r != 0 {
		t.Errorf("a bench without noise records %g rms of silence", r)
	}
}

// TestThermalNoiseMeetsNgspice compares the density with ngspice's .noise of a
// coil with rings and cover, where the circuit shapes it.
func TestThermalNoiseMeetsNgspice(t *testing.T) {
	b, err := Load("testdata/bench_voltage.toml")
	if err != nil {
		t.Fatal(err)
	}
	b = b.Quiet()
	b.Noise.Thermal = true
	b.Input.FullScaleV, b.Input.HighPassHz, b.Input.RollOff = 1e-3, nil, RollOff{}
	const rate, seconds = 48000, 12
	x := recorded(t, b, capture.Load{}, rate, 6, nil, rate*seconds)[0]
	measured := spectrumOf(x, rate)
	for _, row := range table(t, "bench_noise.csv") {
		hz, want := number(t, row[0]), number(t, row[1])
		// Noise that is held for a period of the internal rate falls by
		// sinc(f/192 kHz): 1 % at 16 kHz. 2400 bins scatter by 1 %.
		got := 1e-3 * measured.density(hz-100, hz+100)
		if math.Abs(got/want-1) > 0.035 {
			t.Errorf("noise density at %v Hz is %.4g V/sqrt(Hz), ngspice %.4g", hz, got, want)
		}
	}
}

func TestInputNoise(t *testing.T) {
	b := plainCoil(2.2, 6000, 120e-12, 350e-12, 1e6)
	b.Reference = Reference{Kind: "current", SenseR: ohm(10), FullScaleV: 0.5}
	b.Noise = Noise{InputVPerRtHz: 50e-9, ReferenceVPerRtHz: 20e-9}
	b.Input.FullScaleV = 0.2
	const rate = 48000
	out := recorded(t, b, capture.Load{}, rate, 7, nil, 10*rate)
	for ch, want := range []float64{50e-9 / 0.2, 20e-9 / 0.5} {
		want *= math.Sqrt(rate / 2)
		if got := rms(out[ch]); math.Abs(got/want-1) > 0.01 {
			t.Errorf("channel %d: noise %.4g of full scale rms, wanted %.4g", ch, got, want)
		}
	}
}

// TestHum finds each harmonic of the mains with the amplitude of its EMF behind
// the coil, and at its true frequency.
func TestHum(t *testing.T) {
	zero := 0.0
	b := plainCoil(2.2, 6000, 120e-12, 350e-12, 1e6)
	b.Hum = &Hum{MainsHz: 50.25, StartDeg: &zero, Lines: []HumLine{{1, 1e-3, 30}, {3, 0.5e-3, -100}, {20, 0.1e-3, 0}}}
	b.Input.FullScaleV = 0.01
	const rate, seconds = 48000, 4 // 201 periods of 50.25 Hz
	x := recorded(t, b, capture.Load{}, rate, 1, nil, rate*seconds)[0]
	emf := b.Quiet()
	for _, l := range b.Hum.Lines {
		hz := float64(l.Harmonic) * b.Hum.MainsHz
		// Voltage over EMF from mesh analysis of a drive of the same EMF.
		h := meshResponse(emf, 0, 0, 0, hz) / complex(0, 2*math.Pi*hz*1e-4*1e-3)
		want := h * cmplx.Rect(l.EMFRMSV*math.Sqrt2, (l.PhaseDeg-90)*math.Pi/180) // a sine
		got := amplitude(x, rate, hz)
		if cmplx.Abs(got/want-1) > 1e-3 {
			t.Errorf("hum at %.2f Hz is %.6g at %.2f degree, wanted %.6g at %.2f", hz, cmplx.Abs(got),
				cmplx.Phase(got)*180/math.Pi, cmplx.Abs(want), cmplx.Phase(want)*180/math.Pi)
		}
	}
	b.Hum.StartDeg = nil
	first := recorded(t, b, capture.Load{}, rate, 1, nil, 2000)[0]
	again := recorded(t, b, capture.Load{}, rate, 1, nil, 2000)[0]
	other := recorded(t, b, capture.Load{}, rate, 2, nil, 2000)[0]
	if first[1000] != again[1000] || first[1000] == other[1000] {
		t.Error("the phase of the mains does not follow the seed")
	}
}
