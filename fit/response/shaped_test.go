package response

import (
	"context"
	"math"
	"math/cmplx"
	"testing"

	"coilsweep/excite"
)

// A shaped sweep, that of a coil with its resonance near 8 kHz, gives the
// response as truly as the exponential sweep: a pole pair behind the two
// high-pass corners of a sound card, which make the response long.
func TestShapedSweepHasNoBias(t *testing.T) {
	h := func(hz float64) complex128 {
		if hz == 0 {
			return 0
		}
		s := complex(0, hz)
		card := s / (s + 1.8) * s / (s + 2.6)
		return card * complex(0, hz/1000) / (1 + s/complex(8000*3.9, 0) + s*s/complex(8000*8000, 0))
	}
	for _, seconds := range []float64{1.4, 2.8} {
		r := excite.DefaultRequest()
		r.SweepS = seconds
		r.Shape = []excite.Knot{{FrequencyHz: 20, Weight: 0.45}, {FrequencyHz: 190, Weight: 0.45},
			{FrequencyHz: 400, Weight: 0.2},
			{FrequencyHz: 5500, Weight: 0.2}, {FrequencyHz: 6500, Weight: 4}, {FrequencyHz: 7500, Weight: 12},
			{FrequencyHz: 8500, Weight: 9},
			{FrequencyHz: 9500, Weight: 7}, {FrequencyHz: 12000, Weight: 0.2}, {FrequencyHz: 20000, Weight: 2}}
		stim, err := excite.Design(r)
		if err != nil {
			t.Fatal(err)
		}
		got, err := materialOf(stim, stim.Sweep(), h, 2, 0, 1).estimate(context.Background(), new(Estimator))
		if err != nil {
			t.Fatal(err)
		}
		if first := got.FrequencyHz[0]; first > 30 {
			t.Errorf("%g s: the response begins at %g Hz", seconds, first)
		}
		if got.Harmonic != nil {
			t.Error("harmonics of a shaped sweep")
		}
		for _, band := range []struct{ from, to, db float64 }{{20, 30, -60}, {30, 50, -85}, {50, 100, -100},
			{100, 10000, -120}, {10000, 20000, -98}} {
			worst, at := 0.0, 0.0
			for i, hz := range got.FrequencyHz {
				want := h(hz) / complex(0, hz/1000) * cmplx.Exp(complex(0, 2*math.Pi*hz*got.ExtraDelayS))
				if d := cmplx.Abs(got.H[i]/want - 1); d > worst && hz >= band.from && hz < band.to {
					worst, at = d, hz
				}
			}
			if db := 20 * math.Log10(worst); db > band.db {
				t.Errorf("%g s: %.1f dB off at %.0f Hz, want %g dB at most", seconds, db, at, band.db)
			}
		}
	}
}
