package exciter

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mathext"
)

// relative fails where got is off want by more than within (relative).
func relative(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got/want-1) <= within) {
		t.Errorf("%s: %.10g, want %.10g within %.0e (off by %+.1e)", what, got, want, within, got/want-1)
	}
}

// K(0.5) and E(0.5), argument m = k², as in the test data of a public
// inductance library (dgarnier/inductance): the library at hand must take m.
func TestEllipticArgument(t *testing.T) {
	relative(t, "K", mathext.CompleteK(0.5), 1.8540746773013719, 1e-15)
	relative(t, "E", mathext.CompleteE(0.5), 1.3506438810476755, 1e-15)
}

// Maxwell, Treatise art. 701; the values agree with quadrature of Neumann's
// integral to 11 digits (SciPy 1.10). The first two are worked examples of NBS
// Scientific Paper 169: 167.0856 and 248.787 cm, 1 cm = 1 nH (from memory).
func TestCoaxialCircles(t *testing.T) {
	for _, c := range []struct{ a, b, d, want float64 }{
		{0.25, 0.25, 0.20, 1.6708578365e-7},
		{0.25, 0.20, 0.10, 2.4878735904e-7},
		{0.25, 0.20, 0, 4.5173138863e-7},
		{0.05, 0.05, 0.05, 2.4703923154e-8},
		{0.01, 0.05, 0, 4.0085844136e-9},
		{0.01, 0.02, 0.005, 9.5932939936e-9},
		{1, 1, 0.1, 3.0028763037e-6},
	} {
		relative(t, "M", CircleMutualH(c.a, c.b, c.d), c.want, 1e-10)
		relative(t, "M, exchanged", CircleMutualH(c.b, c.a, -c.d), c.want, 1e-10)
		// All lengths ten times as large: M as well.
		relative(t, "M, scaled", CircleMutualH(10*c.a, 10*c.b, 10*c.d), 10*c.want, 1e-10)
	}
	// The printed example is two units of its last digit low.
	relative(t, "paper's example", CircleMutualH(0.25, 0.25, 0.20), 167.0856e-9, 1.5e-6)
	relative(t, "paper's example", CircleMutualH(0.25, 0.20, 0.10), 248.787e-9, 3e-6)
	if m := CircleMutualH(0.1, 0.1, 0); !math.IsInf(m, 1) {
		t.Errorf("a circle with itself: %g", m)
	}
}

// Small loop: mu0 pi a² b²/(2 (b² + d²)^1.5); the exact value for a 2 mm, b
// 20 mm, d 10 mm is 2.8248047e-10 H, the limit 2.8248456e-10 H (SciPy).
func TestSmallCircle(t *testing.T) {
	relative(t, "a 2 mm", CircleMutualH(2e-3, 20e-3, 10e-3), 2.8248047e-10, 2e-8)
	for _, c := range []struct{ a, b, d float64 }{{1e-6, 0.02, 0.01}, {1e-5, 0.02, 0}, {0.01, 0.01, 20}} {
		dipole := Mu0 * math.Pi * c.a * c.a * c.b * c.b / (2 * math.Pow(c.b*c.b+c.d*c.d, 1.5))
		relative(t, "small loop", CircleMutualH(c.a, c.b, c.d), dipole, 2e-6)
	}
	// The series and the closed form meet.
	f := func(d float64) float64 { return CircleMutualH(0.01, 0.01, d) }
	at := 0.01 * math.Sqrt(4/1e-3-4) // k² = 1e-3
	relative(t, "series", f(at*(1+1e-9)), f(at*(1-1e-9)), 2e-8)
}

// Nagaoka's factor; values of the closed form by SciPy, which agree with the
// tables as carried in public code to their six digits, and with Maxwell's M
// integrated over the sheet to 8 digits.
func TestNagaokaFactor(t *testing.T) {
	for u, want := range map[float64]float64{
		0.1: 0.95880712, 0.2: 0.92009267, 0.25: 0.90164933, 0.5: 0.81813575, 1: 0.68842261,
		1.5: 0.59504588, 2: 0.52551002, 3: 0.42919862, 5: 0.31982547, 10: 0.20332352,
	} {
		relative(t, "K_N", NagaokaFactor(u), want, 3e-8)
	}
	relative(t, "series meets closed form", NagaokaFactor(0.02-1e-9), NagaokaFactor(0.02+1e-9), 1e-7)
	if NagaokaFactor(0) != 1 {
		t.Error("a long coil's factor is 1")
	}
}

// Rosa 1906: his constants A and B, here k_s and k_m, worked out from his
// formulas by numpy.
func TestRosaCorrection(t *testing.T) {
	for ratio, want := range map[float64]float64{1: 0.556853, 0.8: 0.333709, 0.5: -0.136294} {
		if got := rosaSelf(ratio); math.Abs(got-want) > 6e-7 {
			t.Errorf("k_s(%g) = %g, want %g", ratio, got, want)
		}
	}
	for turns, want := range map[int]float64{
		1: 0, 2: 0.113706, 3: 0.166261, 4: 0.197276, 5: 0.217995, 10: 0.266408,
		20: 0.296369, 50: 0.318220, 100: 0.326893, 1000: 0.336395,
	} {
		if got := rosaMutual(turns); math.Abs(got-want) > 6e-7 {
			t.Errorf("k_m(%d) = %g, want %g", turns, got, want)
		}
	}
	// r 25 mm, p 1 mm, d 0.8 mm, N 50: sheet 84.9307 µH, corrected 83.9067 µH;
	// 50 round-wire rings added up give 83.9029 µH.
	sheet := SolenoidH(25e-3, 50e-3, 50)
	relative(t, "sheet", sheet, 84.9307e-6, 1e-6)
	corrected := sheet - RoundWireCorrectionH(25e-3, 1e-3, 0.8e-3, 50)
	relative(t, "corrected", corrected, 83.9067e-6, 1e-6)
	rings := 0.0
	for i := range 50 {
		for j := range 50 {
			if i == j {
				// A ring of round wire, current over its section: mu0 r (ln(8r/a) - 7/4).
				rings += Mu0 * 25e-3 * (math.Log(8*25e-3/0.4e-3) - 1.75)
			} else {
				rings += CircleMutualH(25e-3, 25e-3, 1e-3*float64(i-j))
			}
		}
	}
	relative(t, "rings", rings, 83.9029e-6, 1e-6)
	relative(t, "corrected against rings", corrected, rings, 1e-4)
}

// Wheeler's single-layer formula against the exact sheet: deviations worked
// out by SciPy.
func TestWheelerSolenoid(t *testing.T) {
	for u, percent := range map[float64]float64{0.5: -0.49, 1: -0.10, 2: -0.12, 3: -1.13} {
		r := 0.01
		l := 2 * r / u
		got := 100 * (WheelerSolenoidH(r, l, 100)/SolenoidH(r, l, 100) - 1)
		if math.Abs(got-percent) > 0.006 {
			t.Errorf("2r/l = %g: Wheeler %+.2f %%, want %+.2f %%", u, got, percent)
		}
	}
}

// Thick coils: Bessel's form integrated by SciPy, N = 1; the deviation of
// Wheeler's multilayer formula beside it.
func TestThickCoil(t *testing.T) {
	for _, c := range []struct{ a, b, c, nH, wheeler float64 }{
		{15, 10, 10, 25.4907, -0.71},
		{10, 10, 10, 12.66503, -0.53},
		{11.9, 11, 7.5, 18.25499, -0.44},
		{10, 20, 5, 10.89598, -0.32},
		{20, 10, 4, 49.2532, 2.32},
	} {
		coil := Coil{MeanRadiusM: c.a * 1e-3, LengthM: c.b * 1e-3, DepthM: c.c * 1e-3, Turns: 1}
		got, err := coil.InductanceH()
		if err != nil {
			t.Fatal(err)
		}
		relative(t, "thick coil", got, c.nH*1e-9, 2e-6)
		if w := 100 * (coil.WheelerH()/got - 1); math.Abs(w-c.wheeler) > 0.006 {
			t.Errorf("%+v: Wheeler %+.2f %%, want %+.2f %%", coil, w, c.wheeler)
		}
	}
}

// H. B. Brooks, J. Res. NBS 7, 1931: b = c, a = 1.5 c gives 1.6994e-6 a N² H
// (F. W. Grover, Inductance Calculations, 1946; from memory), to more digits
// 1.699378e-6 by SciPy.
func TestBrooksCoil(t *testing.T) {
	coil := Coil{MeanRadiusM: 0.15, LengthM: 0.1, DepthM: 0.1, Turns: 100}
	got, err := coil.InductanceH()
	if err != nil {
		t.Fatal(err)
	}
	relative(t, "handbook constant", got/(0.15*1e4), 1.6994e-6, 3e-5)
	relative(t, "constant", got/(0.15*1e4), 1.699378e-6, 4e-7)
	relative(t, "by its width", got/(0.1*1e4), 2.54907e-6, 2e-6)
}

// A large coil, mean radius 0.716 m, 0.142 m deep, 0.750 m long, 8388 turns:
// 90.9086 H by SciPy; a public inductance library's tests (dgarnier/inductance)
// have 90.90927 H by Lyle's formula and 90.8912 H by filaments.
func TestLargeCoil(t *testing.T) {
	got, err := Coil{MeanRadiusM: 0.716, LengthM: 0.750, DepthM: 0.142, Turns: 8388}.InductanceH()
	if err != nil {
		t.Fatal(err)
	}
	relative(t, "SciPy", got, 90.9086, 1e-6)
	relative(t, "Lyle", got, 90.90927, 1e-5)
	relative(t, "filaments", got, 90.8912, 3e-4)
}

// As the depth goes to zero, a winding becomes Nagaoka's sheet: two depths
// carried on to zero in a straight line.
func TestThickCoilLimits(t *testing.T) {
	for _, u := range []float64{0.5, 2} {
		r := 0.01
		inductance := func(depth float64) float64 {
			l, err := Coil{MeanRadiusM: r, LengthM: 2 * r / u, DepthM: depth, Turns: 10}.InductanceH()
			if err != nil {
				t.Fatal(err)
			}
			return l
		}
		relative(t, "thin coil", 2*inductance(r/200)-inductance(r/100), SolenoidH(r, 2*r/u, 10), 1e-4)
	}
	// A coil down to its axis works, too.
	if l, err := (Coil{MeanRadiusM: 0.01, LengthM: 0.02, DepthM: 0.02, Turns: 1}).InductanceH(); err != nil ||
		!(l > 0) {
		t.Error(l, err)
	}
	for _, bad := range []Coil{
		{},
		{MeanRadiusM: 0.01, LengthM: 0.01, DepthM: 0.01},
		{MeanRadiusM: 0.01, LengthM: 0.01, DepthM: 0.03, Turns: 1},
		{MeanRadiusM: math.NaN(), LengthM: 0.01, DepthM: 0.01, Turns: 1},
		{MeanRadiusM: 1, LengthM: 1e-5, DepthM: 1e-5, Turns: 1},
		{MeanRadiusM: math.Inf(1), LengthM: 0.01, DepthM: 0.01, Turns: 1},
	} {
		if l, err := bad.InductanceH(); err == nil {
			t.Errorf("%+v: %g", bad, l)
		}
	}
}

func BenchmarkInductance(b *testing.B) {
	c := Coil{MeanRadiusM: 11.9e-3, LengthM: 11e-3, DepthM: 7.5e-3, Turns: 100}
	for b.Loop() {
		if _, err := c.InductanceH(); err != nil {
			b.Fatal(err)
		}
	}
}
