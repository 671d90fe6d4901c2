package exciter

import (
	"math"
	"testing"
)

// Biot-Savart for a circle on its axis: mu0 r²/(2 (r² + z²)^1.5), added up
// over the cross-section.
func TestAxisField(t *testing.T) {
	coil := Coil{MeanRadiusM: 11e-3, LengthM: 8e-3, DepthM: 6e-3, Turns: 60}
	for _, z := range []float64{0, 2e-3, 4e-3, 15e-3, 0.1, 1, -15e-3} {
		const points = 200
		var want float64
		for i := range points {
			for j := range points {
				r := coil.inner() + coil.DepthM*(float64(i)+0.5)/points
				d := z - coil.LengthM*((float64(j)+0.5)/points-0.5)
				want += 60 * Mu0 * r * r / (2 * math.Pow(r*r+d*d, 1.5)) / (points * points)
			}
		}
		relative(t, "field", coil.AxisFieldT(z), want, 2e-5)
	}
	// Far away the closed form gives over to the dipole; they meet.
	edge := 100 * (coil.outer() + coil.LengthM)
	relative(t, "dipole", coil.AxisFieldT(edge*1.0001), coil.AxisFieldT(edge*0.9999)/math.Pow(1.0002, 3), 1e-3)
	// The middle of a long solenoid: mu0 N/l.
	long := Coil{MeanRadiusM: 1e-3, LengthM: 1, DepthM: 1e-4, Turns: 1000}
	relative(t, "long solenoid", long.AxisFieldT(0), Mu0*1000, 1e-5)
	// Helmholtz: two rings a radius apart have (4/5)^1.5 mu0 I/r between them
	// (any textbook of electromagnetism).
	ring := Coil{MeanRadiusM: 0.1, LengthM: 1e-4, DepthM: 1e-4, Turns: 1}
	relative(t, "Helmholtz", 2*ring.AxisFieldT(0.05), math.Pow(0.8, 1.5)*Mu0/0.1, 1e-5)
}

func TestMutualOfCoils(t *testing.T) {
	a := Coil{MeanRadiusM: 10e-3, LengthM: 8e-3, DepthM: 6e-3, Turns: 60}
	b := Coil{MeanRadiusM: 12e-3, LengthM: 10e-3, DepthM: 7e-3, Turns: 5000}
	relative(t, "reciprocity", MutualH(a, b, 0.02), MutualH(b, a, -0.02), 1e-12)
	// Against circles at 10 x 10 midpoints each, added up.
	const points = 10
	var want float64
	at := func(c Coil, i, j int) (r, z float64) {
		return c.inner() + c.DepthM*(float64(i)+0.5)/points, c.LengthM * ((float64(j)+0.5)/points - 0.5)
	}
	for i := range points {
		for j := range points {
			for k := range points {
				for l := range points {
					ra, za := at(a, i, j)
					rb, zb := at(b, k, l)
					want += CircleMutualH(ra, rb, 0.02+zb-za)
				}
			}
		}
	}
	want *= 60 * 5000 / math.Pow(points, 4)
	relative(t, "added up", MutualH(a, b, 0.02), want, 1e-3)
	// Far away: the exciter's axis field times the area and turns of the coil.
	far := 1.5
	area := math.Pi * (b.MeanRadiusM*b.MeanRadiusM + b.DepthM*b.DepthM/12)
	relative(t, "far", MutualH(a, b, far), a.AxisFieldT(far)*5000*area, 1e-3)
}

func TestEqualArea(t *testing.T) {
	relative(t, "a circle", EqualAreaRadiusM(0.02, 0.02), 0.01, 1e-12)
	// 66 mm long, 12 mm wide: 54 x 12 mm² and a circle of 12 mm.
	relative(t, "oblong", EqualAreaRadiusM(0.066, 0.012), 15.56e-3, 1e-3)
}

// The closed form of the capacitance between turns against its integral
// (Massarini and Kazimierczuk 1997, from memory).
func TestTurnCapacitance(t *testing.T) {
	w := Wire{BareM: 0.1e-3, OuterM: 0.117e-3}
	const points = 100000
	var want float64
	for i := range points {
		angle := math.Pi / 6 * (2*(float64(i)+0.5)/points - 1)
		want += epsilon0 / 2 / (1 + math.Log(w.OuterM/w.BareM)/enamelEpsilon - math.Cos(angle)) * math.Pi / 3 / points
	}
	relative(t, "C between turns", turnCapacitance(w), want, 1e-7)
}

// Medhurst's own coefficients (table in Wireless Engineer 24, 1947; from
// memory): C/D in pF/cm is 0.46 at l/D = 1, 0.50 at 2, 0.81 at 5.
func TestSingleLayerCapacitance(t *testing.T) {
	for ratio, perCm := range map[float64]float64{1: 0.46, 2: 0.50, 5: 0.81} {
		d := 0.02
		c := Coil{MeanRadiusM: d / 2, LengthM: ratio * d, DepthM: 0.1e-3, Turns: 100,
			Wire: Wire{BareM: 0.09e-3, OuterM: 0.1e-3}}
		relative(t, "C", c.SelfCapacitanceF(), perCm*2e-12, 0.10)
	}
}

// Resonance of 4.4 H with 100 pF: 7587.4 Hz (SciPy).
func TestSelfResonance(t *testing.T) {
	relative(t, "resonance", SelfResonanceHz(4.4, 100e-12), 7587.4, 1e-5)
}
