package notation

import (
	"math"
	"testing"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// The rounding is that of JCGM 100:2008, 7.2.6: two digits of the uncertainty,
// the value to the same place.
func TestNumber(t *testing.T) {
	for _, test := range []struct {
		x, u95 float64
		unit   quantity.Unit
		want   string
	}{
		{2.41234, 0.0213, quantity.Henry, "2.412 ± 0.021 H"},
		{118.26e-12, 1.23e-12, quantity.Farad, "118.3 ± 1.2 pF"},
		{-118.26e-12, 1.23e-12, quantity.Farad, "−118.3 ± 1.2 pF"},
		{4.3712, 0.12, Ratio, "4.37 ± 0.12"},
		{0.99996, 0.0996, Ratio, "1.00 ± 0.10"},
		{21.345, 0.096, Decibel, "21.345 ± 0.096 dB"},
		{-0.5, 0.25, Decibel, "−0.50 ± 0.25 dB"},
		{12.34, 0, Ratio, "12.3"},
		{12.34, 5, Ratio, "12.3 ± 5.0"},
		{1234, 57, Ratio, "1234 ± 57"},
		{math.NaN(), 1, Ratio, "?"},
	} {
		if got := Number(test.x, test.u95, test.unit); got != test.want {
			t.Errorf("Number(%g, %g, %q) = %q, want %q", test.x, test.u95, test.unit, got, test.want)
		}
	}
}

func TestValue(t *testing.T) {
	for _, test := range []struct {
		q    fit.Quantity
		unit quantity.Unit
		want string
	}{
		{fit.Quantity{Value: 4371.2, U95: 12}, quantity.Hertz, "4.37 kHz"},
		{fit.Quantity{Value: 4371.2, U95: 9000}, quantity.Hertz, "4.4 kHz"},
		{fit.Quantity{Value: 4371.2}, quantity.Hertz, "4.37 kHz"},
		{fit.Quantity{Value: 12.639, U95: 0.08}, Decibel, "12.6 dB"},
		{fit.Quantity{Value: 0.1234, U95: 0.001}, Ratio, "0.123"},
		{fit.Quantity{Value: 4.147, U95: 0.065}, Ratio, "4.15"},
	} {
		if got := Value(test.q, test.unit); got != test.want {
			t.Errorf("Value(%+v, %q) = %q, want %q", test.q, test.unit, got, test.want)
		}
	}
}

func TestAsymmetricInterval(t *testing.T) {
	q := fit.Quantity{Value: 2.41, U: 0.1, U95: 0.2, Low: 2.3, High: 2.7}
	if got, want := WithU95(q, quantity.Henry), "2.41 H (2.30 H … 2.70 H)"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	value, spread := ValueAndSpread(q, quantity.Henry)
	if value != "2.41 H" || spread != "2.30 H … 2.70 H" {
		t.Errorf("parted into %q and %q", value, spread)
	}
}

func TestNominal(t *testing.T) {
	for _, test := range []struct {
		x    float64
		unit quantity.Unit
		want string
	}{
		{470e-12, quantity.Farad, "470 pF"}, {2.2e-9, quantity.Farad, "2.2 nF"}, {100e3, quantity.Ohm, "100 kΩ"},
		{4.7e3, quantity.Ohm, "4.7 kΩ"}, {44100, quantity.Hertz, "44.1 kHz"}, {1000, quantity.Hertz, "1 kHz"},
		{12.5e3, quantity.Hertz, "12.5 kHz"}, {31.5, quantity.Hertz, "31.5 Hz"}, {20, quantity.Hertz, "20 Hz"},
	} {
		if got := Nominal(test.x, test.unit); got != test.want {
			t.Errorf("Nominal(%g, %q) = %q, want %q", test.x, test.unit, got, test.want)
		}
	}
}
