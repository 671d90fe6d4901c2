package batch

import (
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/comparison"
)

func known(value, u float64) fit.Quantity {
	return fit.Quantity{Value: value, U: u, U95: quantity.Coverage95 * u}
}

// JCGM 106:2012, 7.3.3, example (from memory): a breakdown voltage of -5.47 V
// with u = 0.05 V against an upper limit of -5.40 V conforms with probability
// Phi(1.40) = 0.919 (table of the normal distribution). And of both limits,
// Phi(1) - Phi(-2) = 0.8186.
func TestProbability(t *testing.T) {
	for _, test := range []struct {
		l    Limits
		q    fit.Quantity
		want float64
	}{
		{Limits{Lower: math.Inf(-1), Upper: -5.40}, known(-5.47, 0.05), 0.9192},
		{Limits{Lower: 8, Upper: 11}, known(10, 1), 0.8186},
		{Limits{Lower: 8, Upper: 11, U: 0.8}, known(10, 0.6), 0.8186}, // 0.6² + 0.8² = 1
		{Limits{Lower: 8, Upper: 11}, known(11, 0), 1},
		{Limits{Lower: 8, Upper: 11}, known(11.1, 0), 0},
	} {
		if got := test.l.Judge(test.q, 1).Probability; math.Abs(got-test.want) > 5e-5 {
			t.Errorf("%+v in %+v: %.4f, want %.4f", test.q, test.l, got, test.want)
		}
	}
}

// Guard bands of JCGM 106:2012, 8.3: limits 90 and 110, U95 2.
func TestGuardBands(t *testing.T) {
	l := Limits{Lower: 90, Upper: 110}
	for _, test := range []struct {
		value, guard float64
		want         Verdict
	}{
		{100, 1, Pass}, {108, 1, Pass}, {92, 1, Pass},
		{108.01, 1, Undecided}, {111.9, 1, Undecided}, {91.9, 1, Undecided}, {88.1, 1, Undecided},
		{112.1, 1, Fail}, {87.9, 1, Fail},
		{110, 0, Pass}, {110.01, 0, Fail}, {89.99, 0, Fail},
		{108.9, 0.5, Pass}, {109.1, 0.5, Undecided}, {111.1, 0.5, Fail},
	} {
		if got := l.Judge(known(test.value, 2/quantity.Coverage95), test.guard).Verdict; got != test.want {
			t.Errorf("%g with guard %g: %s, want %s", test.value, test.guard, got, test.want)
		}
	}
	one := Limits{Lower: math.Inf(-1), Upper: 110}
	if got := one.Judge(known(-1e9, 1), 1).Verdict; got != Pass {
		t.Errorf("without a lower limit: %s", got)
	}
	if got := l.Judge(fit.Unknown("no"), 1); got.Verdict != Unknown || !math.IsNaN(got.Probability) {
		t.Errorf("unknown: %+v", got)
	}
	// A band so narrow that nothing can pass.
	narrow := Limits{Lower: 99, Upper: 101}
	if got := narrow.Judge(known(100, 2/quantity.Coverage95), 1).Verdict; got != Undecided {
		t.Errorf("limits narrower than the uncertainty: %s", got)
	}
}

const goodLimits = `schema = "coilsweep.limits/1"
[inductance_h]
nominal = "2.4H 5%"
[bare_resonance_hz]
min = "9.5kHz"
max = "11kHz"
[bare_q]
min = "3"
[peak_db]
max = "12.5 dB"
`

func TestParseLimits(t *testing.T) {
	got, err := ParseLimits([]byte(goodLimits))
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]Limits{
		"inductance_h":      {Lower: 2.28, Upper: 2.52},
		"bare_resonance_hz": {Lower: 9500, Upper: 11000},
		"bare_q":            {Lower: 3, Upper: math.Inf(1)},
		"peak_db":           {Lower: math.Inf(-1), Upper: 12.5},
	}
	if !maps.EqualFunc(got, want, func(a, b Limits) bool {
		close := func(x, y float64) bool { return x == y || math.Abs(x-y) < 1e-12*math.Abs(y) }
		return close(a.Lower, b.Lower) && close(a.Upper, b.Upper) && a.U == b.U
	}) {
		t.Errorf("%v, want %v", got, want)
	}
}

func TestWrongLimits(t *testing.T) {
	const head = "schema = \"coilsweep.limits/1\"\n"
	for name, test := range map[string]struct{ text, want string }{
		"no schema":    {"[bare_q]\nmin = \"3\"\n", "schema"},
		"other schema": {"schema = \"coilsweep.coil/1\"\n", "coilsweep.coil/1"},
		"nothing":      {head, "no limit"},
		"quantity":     {head + "[weight]\nmin = \"3\"\n", `no quantity "weight"`},
		"key":          {head + "[bare_q]\nleast = \"3\"\n", "bare_q.least"},
		"unit":         {head + "[inductance_h]\nmin = \"3nF\"\n", "inductance_h"},
		"order":        {head + "[bare_q]\nmin = \"4\"\nmax = \"3\"\n", "not below"},
		"both":         {head + "[bare_q]\nmin = \"4\"\nnominal = \"3 1%\"\n", "contradict"},
		"no tolerance": {head + "[inductance_h]\nnominal = \"2.4H\"\n", "no tolerance"},
		"tolerance":    {head + "[inductance_h]\nmin = \"2.4H 1%\"\n", "has no tolerance"},
		"empty":        {head + "[bare_q]\n", "want min"},
		"no table":     {head + "bare_q = 3\n", "want a table"},
		"number":       {head + "[bare_q]\nmin = 3\n", "want a table"},
		"level":        {head + "[peak_db]\nmin = \"loud\"\n", "not a level"},
		"no TOML":      {head + "[bare_q\n", "line "},
	} {
		if _, err := ParseLimits([]byte(test.text)); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: error %v, want one with %q", name, err, test.want)
		}
	}
}

func FuzzParseLimits(f *testing.F) {
	f.Add([]byte(goodLimits))
	f.Add([]byte("schema = \"coilsweep.limits/1\"\n[q]\nmax = \"1e400\"\n"))
	f.Add([]byte("schema = 3\n[q.min]\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		limits, err := ParseLimits(data)
		if err != nil {
			return
		}
		for key, l := range limits {
			if _, ok := comparison.PropertyNamed(key); !ok || !(l.Lower < l.Upper) {
				t.Errorf("%q is accepted as %s %+v", data, key, l)
			}
		}
	})
}

func TestLimitsAround(t *testing.T) {
	r := result(2.4, 10000, 8)
	var all []comparison.Property
	for _, key := range comparison.PropertyKeys() {
		p, _ := comparison.PropertyNamed(key)
		all = append(all, p)
	}
	got, err := LimitsAround(r, all, map[string]float64{"": 5, "bare_q": 10})
	if err != nil {
		t.Fatal(err)
	}
	if keys := slices.Sorted(maps.Keys(got)); !slices.Equal(keys,
		[]string{"bare_q", "bare_resonance_hz", "inductance_h"}) {
		t.Errorf("limits for %q", keys)
	}
	l := got["inductance_h"]
	near(t, "lower", l.Lower, 2.28, 1e-12)
	near(t, "upper", l.Upper, 2.52, 1e-12)
	near(t, "u", l.U, r.Inductance.U, 0)
	near(t, "Q lower", got["bare_q"].Lower, 7.2, 1e-12)
	if _, err := LimitsAround(r, all, map[string]float64{"weight": 5}); err == nil ||
		!strings.Contains(err.Error(), "weight") {
		t.Errorf("an unknown quantity: %v", err)
	}
	for _, key := range []string{"resistance_ohm", "peak_db"} {
		if _, err := LimitsAround(r, all, map[string]float64{"": 5, key: 5}); err == nil {
			t.Errorf("%s, which the reference does not have or which has no percent", key)
		}
	}
}
