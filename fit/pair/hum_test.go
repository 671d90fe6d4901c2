package pair

import (
	"math"
	"testing"

	"coilsweep/fit"
)

// Hum that is left, worked out by hand: of EMFs 1 and 0.98 it is 0.02 of 1.98, 39.9 dB.
func TestHumOf(t *testing.T) {
	near := func(got, want float64) bool { return math.Abs(got-want) < 0.005 }
	// U95 of 0.0098: 0.9702 to 0.9898, so 1.9702/0.0298 and 1.9898/0.0102.
	h := humOf("series", 0.98, 0, fit.Variances{Fit: 0.005 * 0.005})
	if q := h.Rejection; !q.Known() || !near(q.Value, 39.91) || !near(q.Low, 36.41) || !near(q.High, 45.80) ||
		h.AtLeast != nil {
		t.Errorf("%+v", h)
	}
	// The slope is 8.69 (1/1.98 + 1/0.02) dB for each unit of the ratio, 438.7.
	if u := h.Rejection.U; !near(u, 2.194) {
		t.Errorf("u %g", u)
	}
	// The second coil is the stronger one: 2.02/0.02 = 40.09 dB, from 2.0298/0.0298 to 2.0102/0.0102.
	h = humOf("series", 1.02, 0, fit.Variances{Fit: 0.005 * 0.005})
	if q := h.Rejection; !near(q.Value, 40.09) || !near(q.Low, 36.66) || !near(q.High, 45.89) {
		t.Errorf("%+v", h)
	}
	// Perfect balance within U95 of 0.0392: the worse end is 0.9408, 1.9408/0.0592.
	h = humOf("series", 0.98, 0, fit.Variances{Fit: 0.02 * 0.02})
	if h.Rejection.Known() || h.AtLeast == nil || !near(*h.AtLeast, 30.31) {
		t.Errorf("%+v, %v", h, *h.AtLeast)
	}
	// What is out of phase by 0.01 stays: |1.98 + 0.01j|/|0.02 - 0.01j|.
	if h = humOf("parallel", 0.98, 0.01, fit.Variances{Fit: 1e-12}); !near(h.Rejection.Value, 38.94) {
		t.Errorf("%+v", h)
	}
}
