package quantity

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
	"github.com/google/go-cmp/cmp"
)

// IEC 60062:2016+A1:2019, letter in place of the decimal mark. The resistor codes
// are those of its public quotations; the capacitor codes p33 ... 1m0 were not
// checked against its text. Inductors in the same scheme are common practice.
func TestLetterCode(t *testing.T) {
	for _, c := range []struct {
		text string
		unit Unit
		want float64
	}{
		{"R47", Ohm, 0.47}, {"4R7", Ohm, 4.7}, {"470R", Ohm, 470},
		{"4K7", Ohm, 4.7e3}, {"47K", Ohm, 47e3}, {"47K3", Ohm, 47.3e3},
		{"470K", Ohm, 470e3}, {"4M7", Ohm, 4.7e6}, {"1M0", Ohm, 1e6},
		{"4k7", Ohm, 4.7e3}, {"47k3", Ohm, 47.3e3}, {"1G0", Ohm, 1e9},
		{"p33", Farad, 0.33e-12}, {"3p3", Farad, 3.3e-12}, {"330p", Farad, 330e-12},
		{"n33", Farad, 0.33e-9}, {"2n2", Farad, 2.2e-9}, {"33n", Farad, 33e-9},
		{"330n", Farad, 330e-9}, {"u33", Farad, 0.33e-6}, {"µ33", Farad, 0.33e-6},
		{"4u7", Farad, 4.7e-6}, {"4µ7", Farad, 4.7e-6}, {"4μ7", Farad, 4.7e-6}, {"1m0", Farad, 1e-3},
		{"2n2F", Farad, 2.2e-9},
		{"2H4", Henry, 2.4}, {"4u7", Henry, 4.7e-6}, {"4m7", Henry, 4.7e-3},
	} {
		checkParse(t, c.text, c.unit, c.want)
	}
}

func TestPrefixAndUnit(t *testing.T) {
	for _, c := range []struct {
		text string
		unit Unit
		want float64
	}{
		{"470p", Farad, 470e-12}, {"470pF", Farad, 470e-12}, {"470 pF", Farad, 470e-12},
		{"470pf", Farad, 470e-12}, {"0.1u", Farad, 0.1e-6}, {".1uF", Farad, 0.1e-6},
		{"470e-12", Farad, 470e-12}, {"4.7E-10 F", Farad, 470e-12},
		{"2.41 H", Henry, 2.41}, {"2.41", Henry, 2.41}, {"2.41H", Henry, 2.41}, {"220uH", Henry, 220e-6},
		{"220 µH", Henry, 220e-6}, {"10mH", Henry, 10e-3},
		{"100k", Ohm, 100e3}, {"100 k", Ohm, 100e3}, {"100K", Ohm, 100e3}, {"1 Mohm", Ohm, 1e6},
		{"1MΩ", Ohm, 1e6}, {"1M\u2126", Ohm, 1e6}, {"1 MOHM", Ohm, 1e6}, {"250 kOhm", Ohm, 250e3},
		{"10m", Ohm, 10e-3}, {"10 mΩ", Ohm, 10e-3}, {"7850", Ohm, 7850}, {"7850ohms", Ohm, 7850},
		{"1M", Ohm, 1e6}, {"1m", Ohm, 1e-3}, {"1m", Farad, 1e-3},
		{"20", Hertz, 20}, {"20k", Hertz, 20e3}, {"20kHz", Hertz, 20e3}, {"4.37 kHz", Hertz, 4370},
		{"20 Hz", Hertz, 20}, {"1MHz", Hertz, 1e6},
		{"1", Volt, 1}, {"500m", Volt, 0.5}, {"1.2 V", Volt, 1.2}, {"775mV", Volt, 0.775}, {"2kV", Volt, 2000},
		{"6s", Second, 6}, {"500ms", Second, 0.5}, {"6", Second, 6}, {"1.5 s", Second, 1.5}, {"30us", Second, 30e-6},
		{"5m", Metre, 5}, {"12mm", Metre, 12e-3}, {"63um", Metre, 63e-6}, {"2 cm", Metre, 2e-2},
		{"63.3 µm", Metre, 63.3e-6},
	} {
		checkParse(t, c.text, c.unit, c.want)
	}
}

func checkParse(t *testing.T, text string, unit Unit, want float64) {
	t.Helper()
	v, err := Parse(text, unit)
	if err != nil {
		t.Errorf("Parse(%q, %s): %v", text, unit, err)
		return
	}
	// The decimal number is to be rounded once, so the bits must agree.
	if v.SI != want || v.Unit != unit || v.Basis != Unstated || v.Half != 0 || v.U() != 0 {
		t.Errorf("Parse(%q, %s) = %+v, want %g", text, unit, v, want)
	}
	if v.Text != text {
		t.Errorf("Parse(%q).Text = %q", text, v.Text)
	}
}

// Tolerance letters of IEC 60062 (F ... M as in public tables of parts; B, C, D
// in pF under 10 pF likewise; W and H not checked against its text).
func TestTolerance(t *testing.T) {
	for _, c := range []struct {
		text  string
		unit  Unit
		si    float64
		half  float64
		basis Basis
	}{
		{"470p 1%", Farad, 470e-12, 4.7e-12, Limit},
		{"470p,1%", Farad, 470e-12, 4.7e-12, Limit},
		{"470p, 1 %", Farad, 470e-12, 4.7e-12, Limit},
		{"470p ±1%", Farad, 470e-12, 4.7e-12, Limit},
		{"470p ± 1 %", Farad, 470e-12, 4.7e-12, Limit},
		{"470p +-1%", Farad, 470e-12, 4.7e-12, Limit},
		{"470p +/-1%", Farad, 470e-12, 4.7e-12, Limit},
		{"470 pF 2.5%", Farad, 470e-12, 11.75e-12, Limit},
		{"470p 2pF", Farad, 470e-12, 2e-12, Limit},
		{"470p ±2p", Farad, 470e-12, 2e-12, Limit},
		{"470p 2p5", Farad, 470e-12, 2.5e-12, Limit},
		{"470p 0.3% U95", Farad, 470e-12, 1.41e-12, Expanded},
		{"470p 1.5p U95", Farad, 470e-12, 1.5e-12, Expanded},
		{"2.31H,1%u95", Henry, 2.31, 0.0231, Expanded},
		{"100k 1%", Ohm, 100e3, 1e3, Limit},
		{"100k 500", Ohm, 0, 0, ""}, // no unit: refused below
		{"100k 500R", Ohm, 100e3, 500, Limit},
		{"100k 0.5kohm", Ohm, 100e3, 500, Limit},

		{"470pK", Farad, 470e-12, 47e-12, Limit},
		{"470pFK", Farad, 470e-12, 47e-12, Limit},
		{"470p K", Farad, 470e-12, 47e-12, Limit},
		{"470p,J", Farad, 470e-12, 23.5e-12, Limit},
		{"2n2M", Farad, 2.2e-9, 0.44e-9, Limit},
		{"22nFG", Farad, 22e-9, 0.44e-9, Limit},
		{"4K7K", Ohm, 4.7e3, 470, Limit},
		{"4K7F", Ohm, 4.7e3, 47, Limit},
		{"4K7H", Ohm, 4.7e3, 141, Limit},
		{"4R7W", Ohm, 4.7, 4.7 * 0.0005, Limit},
		{"470RB", Ohm, 470, 0.47, Limit},
		{"100kC", Ohm, 100e3, 250, Limit},
		{"100kD", Ohm, 100e3, 500, Limit},
		{"100KM", Ohm, 100e3, 20e3, Limit},
		{"3p3B", Farad, 3.3e-12, 0.1e-12, Limit},
		{"3p3C", Farad, 3.3e-12, 0.25e-12, Limit},
		{"8p2 D", Farad, 8.2e-12, 0.5e-12, Limit},
		{"10pD", Farad, 10e-12, 0.05e-12, Limit},
		{"100pB", Farad, 100e-12, 0.1e-12, Limit},
		{"10mHJ", Henry, 10e-3, 0.5e-3, Limit},

		// The accuracy of a meter, worked out by hand: percent of the reading,
		// and so many units in its last place.
		{"2.31H 0.5% + 2 digits", Henry, 2.31, 0.01155 + 0.02, Limit},
		{"2.310H 0.5%+2 digits", Henry, 2.31, 0.01155 + 0.002, Limit},
		{"223.1 mH 0.8% +5d", Henry, 0.2231, 0.0017848 + 0.0005, Limit},
		{"7.85k@22C 0.5% + 1 digit", Ohm, 7850, 39.25 + 10, Limit},
		{"7850 3 counts", Ohm, 7850, 3, Limit},
		{"4k70 1% + 2 dgt", Ohm, 4700, 47 + 20, Limit},
		{"470p 1% + 3 digits U95", Farad, 470e-12, 4.7e-12 + 3e-12, Expanded},
		{"2.28 2% + 5 digits", Ratio, 2.28, 0.0456 + 0.05, Limit},
		{"0.44 ±0.02", Ratio, 0.44, 0.02, Limit},
		{"10mK", Henry, 10e-3, 1e-3, Limit},
	} {
		v, err := Parse(c.text, c.unit)
		if c.si == 0 {
			if err == nil {
				t.Errorf("Parse(%q) = %+v, want an error", c.text, v)
			}
			continue
		}
		if err != nil {
			t.Error(err)
			continue
		}
		if v.SI != c.si || math.Abs(v.Half/c.half-1) > 1e-14 || v.Basis != c.basis {
			t.Errorf("Parse(%q) = %g ± %g (%s), want %g ± %g (%s)", c.text, v.SI, v.Half, v.Basis, c.si, c.half,
				c.basis)
		}
	}
}

// JCGM 100:2008, 4.3.7 (a limit ±a has u = a/sqrt 3) and 6.2 (U = k u).
func TestStandardUncertainty(t *testing.T) {
	limit, _ := ParseCapacitance("470p 1%")
	if got := limit.U(); math.Abs(got-2.7135463e-12) > 1e-18 {
		t.Errorf("u of 470p 1%% = %g", got)
	}
	expanded, _ := ParseCapacitance("470p 1% U95")
	if got := expanded.U(); math.Abs(got-2.35e-12) > 1e-24 {
		t.Errorf("u of 470p 1%% U95 = %g", got)
	}
}

func TestTemperature(t *testing.T) {
	for text, want := range map[string]float64{
		"7.85k@22C 0.5%": 22, "7.85k@22°C 0.5%": 22, "7.85k @ 22.5 °C 0.5%": 22.5,
		"7.85k 0.5% @22C": 22, "7.85k 0.5%@22℃": 22, "7.85kohm@-5C,0.5%": -5, "7k85@22C 0.5%": 22,
	} {
		r, err := ParseResistance(text)
		if err != nil {
			t.Error(err)
			continue
		}
		if r.SI != 7850 || r.Celsius == nil || *r.Celsius != want || math.Abs(r.Half-39.25) > 1e-9 {
			t.Errorf("%q = %+v", text, r.Value)
		}
	}
}

func TestRefused(t *testing.T) {
	for _, c := range []struct {
		text string
		unit Unit
		why  string // part of the message
	}{
		{"", Farad, "nothing was given"},
		{"  ", Farad, "nothing was given"},
		{"-470p", Farad, "greater than zero"},
		{"−470p", Farad, "greater than zero"},
		{"0", Ohm, "greater than zero"},
		{"0.000p", Farad, "greater than zero"},
		{"NaN", Ohm, "does not begin with a number"},
		{"inf", Ohm, "does not begin with a number"},
		{"1e999", Ohm, ""},
		{"1e400", Ohm, ""},
		{"470", Farad, "prefix"},
		{"471", Farad, "prefix"}, // a three-digit marking is not guessed at
		{"470K", Farad, "does not suit"},
		{"4M7", Farad, "M is mega"}, // milli written as mega
		{"470P", Farad, "not understood"},
		{"2.4mohm", Henry, ""},
		{"470pH", Farad, "another unit"},
		{"470nohm", Ohm, ""},
		{"2.4H", Ohm, "another unit"},
		{"100F", Ohm, "another unit"},
		{"10mF", Henry, "another unit"},
		{"20kH", Hertz, ""},
		{"3F", Volt, ""},
		{"-1V", Volt, ""},
		{"1R2", Volt, ""},
		{"2.3k", Ratio, ""},
		{"2.3H", Ratio, ""},
		{"2.3H 1% + digits", Henry, "as in 0.5% + 2 digits"},
		{"2.3H 1% + 2p", Henry, "as in 0.5% + 2 digits"},
		{"2.3H 1% + 2 digits 3 digits", Henry, "not understood"},
		{"2H 3 digits", Henry, "as large as the value"},
		{"470p F", Farad, "could be the unit"},
		{"3p3 F", Farad, ""},
		{"3p3G", Farad, "write the tolerance out"},
		{"470pZ", Farad, "upwards"},
		{"22nS", Farad, "upwards"},
		{"470pX", Farad, "not a tolerance letter"},
		{"4,7k", Ohm, "comma"},
		{"4,7k 1%", Ohm, "comma"},
		{"4,7", Ohm, "comma"},
		{"0,5H 1%", Henry, "comma"},
		{"470p,1", Farad, "comma"},
		{"470p,2p", Farad, "comma"},
		{"1,000", Ohm, "comma"},
		{"470p 0,5%", Farad, "comma"},
		{"470p,", Farad, "missing"},
		{"470p 1", Farad, "needs a %"},
		{"470p 0%", Farad, "zero"},
		{"470p -1%", Farad, "not understood"},
		{"470p 100%", Farad, "as large as"},
		{"470p 1% 2%", Farad, "after the tolerance"},
		{"470p 1% K", Farad, "after the tolerance"},
		{"470p 1%%", Farad, "not understood"},
		{"470pp", Farad, "not understood"},
		{"4.7k7", Ohm, "not understood"},
		{"4k7k", Ohm, "not understood"},
		{"R", Ohm, "number"},
		{"k", Ohm, "number"},
		{".", Ohm, "number"},
		{"7.85k@22", Ohm, "°C"},
		{"7.85k@22F", Ohm, "°C"},
		{"7.85k@295K", Ohm, "°C"},
		{"7.85k@", Ohm, "°C"},
		{"7.85k@22C@23C", Ohm, "two temperatures"},
		{"7.85k@900C", Ohm, "out of range"},
		{"470p@22C", Farad, "only understood with a resistance"},
		{"5m", Second, "not understood"}, // minutes?
		{"5min", Second, "not understood"},
		{"6S", Second, ""},
		{"5", Unit("kg"), "not known"},
		{"470p\xff", Farad, "not text"},
		{strings.Repeat("1", 200), Ohm, "too long"},
	} {
		v, err := Parse(c.text, c.unit)
		if err == nil {
			t.Errorf("Parse(%q, %s) = %g, want an error", c.text, c.unit, v.SI)
			continue
		}
		if !cmp.Equal(v, Value{}) {
			t.Errorf("Parse(%q, %s) gives %+v beside its error", c.text, c.unit, v)
		}
		if !strings.Contains(err.Error(), c.why) {
			t.Errorf("Parse(%q, %s): %q does not say %q", c.text, c.unit, err, c.why)
		}
		var pe *ParseError
		if _, known := units[c.unit]; known &&
			(!errors.As(err, &pe) || !strings.Contains(err.Error(), "accepted, for example")) {
			t.Errorf("Parse(%q, %s): %v does not say what is accepted", c.text, c.unit, err)
		}
	}
}

func TestParsePlain(t *testing.T) {
	if x, err := ParseSeconds("500ms"); err != nil || x != 0.5 {
		t.Error(x, err)
	}
	if x, err := ParseHertz("20k"); err != nil || x != 20000 {
		t.Error(x, err)
	}
	if x, err := ParseMetres("63um"); err != nil || x != 63e-6 {
		t.Error(x, err)
	}
	if _, err := ParseHertz("20k 1%"); err == nil {
		t.Error("a frequency with a tolerance was taken")
	}
}

func TestTOMLAndJSON(t *testing.T) {
	type part struct {
		R *Resistance  `toml:"r,omitempty" json:"r,omitempty"`
		C *Capacitance `toml:"c,omitempty" json:"c,omitempty"`
		L *Inductance  `toml:"l,omitempty" json:"l,omitempty"`
	}
	var p part
	if _, err := toml.Decode("r = \"7.85k@22C 0.5%\"\nc = 470e-12\n", &p); err != nil {
		t.Fatal(err)
	}
	if p.R == nil || p.R.SI != 7850 || p.C == nil || p.C.SI != 470e-12 || p.L != nil {
		t.Fatalf("%+v", p)
	}
	out, err := toml.Marshal(p)
	if err != nil || string(out) != "r = \"7.85k@22C 0.5%\"\nc = \"4.7e-10\"\n" {
		t.Errorf("TOML: %q, %v", out, err)
	}
	out, err = json.Marshal(p)
	if err != nil || string(out) != `{"r":"7.85k@22C 0.5%","c":"4.7e-10"}` {
		t.Errorf("JSON: %q, %v", out, err)
	}
	for _, bad := range []string{"c = -470e-12", "c = \"470\"", "c = true", "r = 0", "l = inf", "l = nan", "c = [1]"} {
		if _, err := toml.Decode(bad, &part{}); err == nil {
			t.Errorf("%q was taken", bad)
		}
	}
	if _, err := (Value{Unit: Ohm}).MarshalText(); err == nil {
		t.Error("an empty value was written")
	}
}

// A resistance in series may be none, which no other resistance can be.
func TestSeriesResistance(t *testing.T) {
	var p struct {
		R *SeriesResistance `toml:"r,omitempty"`
	}
	for text, want := range map[string]Value{
		`r = "0"`: {Unit: Ohm, Text: "0"}, `r = 0`: {Unit: Ohm, Text: "0"},
		`r = "470 10%"`: {SI: 470, Half: 47, Basis: Limit, Unit: Ohm, Text: "470 10%"},
	} {
		if _, err := toml.Decode(text, &p); err != nil {
			t.Fatal(err)
		}
		if got := p.R.Value; got.SI != want.SI || got.Half != want.Half || got.Text != want.Text || got.Unit != Ohm {
			t.Errorf("%s: %+v", text, got)
		}
		out, err := toml.Marshal(p)
		if err != nil || string(out) != "r = \""+want.Text+"\"\n" {
			t.Errorf("%s: written as %q, %v", text, out, err)
		}
	}
	for _, bad := range []string{`r = "-1"`, `r = -0.5`, `r = "0 1%"`, `r = ""`, `r = "none"`, `r = "470p"`} {
		if _, err := toml.Decode(bad, &p); err == nil {
			t.Errorf("%q was taken", bad)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"470p 1%", "470pF", "2.41 H", "100k", "1 Mohm", "1MΩ", "R47", "4R7", "47K3", "p33", "4µ7", "2H4",
		"470p,1%", "470p ±2p", "470p 0.3% U95", "470pK", "4K7K", "3p3 C", "7.85k@22°C 0.5%", "4,7k", "-1",
		"6s", "500ms", "20kHz", "63um", "1e-12F", "NaN", "0", "5e", "1 @", ", ,", "±", "470p±1%",
		"2.31H 0.5% + 2 digits", "7850 3d", "0.44 1%+5 counts",
		"470p 1% C0G", "2n2 film PP 5%", "22n,polyester", "470p NP0 0.3% U95", "1n film", "470p X7R", "470p C C0G",
		"1n PP PP",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for unit, rules := range units {
			v, err := Parse(text, unit)
			if err != nil {
				if !cmp.Equal(v, Value{}) {
					t.Fatalf("%q: a value beside the error %v", text, err)
				}
				continue
			}
			if !(v.SI >= rules.min && v.SI <= rules.max) || !(v.Half >= 0 && v.Half < v.SI) ||
				(v.Half == 0) != (v.Basis == Unstated) {
				t.Fatalf("%q: %+v", text, v)
			}
			checkRoundTrip(t, v)
			// What was typed reads back alike, too.
			again, err := Parse(v.Text, unit)
			if err != nil || again.SI != v.SI || again.Half != v.Half || again.Dielectric != v.Dielectric {
				t.Fatalf("%q read back from its own text: %+v, %v", text, again, err)
			}
		}
	})
}

// checkRoundTrip writes v without its typed text and reads it back.
func checkRoundTrip(t *testing.T, v Value) {
	t.Helper()
	typed := v.Text
	v.Text = ""
	text, err := v.MarshalText()
	if err != nil {
		t.Fatalf("%q -> %q: %v", typed, v.String(), err)
	}
	back, err := Parse(string(text), v.Unit)
	if err != nil || back.SI != v.SI || back.Half != v.Half || back.Basis != v.Basis ||
		back.Dielectric != v.Dielectric ||
		(back.Celsius == nil) != (v.Celsius == nil) || v.Celsius != nil && *back.Celsius != *v.Celsius {
		t.Fatalf("%q -> %q -> %+v, %v", typed, text, back, err)
	}
}
