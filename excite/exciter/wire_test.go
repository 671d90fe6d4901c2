package exciter

import (
	"math"
	"testing"
)

// IEC 60028 and NBS Handbook 100 (1966): 1/58 ohm mm²/m, 0.00393 /K at 20 °C.
func TestCopper(t *testing.T) {
	relative(t, "resistivity", CopperOhmMetre20, 1.7241379e-8, 3e-8)
	for from, want := range map[float64]float64{15: 1.0200439, 22: 0.9922013, 25: 0.9807287, 30: 0.9621861} {
		relative(t, "factor to 20 °C", CopperFactor(from, 20), want, 6e-8)
		relative(t, "there and back", CopperFactor(from, 20)*CopperFactor(20, from), 1, 1e-15)
	}
	relative(t, "20 °C to 25 °C", CopperFactor(20, 25), 1.01965, 1e-9)
	relative(t, "7850 ohm at 22 °C, at 20 °C", 7850*CopperFactor(22, 20), 7788.780, 1e-7)
	if got := CopperFactor(20, -234.45); math.Abs(got) > 2e-5 {
		t.Errorf("at -234.45 °C the straight line is at zero, not %g", got)
	}
}

// ASTM B258 as quoted in NBS Handbook 100 §2.1; resistances by the formula.
func TestAWG(t *testing.T) {
	for _, c := range []struct {
		number        int
		mil, mm, ohmM float64
		ohm1000ft     float64
	}{
		{38, 3.965180, 0.100716, 2.1642, 659.64},
		{39, 3.531095, 0.089690, 2.7290, 831.78},
		{40, 3.144531, 0.079871, 3.4411, 1048.9},
		{41, 2.800286, 0.071127, 4.3392, 1322.6},
		{42, 2.493726, 0.063341, 5.4716, 1667.8},
		{43, 2.220727, 0.056406, 6.8996, 2103.0},
		{44, 1.977615, 0.050231, 8.7002, 2651.8},
	} {
		w, err := AWG(c.number)
		if err != nil {
			t.Fatal(err)
		}
		relative(t, w.Name+" mil", w.BareM/25.4e-6, c.mil, 3e-7)
		relative(t, w.Name+" mm", w.BareM*1e3, c.mm, 1e-5)
		relative(t, w.Name+" ohm/m", w.OhmPerMetre(20), c.ohmM, 2e-5)
		relative(t, w.Name+" ohm/1000 ft", w.OhmPerMetre(20)*304.8, c.ohm1000ft, 4e-5)
	}
	// By definition.
	for number, in := range map[int]float64{36: 0.0050, -3: 0.4600} {
		w, _ := AWG(number)
		relative(t, w.Name, w.BareM, in*0.0254, 1e-14)
	}
	a, _ := AWG(20)
	b, _ := AWG(21)
	c, _ := AWG(26)
	relative(t, "ratio", a.BareM/b.BareM, 1.1229322, 1e-7)
	relative(t, "sixth power", a.BareM/c.BareM, 2.0050, 3e-5)
	for _, n := range []int{-4, 57, 1000} {
		if _, err := AWG(n); err == nil {
			t.Errorf("AWG %d was taken", n)
		}
	}
}

// NBS Handbook 100 prints ohm/1000 ft from diameters rounded to 0.1 mil (from
// memory): the same law, other diameters.
func TestHandbookTable(t *testing.T) {
	for mil, want := range map[float64]float64{4.0: 648, 3.5: 847, 3.1: 1080, 2.8: 1320, 2.5: 1660, 2.2: 2140,
		2.0: 2590} {
		relative(t, "ohm/1000 ft", Wire{BareM: mil * 25.4e-6}.OhmPerMetre(20)*304.8, want, 3e-3)
	}
}

// 7600 turns of 0.150 m mean length, AWG 42 at 20 °C: 6237.66 ohm by the
// formula, 6206.40 ohm with a diameter of 2.5 mil (numpy 1.24).
func TestWindingResistance(t *testing.T) {
	w, _ := AWG(42)
	c := Coil{MeanRadiusM: 0.150 / (2 * math.Pi), Turns: 7600, Wire: w}
	relative(t, "wire", c.WireM(), 1140, 1e-12)
	relative(t, "formula", c.ResistanceOhm(20), 6237.663507, 1e-9)
	c.Wire.BareM = 2.5 * 25.4e-6
	relative(t, "2.5 mil", c.ResistanceOhm(20), 6206.396621, 1e-9)
	relative(t, "at 25 °C", c.ResistanceOhm(25)/c.ResistanceOhm(20), 1.01965, 1e-9)
}

// IEC 60317-0-1 grade 1: 0.100 mm copper is at most 0.117 mm (read in a wire
// maker's table); 0.500 -> 0.544, 1.000 -> 1.062 are typical values, no source.
func TestEnamel(t *testing.T) {
	for bare, outer := range map[float64]float64{0.1e-3: 0.117e-3, 0.5e-3: 0.544e-3, 1e-3: 1.062e-3} {
		relative(t, "outer diameter", Enamelled(bare).OuterM, outer, 1e-9)
	}
	last := 0.0
	for bare := 0.01e-3; bare < 2e-3; bare *= 1.01 {
		w := Enamelled(bare)
		if w.OuterM <= last || w.OuterM <= w.BareM || w.OuterM > 1.4*w.BareM {
			t.Fatalf("%g mm copper is %g mm over the enamel", bare*1e3, w.OuterM*1e3)
		}
		last = w.OuterM
	}
}

func TestParseWire(t *testing.T) {
	awg38, _ := AWG(38)
	for text, want := range map[string]Wire{
		"AWG 38": awg38, "38 AWG": awg38, "awg38": awg38, "0.1mm": Enamelled(0.1e-3), "100 um": Enamelled(0.1e-3),
	} {
		if got, err := ParseWire(text); err != nil || got.Name != want.Name ||
			math.Abs(got.BareM/want.BareM-1) > 1e-12 {
			t.Errorf("ParseWire(%q) = %+v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "AWG", "AWG 99", "AWG x", "38", "0mm", "-0.1mm", "1m", "thin"} {
		if w, err := ParseWire(text); err == nil {
			t.Errorf("ParseWire(%q) = %+v", text, w)
		}
	}
}

// Grade 1 of 0.1 mm is at most 0.117 mm over the enamel in a wire maker's table. A
// thicker build is thicker at every size, and the sizes are those of the R 20 series,
// each 12 % above the last (ISO 3).
func TestGrades(t *testing.T) {
	sizes := Standard()
	for i, bare := range sizes {
		one, err := Enamelled(bare).WithGrade(1)
		if err != nil {
			t.Fatal(err)
		}
		two, err := one.WithGrade(2)
		if err != nil {
			t.Fatal(err)
		}
		if one != Enamelled(bare) || !(two.OuterM > one.OuterM) || two.BareM != bare {
			t.Errorf("%s: %g m and %g m over the enamel", one.Name, one.OuterM, two.OuterM)
		}
		if i > 0 && bare < 0.95e-3 {
			relative(t, "next size", bare/sizes[i-1], math.Pow(10, 1.0/20), 0.03)
		}
	}
	relative(t, "0.1 mm", Enamelled(0.1e-3).OuterM, 0.117e-3, 1e-9)
	for _, grade := range []int{0, 3} {
		if _, err := Enamelled(0.1e-3).WithGrade(grade); err == nil {
			t.Errorf("grade %d was taken", grade)
		}
	}
}
