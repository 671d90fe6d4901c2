package quantity

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func TestFormat(t *testing.T) {
	for _, c := range []struct {
		x      float64
		unit   Unit
		digits int
		want   string
	}{
		{2.41, Henry, 3, "2.41 H"}, {2.4149, Henry, 3, "2.41 H"}, {118e-12, Farad, 3, "118 pF"},
		{4370, Hertz, 3, "4.37 kHz"}, {7850, Ohm, 3, "7.85 kΩ"}, {1e6, Ohm, 2, "1.0 MΩ"},
		{999.96, Hertz, 4, "1.000 kHz"}, {999.94, Hertz, 4, "999.9 Hz"}, {118e-12, Farad, 2, "120 pF"},
		{0.9996e-6, Farad, 3, "1.00 µF"}, {220e-6, Henry, 3, "220 µH"}, {0.5, Second, 2, "500 ms"},
		{-0.025, Henry, 2, "−25 mH"}, {0, Farad, 3, "0 F"}, {math.NaN(), Henry, 3, "–"},
		{math.Inf(1), Ohm, 3, "∞ Ω"}, {4.7e-20, Farad, 2, "0.000000047 pF"}, {5e15, Ohm, 1, "5000 TΩ"},
		{63.341e-6, Metre, 4, "63.34 µm"}, {1, Henry, 0, "1 H"},
		{0.12, Hertz, 2, "0.12 Hz"}, {0.5e-15, Farad, 1, "0.0005 pF"}, {1234.5, Ratio, 3, "1230"},
		{-0.37, Decibel, 2, "−0.37 dB"},
	} {
		if got := Format(c.x, c.unit, c.digits); got != c.want {
			t.Errorf("Format(%g, %s, %d) = %q, want %q", c.x, c.unit, c.digits, got, c.want)
		}
	}
}

// JCGM 100:2008, 7.2.6: the uncertainty to two significant digits at most, the
// estimate rounded to the same place.
func TestFormatWithU95(t *testing.T) {
	for _, c := range []struct {
		x, u95 float64
		unit   Unit
		want   string
	}{
		{2.4123, 0.0241, Henry, "2.412 ± 0.024 H"}, {118.37e-12, 2.44e-12, Farad, "118.4 ± 2.4 pF"},
		{4370.2, 1.15, Hertz, "4.3702 ± 0.0011 kHz"}, {7850, 39.25, Ohm, "7.850 ± 0.039 kΩ"},
		{470e-12, 123e-12, Farad, "470 ± 120 pF"}, {2.4, 0.0996, Henry, "2.40 ± 0.10 H"},
		{0.99996, 0.0010, Henry, "1.0000 ± 0.0010 H"}, {999.96e-3, 0.11e-3, Henry, "999.96 ± 0.11 mH"},
		{0.6, 24, Henry, "1 ± 24 H"}, {-0.01, 0.02, Henry, "−10 ± 20 mH"}, {0, 2.4e-12, Farad, "0.0 ± 2.4 pF"},
		{2.41, 0, Henry, "2.410 H"}, {2.41, math.NaN(), Henry, "2.410 H"}, {math.NaN(), 1, Henry, "–"},
		{2.41, math.Inf(1), Henry, "2.410 H"}, {0.25, 0.0012, Hertz, "0.2500 ± 0.0012 Hz"},
		{4.3712, 0.12, Ratio, "4.37 ± 0.12"}, {12.639, 0.078, Decibel, "12.639 ± 0.078 dB"},
	} {
		if got := FormatWithU95(c.x, c.u95, c.unit); got != c.want {
			t.Errorf("FormatWithU95(%g, %g, %s) = %q, want %q", c.x, c.u95, c.unit, got, c.want)
		}
	}
}

// What Format prints with 17 digits, Parse reads back to the same number, and
// with n digits to within half a unit of the last.
func TestFormatReadsBack(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 5000 {
		for _, unit := range []Unit{Ohm, Farad, Henry, Hertz} {
			rules := units[unit]
			x := rules.min * math.Pow(rules.max/rules.min, 0.001+0.998*r.Float64())
			digits := 3 + r.IntN(10)
			text := Format(x, unit, digits)
			v, err := Parse(text, unit)
			if err != nil {
				// The smallest and largest prefixes are printed for every
				// unit, but not read for every one (nano-ohm, kilofarad).
				if strings.Contains(err.Error(), "not understood") &&
					(unit == Ohm && x < 1e-3 || unit == Hertz && (x < 1e-3 || x > 1e11)) {
					continue
				}
				t.Fatalf("Format(%g) = %q: %v", x, text, err)
			}
			if math.Abs(v.SI/x-1) > 0.51*math.Pow10(1-digits) {
				t.Fatalf("Format(%g, %d) = %q = %g", x, digits, text, v.SI)
			}
			checkRoundTrip(t, Value{SI: x, Unit: unit, Half: x * r.Float64(), Basis: Limit})
		}
	}
}

// Values below each other have one prefix.
func TestScale(t *testing.T) {
	scale := ScaleWithU95(12970, 61, Hertz)
	for _, c := range []struct {
		x, u95 float64
		want   string
	}{{12970, 61, "12.970 ± 0.061 kHz"}, {970, 4.4, "0.9700 ± 0.0044 kHz"}, {970, 0, "0.9700 kHz"},
		{0, 4.4, "0.0000 ± 0.0044 kHz"}} {
		if got := scale.FormatWithU95(c.x, c.u95, Hertz); got != c.want {
			t.Errorf("%g ± %g: %q, want %q", c.x, c.u95, got, c.want)
		}
	}
	if got, want := ScaleOf(470e-12, Farad, 3).Format(2.2e-9, Farad, 2), "2200 pF"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// JCGM 100:2008, 7.2.6: two digits of the uncertainty, the value to the same place.
func TestRoundTo(t *testing.T) {
	for _, c := range []struct{ x, u95, want float64 }{
		{64.789e-12, 0.803e-12, 64.79e-12}, {999.6e3, 14.2e3, 1e6}, {1234.5, 0.0123, 1234.5}, {2.4149, 0.0996, 2.41},
		{-7.856, 0.037, -7.856}, {0, 0.1, 0},
	} {
		if got := RoundTo(c.x, SecondDigit(c.u95)); got != c.want {
			t.Errorf("%g ± %g: %g, want %g", c.x, c.u95, got, c.want)
		}
	}
	for x, want := range map[float64]int{0.8e-12: -14, 0.0996: -2, 14.2e3: 3, 1: -1} {
		if got := SecondDigit(x); got != want {
			t.Errorf("second digit of %g at 10^%d, want %d", x, got, want)
		}
	}
}
