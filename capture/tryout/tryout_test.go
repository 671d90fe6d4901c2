package tryout

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/capture/virtual"
)

const rate = 48000

// heardBy is the stimulus through a simulated bench, as a trial records it.
func heardBy(t *testing.T, recorder record.Recorder) []float64 {
	t.Helper()
	s, err := Stimulus(rate)
	if err != nil {
		t.Fatal(err)
	}
	take := capture.Take{Stimulus: s, Reference: capture.Reference{Kind: "none"}}
	r, _, err := record.Scout(t.Context(), recorder, take, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r.Samples[0]
}

// TestJudge says of recordings what was done to them.
func TestJudge(t *testing.T) {
	s, err := Stimulus(rate)
	if err != nil {
		t.Fatal(err)
	}
	if s.LevelDBFS > -30 {
		t.Errorf("played at %g dBFS, louder than a check begins", s.LevelDBFS)
	}
	bench := virtual.Default()
	through, err := bench.Recorder(capture.Load{}, rate, 1)
	if err != nil {
		t.Fatal(err)
	}
	cable, err := bench.CableRecorder(rate, 1)
	if err != nil {
		t.Fatal(err)
	}
	coil, wire := heardBy(t, through), heardBy(t, cable)
	const delay = 7777
	played := s.Samples()
	copied := append(make([]float64, delay), append(slices.Clone(played), make([]float64, rate/2)...)...)
	each := func(x []float64, f func(i int, v float64) float64) []float64 {
		y := make([]float64, len(x))
		for i, v := range x {
			y[i] = f(i, v)
		}
		return y
	}
	dice := rand.New(rand.NewPCG(1, 2))
	noise := each(copied, func(int, float64) float64 { return 1e-5 * dice.NormFloat64() })
	// What a resampler leaves of a rate of 32 kHz.
	fft := fourier.NewFFT(len(coil))
	c := fft.Coefficients(nil, coil)
	for i := range c {
		if float64(i)*rate/float64(len(coil)) > 15000 {
			c[i] = 0
		}
	}
	narrow := fft.Sequence(nil, c)
	narrow = each(narrow, func(_ int, v float64) float64 { return v / float64(len(coil)) })
	drifted := each(coil, func(i int, _ float64) float64 {
		at := float64(i) * (1 + 150e-6)
		n, f := int(at), at-math.Floor(at)
		if n < 1 || n+2 >= len(coil) {
			return 0
		}
		a, b, c, d := coil[n-1], coil[n], coil[n+1], coil[n+2] // a cubic through four samples
		return b + f/2*(c-a+f*(2*a-5*b+4*c-d+f*(3*(b-c)+d-a)))
	})
	for name, c := range map[string]struct {
		channels [][]float64
		kinds    []Kind
		fit      bool
	}{
		"a coil":          {[][]float64{coil}, []Kind{Heard}, true},
		"coil and cable":  {[][]float64{coil, wire}, []Kind{Heard, Cable}, true},
		"a cable":         {[][]float64{wire}, []Kind{Cable}, true},
		"a monitor":       {[][]float64{copied}, []Kind{Copy}, false},
		"a quiet monitor": {[][]float64{each(copied, func(_ int, v float64) float64 { return v / 3 })}, []Kind{Copy}, false},
		"a 16-bit monitor": {[][]float64{each(copied, func(_ int, v float64) float64 {
			return math.Round(v*32768) / 32768
		})}, []Kind{Copy}, false},
		"muted":             {[][]float64{make([]float64, len(coil))}, []Kind{Zeros}, false},
		"one of two muted":  {[][]float64{coil, make([]float64, len(coil))}, []Kind{Heard, Zeros}, true},
		"nothing connected": {[][]float64{noise}, []Kind{Silent}, false},
		"too much gain": {[][]float64{each(coil, func(_ int, v float64) float64 { return max(-1, min(1, 100*v)) })},
			[]Kind{Clipped}, false},
		"mono": {[][]float64{coil, coil}, []Kind{Heard, Same}, true},
		"automatic gain": {[][]float64{each(coil, func(i int, v float64) float64 { return v * (1 + 0.1*float64(i)/rate) })},
			[]Kind{Heard, Gain}, false},
		"a gate": {[][]float64{each(coil, func(i int, v float64) float64 {
			if i < s.LeadInSamples {
				return 0
			}
			return v
		})}, []Kind{Processed, Heard}, false},
		"nothing but an effect": {[][]float64{each(coil, func(i int, v float64) float64 {
			if i < s.LeadInSamples {
				return v
			}
			return 0.01 * dice.NormFloat64()
		})}, []Kind{Processed}, false},
		"samples lost": {[][]float64{slices.Concat(coil[:110000], coil[110100:])}, []Kind{Heard, Lost}, true},
		"resampled":    {[][]float64{narrow}, []Kind{Heard, Resampled}, true},
		"two clocks":   {[][]float64{drifted}, []Kind{Heard, Clocks}, true},
	} {
		o, err := Judge(capture.Recording{RateHz: rate, Samples: c.channels, FullScale: 1}, s, nil)
		if err != nil {
			t.Fatal(err)
		}
		var kinds []Kind
		for _, f := range o.Findings {
			kinds = append(kinds, f.Kind)
		}
		for _, k := range c.kinds {
			if !slices.Contains(kinds, k) {
				t.Errorf("%s: %q, want %q\n%+v", name, kinds, c.kinds, o.Findings)
			}
		}
		if name != "too much gain" && len(kinds) != len(c.kinds) {
			t.Errorf("%s: %q, want %q\n%+v", name, kinds, c.kinds, o.Findings)
		}
		if o.FitToRecord != c.fit {
			t.Errorf("%s: fit %v", name, o.FitToRecord)
		}
		if len(o.Channels) != len(c.channels) {
			t.Errorf("%s: %d levels", name, len(o.Channels))
		}
		if name == "a monitor" && (o.DelayS == nil || math.Abs(*o.DelayS-delay/float64(rate)) > 1e-3) {
			t.Errorf("delay %v", o.DelayS)
		}
	}
	o, err := Judge(capture.Recording{RateHz: rate, Samples: [][]float64{coil}, FullScale: 1}, s,
		[]capture.Xrun{{Frame: 3, Kind: "input-overflow"}})
	if err != nil || o.Findings[0].Kind != Lost || !o.FitToRecord {
		t.Errorf("with an overrun: %+v, %v", o, err)
	}
	for _, f := range o.Findings {
		if strings.Contains(f.Text, "%!") {
			t.Errorf("%q", f.Text)
		}
	}
}
