package notation

import (
	"math"
	"slices"
	"testing"
	"time"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

func TestValue(t *testing.T) {
	for _, test := range []struct {
		q              fit.Quantity
		unit           quantity.Unit
		value, rounded string
	}{
		{fit.Quantity{Value: 4371.2, U95: 12}, quantity.Hertz, "4.371 kHz", "4.37 kHz"},
		{fit.Quantity{Value: 4371.2, U95: 9000}, quantity.Hertz, "4.4 kHz", "4.4 kHz"},
		{fit.Quantity{Value: 4371.2}, quantity.Hertz, "4.371 kHz", "4.37 kHz"},
		{fit.Quantity{Value: 8056.532, U95: 0.54}, quantity.Hertz, "8.0565 kHz", "8.06 kHz"},
		{fit.Quantity{Value: 12.639, U95: 0.08}, quantity.Decibel, "12.639 dB", "12.6 dB"},
		{fit.Quantity{Value: -12.66}, quantity.Decibel, "−12.7 dB", "−12.7 dB"},
		{fit.Quantity{Value: 0.1234, U95: 0.001}, quantity.Ratio, "0.1234", "0.123"},
		{fit.Quantity{Value: 4.147, U95: 0.065}, quantity.Ratio, "4.147", "4.15"},
		{fit.Quantity{Value: math.NaN()}, quantity.Henry, "–", "–"},
	} {
		if got := Value(test.q, test.unit); got != test.value {
			t.Errorf("Value(%+v, %q) = %q, want %q", test.q, test.unit, got, test.value)
		}
		if got := Rounded(test.q, test.unit); got != test.rounded {
			t.Errorf("Rounded(%+v, %q) = %q, want %q", test.q, test.unit, got, test.rounded)
		}
	}
}

func TestApart(t *testing.T) {
	for _, test := range []struct {
		q             fit.Quantity
		unit          quantity.Unit
		value, spread string
	}{
		{fit.Quantity{Value: 2.41234, U95: 0.0213}, quantity.Henry, "2.412 H", "± 0.021 H"},
		{fit.Quantity{Value: -0.2, U95: 0.02}, quantity.Decibel, "−0.200 dB", "± 0.020 dB"},
		{fit.Quantity{Value: 4.3712, U95: 0.12}, quantity.Ratio, "4.37", "± 0.12"},
		{fit.Quantity{Value: 2.41234}, quantity.Henry, "2.412 H", ""},
		{fit.Quantity{Value: 4.3712}, quantity.Ratio, "4.371", ""},
		{fit.Quantity{Value: 2.41, U95: 0.2, Low: 2.3, High: 2.7}, quantity.Henry,
			"2.41 H", "2.30 H … 2.70 H"},
	} {
		if value, spread := Apart(test.q, test.unit); value != test.value || spread != test.spread {
			t.Errorf("%+v apart: %q and %q, want %q and %q", test.q, value, spread, test.value, test.spread)
		}
	}
}

// Quantities below each other have one prefix, and each reason stands once.
func TestNotes(t *testing.T) {
	var n Notes
	got := n.Cells(quantity.Hertz, fit.Quantity{Value: 970, U95: 4.4}, fit.Quantity{Value: 12970, U95: 61},
		fit.Unknown("one take"))
	got = append(got, n.Values(quantity.Farad, fit.Quantity{Value: 118e-12, U95: 3.7e-12},
		fit.Quantity{Value: 2.2e-9, U95: 22e-12},
		fit.Unknown("one take"), fit.Unknown("clipped"))...)
	want := []string{"0.9700 ± 0.0044 kHz", "12.970 ± 0.061 kHz", "–¹", "118.0 pF", "2200 pF", "–¹", "–²"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if got, want := n.Reasons(), []string{"¹ not known: one take", "² not known: clipped"}; !slices.Equal(got, want) {
		t.Errorf("reasons %q, want %q", got, want)
	}
	for why, want := range map[string]string{"one take": "not known", "nothing resonates": "no resonance",
		"the response falls from the plateau without a peak": "no peak"} {
		if got := Lacking(why); got != want {
			t.Errorf("%s: it says %q, want %q", why, got, want)
		}
	}
	mark := n.Mark()
	n.Sign("of a cell that is not shown")
	if n.Back(mark); len(n.Reasons()) != 2 {
		t.Errorf("reasons %q after going back", n.Reasons())
	}
	if got := Differences(quantity.Farad, fit.Quantity{U95: 3e-12})[0]; got != "0.0 ± 3.0 pF" {
		t.Errorf("no difference is %q", got)
	}
	if got := Differences(quantity.Henry, fit.Quantity{Value: -0.0002, U95: 0.22}, fit.Quantity{Value: 0.0002, U95: 0.22},
		fit.Quantity{Value: -0.05, U95: 0.22}); !slices.Equal(got, []string{"0 ± 220 mH", "0 ± 220 mH", "−50 ± 220 mH"}) {
		t.Errorf("differences that are nothing in print: %q", got)
	}
	if got := Differences(quantity.Henry, fit.Quantity{Value: 0.012, U95: 0.003},
		fit.Quantity{Value: -0.1, U95: 0.02}, fit.Unknown("x")); !slices.Equal(got,
		[]string{"+12.0 ± 3.0 mH", "−100 ± 20 mH", "–"}) {
		t.Errorf("differences %q", got)
	}
}

func TestPercentAndLevel(t *testing.T) {
	for got, want := range map[string]string{
		Percent(81.24): "81 %", Percent(0.1744): "0.17 %", Percent(9.96): "10 %", Percent(106.3): "106 %",
		Percent(0):          "0 %",
		Percent(math.NaN()): "–", Change(-63.6): "−64 %", Change(3.14): "+3.1 %", Change(math.NaN()): "",
		Level(-12.34): "−12.3 dBFS", Level(math.Inf(-1)): "silent", Level(-0.01): "0.0 dBFS",
		Decibels(-0.37):     "−0.4 dB",
		WholeDecibels(71.2): "71 dB", En(nil): "–", En(new(-0.37)): "−0.37", Bytes(999): "999 B",
		Bytes(4200000): "4.20 MB",
	} {
		if got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// Sentences of the program have true minus signs; names, options and dates keep
// their hyphens.
func TestTypeset(t *testing.T) {
	for text, want := range map[string]string{
		"the two agree (En -0.37)":         "the two agree (En −0.37)",
		"-0.37 beside −0.5, -3 %":          "−0.37 beside −0.5, −3 %",
		"turn it down, or use --level -12": "turn it down, or use --level -12",
		"take plus-470 of 2026-11-25":      "take plus-470 of 2026-11-25",
		"a \u202eb":                        "a \ufffdb",
	} {
		if got := Typeset(text); got != want {
			t.Errorf("Typeset(%q) = %q, want %q", text, got, want)
		}
	}
}

func TestSince(t *testing.T) {
	now := time.Date(2026, 11, 28, 14, 30, 0, 0, time.UTC)
	for ago, want := range map[time.Duration]string{20 * time.Second: "just now", 200 * time.Second: "3 min ago",
		3 * time.Hour: "11:30", 30 * time.Hour: "2026-11-27 08:30"} {
		if got := Since(now.Add(-ago), now); got != want {
			t.Errorf("%v ago: %q, want %q", ago, got, want)
		}
	}
}

func TestAsymmetricInterval(t *testing.T) {
	q := fit.Quantity{Value: 2.41, U: 0.1, U95: 0.2, Low: 2.3, High: 2.7}
	if got, want := WithU95(q, quantity.Henry), "2.41 H (2.30 H … 2.70 H)"; got != want {
		t.Errorf("got %q, want %q", got, want)
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
