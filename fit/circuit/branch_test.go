package circuit

import (
	"math"
	"testing"
)

// A loop of R2 and L2 that is coupled to a winding by M: Kirchhoff's voltage law for
// both, v = (R + jwL) i + jwM i2 and 0 = jwM i + (R2 + jwL2) i2, gives the
// winding R + w² M² R2/(R2² + w² L2²) in series with
// L - w² M² L2/(R2² + w² L2²).
func TestBranchOfCoupledLoop(t *testing.T) {
	const henry, ohm, coupling, loopH, loopOhm = 3.1, 7200.0, 0.28, 1e-6, 20e-3
	m := coupling * math.Sqrt(henry*loopH)
	c := Coil{InductanceH: henry, ResistanceOhm: ohm, CapacitanceF: 1e-10,
		Rings: []Ring{{Share: coupling * coupling, TimeS: loopH / loopOhm}}}
	for _, hz := range []float64{1e-3, 100, 120, 1000, 10000, 1e6} {
		w := 2 * math.Pi * hz
		square := w * w * m * m / (loopOhm*loopOhm + w*w*loopH*loopH)
		l, r := c.Branch(hz)
		if wantL, wantR := henry-square*loopH, ohm+square*loopOhm; math.Abs(l/wantL-1) > 1e-12 ||
			math.Abs(r/wantR-1) > 1e-12 {
			t.Errorf("%g Hz: %.12g H and %.12g ohm, want %.12g and %.12g", hz, l, r, wantL, wantR)
		}
	}
}

// The winding branch is the impedance of a coil without capacitance.
func TestBranchIsImpedanceWithoutCapacitance(t *testing.T) {
	c := Coil{InductanceH: 4.4, ResistanceOhm: 8200, CapacitanceF: 1e-10, Cylinder: Ring{Share: 0.3, TimeS: 1e-4}}
	bare := c
	bare.CapacitanceF = 0
	for _, hz := range []float64{100, 1000, 10000} {
		l, r := c.Branch(hz)
		m := bare.Meter(hz, Open())
		if math.Abs(l/m.SeriesInductanceH-1) > 1e-12 || math.Abs(r/m.SeriesResistanceOhm-1) > 1e-12 {
			t.Errorf("%g Hz: %g H and %g ohm, want %g and %g", hz, l, r, m.SeriesInductanceH, m.SeriesResistanceOhm)
		}
	}
}
