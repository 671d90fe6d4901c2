package circuit

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"
)

// Against SciPy's Bessel functions (testdata/cylinder/shape.csv), on the
// imaginary axis and beside it, on both sides of the change to Hankel's
// expansion at Re sqrt(z) = 20.
func TestCylinderShapeAgainstSciPy(t *testing.T) {
	worst, worstSlope := 0.0, 0.0
	rows := readTable(t, "../../testdata/cylinder/shape.csv")
	for _, row := range rows {
		var x [6]float64
		for i := range x {
			x[i] = parse(t, row[i])
		}
		z := cmplx.Rect(x[0], x[1]*math.Pi/180)
		f, slope := cylinderShape(z)
		want, wantSlope := complex(x[2], x[3]), complex(x[4], x[5])
		d := cmplx.Abs(f/want - 1)
		e := cmplx.Abs(slope/wantSlope - 1)
		worst, worstSlope = max(worst, d), max(worstSlope, e)
		// SciPy's values have about 1e-15, its derivative loses sqrt|z|
		// to cancellation, and so does z on being written in polar form
		// near the poles.
		if d > 2e-14 || e > 2e-14*(1+x[0]/1e2) {
			t.Errorf("|z| = %g at %g degrees: F off by %.2g, F' by %.2g", x[0], x[1], d, e)
		}
	}
	t.Logf("%d values: F within %.2g, F' within %.2g", len(rows), worst, worstSlope)
}

// The two branches meet where one gives way to the other, and both obey the
// Riccati equation F' = (1 - F)/z - F^2/4 that follows from Bessel's equation.
func TestCylinderShapeBranches(t *testing.T) {
	for _, degrees := range []float64{0, 20, 40, 45, 50, 55} {
		angle := degrees * math.Pi / 180
		q := cmplx.Rect(20/math.Cos(angle), angle)
		below := q * (1 - 1e-9)
		above := q * (1 + 1e-9)
		f, d := cylinderShape(below * below)
		g, e := cylinderShapeLarge(above)
		f += d * (above*above - below*below)
		if x := cmplx.Abs(f/g - 1); x > 3e-15 {
			t.Errorf("at %g degrees the branches differ by %.2g", degrees, x)
		}
		if x := cmplx.Abs(d/e - 1); x > 1e-8 {
			t.Errorf("at %g degrees the derivatives differ by %.2g", degrees, x)
		}
	}
	for k := -60; k <= 80; k++ {
		z := complex(0, math.Pow(10, float64(k)/10))
		f, d := cylinderShape(z)
		if x := cmplx.Abs(z*d + z*f*f/4 + f - 1); x > 4e-16*(1+cmplx.Abs(z*f*f)) {
			t.Errorf("z = %v: Riccati's equation is off by %.2g", z, x)
		}
	}
}

// Rings that SciPy fitted to a solid cylinder miss it, by this package's two
// formulas, by as much as SciPy says: for a low-frequency corner of 3 kHz two
// rings by 0.6 %, three by 0.014 %.
func TestRingFitsOfCylinder(t *testing.T) {
	for _, row := range readTable(t, "../../testdata/cylinder/rings.csv") {
		solid := Coil{InductanceH: 1, Cylinder: Ring{Share: 1, TimeS: parse(t, row[2])}}
		ringed := Coil{InductanceH: 1}
		field := strings.Fields(row[4])
		for i := 0; i < len(field); i += 2 {
			ringed.Rings = append(ringed.Rings, Ring{Share: parse(t, field[i]), TimeS: parse(t, field[i+1])})
		}
		largest := 0.0
		for i := range 400 {
			s := atHz(20 * math.Pow(1000, float64(i)/399))
			largest = max(largest, cmplx.Abs(solid.Inductance(s)-ringed.Inductance(s)))
		}
		want := parse(t, row[3])
		if math.Abs(largest-want) > 1e-5*want+1e-10 {
			t.Errorf("corner %s Hz, %s rings: largest difference %.7g, want %.7g", row[0], row[1], largest, want)
		}
	}
}

// The rings of a harness stand for the cylinder within what is said of them.
func TestCylinderRings(t *testing.T) {
	for _, timeS := range []float64{1e-7, 1e-5, 1e-4, 1e-3, 6e-3} {
		n := CylinderRingCount(timeS, harnessReachHz)
		solid := Coil{InductanceH: 1, Cylinder: Ring{Share: 0.5, TimeS: timeS}}
		ringed := Coil{InductanceH: 1, Rings: CylinderRings(solid.Cylinder, n)}
		sum := 0.0
		for _, r := range ringed.Rings {
			sum += r.Share
			if r.Share <= 0 || r.TimeS <= 0 {
				t.Errorf("ring %+v", r)
			}
		}
		if n > 0 && math.Abs(sum-0.5) > 1e-14 {
			t.Errorf("time %g s: shares add up to %.15g", timeS, sum)
		}
		largest := 0.0
		for hz := 20.0; hz <= harnessReachHz; hz *= 1.02 {
			largest = max(largest, cmplx.Abs(solid.Inductance(atHz(hz))-ringed.Inductance(atHz(hz))))
		}
		if largest > 0.5e-6*1.01 {
			t.Errorf("time %g s, %d rings: off by %.2g", timeS, n, largest)
		}
	}
	if n := CylinderRingCount(1, 20e3); n != 12 {
		t.Errorf("%d rings at most, want 12", n)
	}
	// The poles of a solid cylinder lie at z = -j0n^2 with shares 4/j0n^2
	// (zeros of the Bessel function J0: 2.404826, 5.520078, 8.653728;
	// Abramowitz and Stegun, table 9.5).
	for i, zero := range []float64{2.4048255577, 5.5200781103, 8.6537279129} {
		r := CylinderRings(Ring{Share: 1, TimeS: 1}, 12)[i]
		if relative(r.TimeS, 1/(zero*zero)) > 1e-9 || relative(r.Share, 4/(zero*zero)) > 1e-9 {
			t.Errorf("ring %d: %+v, want share %g, time %g", i+1, r, 4/(zero*zero), 1/(zero*zero))
		}
	}
}

// Every partial derivative against central differences of Transfer and of
// Impedance in steps of the quantity itself (fourth order: error of h^4).
func TestGradient(t *testing.T) {
	base := Coil{InductanceH: 2.4, ResistanceOhm: 7850, CapacitanceF: 110e-12,
		Rings:    []Ring{{0.1, 3e-5}, {0.06, 4e-4}, {0.03, 1e-5}, {0.02, 2e-3}},
		Cylinder: Ring{0.2, 3e-4}, CoverTimeS: 8e-6}
	baseLoad := Load{ResistanceOhm: 800e3, CapacitanceF: 470e-12}
	type change func(c *Coil, l *Load, d float64)
	scale := func(x *float64, d float64) { *x *= math.Exp(d) }
	var g Gradient
	list := []struct {
		name   string
		got    *complex128
		change change
	}{
		{"ln L", &g.LnInductance, func(c *Coil, l *Load, d float64) { scale(&c.InductanceH, d) }},
		{"ln R", &g.LnResistance, func(c *Coil, l *Load, d float64) { scale(&c.ResistanceOhm, d) }},
		{"ln C", &g.LnCapacitance, func(c *Coil, l *Load,
			d float64) {
			scale(&c.CapacitanceF, d)
			scale(&l.CapacitanceF, d)
		}},
		{"ln load", &g.LnLoad, func(c *Coil, l *Load, d float64) { scale(&l.ResistanceOhm, d) }},
		{"cylinder share", &g.CylinderShare, func(c *Coil, l *Load, d float64) { c.Cylinder.Share += d }},
		{"ln cylinder", &g.LnCylinder, func(c *Coil, l *Load, d float64) { scale(&c.Cylinder.TimeS, d) }},
		{"ln cover", &g.LnCoverTime, func(c *Coil, l *Load, d float64) { scale(&c.CoverTimeS, d) }},
	}
	for i := range MaxRings {
		list = append(list, struct {
			name   string
			got    *complex128
			change change
		}{"share", &g.RingShare[i], func(c *Coil, l *Load, d float64) { c.Rings[i].Share += d }})
		list = append(list, struct {
			name   string
			got    *complex128
			change change
		}{"ln time", &g.LnRingTime[i], func(c *Coil, l *Load, d float64) { scale(&c.Rings[i].TimeS, d) }})
	}
	for name, of := range map[string]struct {
		value    func(c Coil, s complex128, l Load) complex128
		gradient func(c *Coil, p Point, l Load, dst *Gradient) complex128
	}{"Transfer": {Coil.Transfer, (*Coil).TransferGradient}, "Impedance": {Coil.Impedance, (*Coil).ImpedanceGradient}} {
		at := func(s complex128, f change, d float64) complex128 {
			c, l := base, baseLoad
			c.Rings = append([]Ring(nil), base.Rings...)
			f(&c, &l, d)
			return of.value(c, s, l)
		}
		for _, hz := range []float64{20, 300, 2000, 3900, 6000, 19e3} {
			s := atHz(hz)
			h := of.gradient(&base, At(s), baseLoad, &g)
			if want := of.value(base, s, baseLoad); cmplx.Abs(h/want-1) > 1e-14 {
				t.Errorf("%s at %g Hz: value %v, want %v", name, hz, h, want)
			}
			for _, c := range list {
				const d = 5e-4
				want := (8*(at(s, c.change, d)-at(s, c.change, -d)) - (at(s, c.change, 2*d) - at(s, c.change,
					-2*d))) / (12 * d)
				if cmplx.Abs(*c.got-want) > 3e-9*(cmplx.Abs(h)+cmplx.Abs(want)) {
					t.Errorf("%s at %g Hz: derivative by %s is %v, differences give %v", name, hz, c.name, *c.got, want)
				}
			}
		}
	}
	// No parts, no derivatives; no load, no derivative by it.
	plain := Coil{InductanceH: 2.4, ResistanceOhm: 7850, CapacitanceF: 110e-12}
	plain.TransferGradient(At(atHz(3e3)), Open(), &g)
	if g.LnLoad != 0 || g.CylinderShare != 0 || g.LnCoverTime != 0 || g.RingShare[0] != 0 {
		t.Errorf("derivatives of parts that are not there: %+v", g)
	}
}

func BenchmarkTransferGradient(b *testing.B) {
	for _, form := range []string{"loss-free", "rings", "cylinder"} {
		b.Run(form, func(b *testing.B) {
			coil, load := benchmarkCoil(form)
			var g Gradient
			b.ReportAllocs()
			p := At(complex(0, 2.5e4))
			for b.Loop() {
				coil.TransferGradient(p, load, &g)
			}
		})
	}
}

func BenchmarkCylinderShape(b *testing.B) {
	for _, c := range []struct {
		name string
		z    complex128
	}{{"1", complex(0, 1)}, {"100", complex(0, 100)}, {"1000", complex(0, 1000)}} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				cylinderShape(c.z)
			}
		})
	}
}
