package virtual

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coilsweep/capture"
)

func TestDefaultIsValidAndMarkedInvented(t *testing.T) {
	b := Default()
	if b.Coil.Name != "Demo coil A" || !strings.Contains(DefaultText(), "invented") {
		t.Errorf("the default bench does not say that it is invented")
	}
	path := filepath.Join(t.TempDir(), "bench.toml")
	if err := os.WriteFile(path, []byte(DefaultText()), 0o644); err != nil {
		t.Fatal(err)
	}
	loaded, err := Load(path)
	if err != nil {
		t.Fatal(err)
	}
	r, err := loaded.Recorder(capture.Load{}, 48000, 1)
	if err != nil {
		t.Fatal(err)
	}
	if d := r.Describe(); d.File != "bench.toml" {
		t.Errorf("described as %+v", d)
	}
}

// TestTruth checks the constants against sums and formulas by hand.
func TestTruth(t *testing.T) {
	b := plainCoil(2.2, 6000, 120e-12, 350e-12, 1e6)
	truth, err := b.Truth(capture.Load{AddedC: capacitor(t, "470p"), AddedR: resistor(t, "220k")}, 1)
	if err != nil {
		t.Fatal(err)
	}
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got/want-1) > 1e-9 {
			t.Errorf("%s is %.10g, wanted %.10g", what, got, want)
		}
	}
	near("L", truth.InductanceH, 2.2)
	near("R", truth.ResistanceOhm, 6000)
	near("C", truth.CapacitanceF, 940e-12)
	near("load", truth.LoadOhm, 1e6*220e3/(1e6+220e3))
	near("added C", truth.AddedF, 470e-12)
	near("LC frequency", truth.LCHz, 1/(2*math.Pi*math.Sqrt(2.2*940e-12)))

	// Poles of coils without and with an eddy branch, from the netlists a1, c2
	// and d1 under testdata/spice: closed form of the second-order response,
	// and roots of the third-order polynomial by NumPy.
	d1 := plainCoil(4.4, 8200, 100e-12, 600e-12, 1e6)
	d1.Coil.Rings = []Ring{{Inductance: henry(1e-6), Resistance: ohm(2 * math.Pi * 3000 * 1e-6),
		Coupling: math.Sqrt(0.2)}}
	for _, c := range []struct {
		name  string
		bench Bench
		hz, q float64
	}{
		{"a1", b, 4964.310, 6.424740},
		{"c2", plainCoil(8, 15000, 180e-12, 470e-12, 250e3), 2272.330, 1.778272},
		{"d1", d1, 3020.688, 3.211904},
	} {
		truth, err := c.bench.Truth(capture.Load{}, 1)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(truth.ResonanceHz-c.hz) > 0.001 || math.Abs(truth.Q-c.q) > 2e-6 {
			t.Errorf("%s: resonance %.4f Hz, Q %.7f, wanted %.3f, %.6f", c.name, truth.ResonanceHz, truth.Q, c.hz, c.q)
		}
	}

	// Copper: R(22 °C) = R20 (1 + 0.00393 * 2), IEC 60028.
	warm := b
	warm.Coil.Resistance = *resistor(t, "7850@22C")
	truth, err = warm.Truth(capture.Load{}, 1)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(truth.ResistanceOhm-7788.780) > 0.001 {
		t.Errorf("7850 ohm at 22 °C is %.3f ohm at 20 °C, wanted 7788.780", truth.ResistanceOhm)
	}
}

// TestSetup: what the owner would write down, with the values of the default
// file added by hand.
func TestSetup(t *testing.T) {
	b := Default()
	drive, reference := b.Setup()
	if drive.Kind != "voltage" || drive.ExciterR.SI != 220+3.9+10+33 || drive.ExciterL.SI != 68e-6 ||
		reference.Kind != "current" || reference.SenseR.SI != 10 {
		t.Errorf("drive %+v, reference %+v", drive, reference)
	}
	if text, err := drive.ExciterR.MarshalText(); err != nil || string(text) != "266.9" {
		t.Errorf("the exciter's resistance is written %q, %v", text, err)
	}
	b.Reference.Kind = "loopback"
	if drive, _ := b.Setup(); drive.ExciterR.SI != 220+3.9 {
		t.Errorf("from the jack the resistance is %v", drive.ExciterR.SI)
	}
	drive, reference = plainCoil(2, 6000, 1e-10, 0, 1e6).Setup()
	if drive.Kind != "current" || drive.ExciterR != nil || reference.Kind != "none" {
		t.Errorf("drive %+v, reference %+v", drive, reference)
	}
}

// TestCover: a complete cover makes the EMF fall by 1/(1 + s L/R), a leaky one
// leaves a part of it.
func TestCover(t *testing.T) {
	for _, shielding := range []float64{1, 0.4, 0} {
		b := plainCoil(2.2, 6000, 120e-12, 350e-12, 1e6)
		bare, err := b.Truth(capture.Load{}, 1)
		if err != nil {
			t.Fatal(err)
		}
		b.Cover = &Cover{Inductance: henry(1e-6), Resistance: ohm(2 * math.Pi * 9000 * 1e-6), Coupling: 0.001,
			Shielding: shielding}
		covered, err := b.Truth(capture.Load{}, 1)
		if err != nil {
			t.Fatal(err)
		}
		for _, hz := range tones {
			st := complex(0, hz/9000)
			want := 1 - complex(shielding, 0)*st/(1+st)
			got := covered.Transfer(hz) / bare.Transfer(hz)
			// The share 1e-6 of the inductance that it takes is seen Q-fold.
			if d := got - want; math.Hypot(real(d), imag(d)) > 1e-5 {
				t.Errorf("shielding %v at %v Hz: %v, wanted %v", shielding, hz, got, want)
			}
		}
	}
}

func TestAddedPartsDeviateWithinTolerance(t *testing.T) {
	b := plainCoil(2.2, 6000, 120e-12, 350e-12, 1e6)
	added := func(text string, seed uint64) float64 {
		truth, err := b.Truth(capture.Load{AddedC: capacitor(t, text)}, seed)
		if err != nil {
			t.Fatal(err)
		}
		return truth.AddedF/470e-12 - 1
	}
	if e := added("470p", 1); e != 0 {
		t.Errorf("a part without tolerance is off by %v", e)
	}
	if added("470p 1%", 7) != added("470p 1%", 7) || added("470p 1%", 7) == added("470p 1%", 8) {
		t.Error("the deviation does not follow the seed")
	}
	// A limit a has the standard deviation a/sqrt(3) (JCGM 100:2008, 4.3.7),
	// an expanded uncertainty half of it.
	for text, sd := range map[string]float64{"470p 1%": 0.01 / math.Sqrt(3), "470p 1% U95": 0.005} {
		var sum, squares, worst float64
		const n = 4000
		for seed := range uint64(n) {
			e := added(text, seed)
			sum += e
			squares += e * e
			worst = math.Max(worst, math.Abs(e))
		}
		if mean := sum / n; math.Abs(mean) > 4*sd/math.Sqrt(n) {
			t.Errorf("%s: mean %v", text, mean)
		}
		if got := math.Sqrt(squares / n); math.Abs(got/sd-1) > 0.04 {
			t.Errorf("%s: standard deviation %v, wanted %v", text, got, sd)
		}
		if !strings.Contains(text, "U95") && worst > 0.01 {
			t.Errorf("%s: off by %v", text, worst)
		}
	}
	stated := 0.004
	b.Added.CError = &stated
	if e := added("470p 1%", 3); math.Abs(e-0.004) > 1e-12 {
		t.Errorf("stated +0.4 %%, got %v", e)
	}
	if _, err := b.Truth(capture.Load{AddedR: resistor(t, "0.0001")}, 1); err == nil {
		t.Error("an added resistor of 0.1 mohm is taken")
	}
}

// TestDecodeErrors: wrong files are refused with the line, the key and what is
// wrong.
func TestDecodeErrors(t *testing.T) {
	swap := func(old, new string) string {
		if !strings.Contains(DefaultText(), old) {
			t.Fatalf("the default bench has no %q", old)
		}
		return strings.Replace(DefaultText(), old, new, 1)
	}
	lineWith := func(text, part string) int {
		before, _, found := strings.Cut(text, part)
		if !found {
			return 0
		}
		return strings.Count(before, "\n") + 1
	}
	for _, c := range []struct {
		name, text, at, key, says string
	}{
		{"misspelt key", swap("winding_c", "winding_cc"), "winding_cc", "coil.winding_cc", "not a key"},
		{"unknown table", DefaultText() + "\n[amplifier]\ngain = 3\n", "[amplifier]", "amplifier", "not a key"},
		{"no TOML", swap("[coil]", "[coil"), "", "", ""},
		{"no schema", swap("schema = ", "notes = "), "", "schema", "missing"},
		{"other schema", swap("virtual-bench/1", "virtual-bench/9"), "schema", "schema", "virtual-bench/1"},
		{"negative capacitance", swap(`"110p"`, `"-110p"`), `"-110p"`, "coil.winding_c", "110p"},
		{"wrong unit", swap(`"2.4H"`, `"2.4F"`), `"2.4F"`, "", "2.4F"},
		{"impossible coupling", swap("coupling = 0.24", "coupling = 1.24"), "coupling = 1.24", "coil.ring[1].coupling",
			"outside"},
		{"couplings that contradict", strings.Replace(swap("coupling = 0.24", "coupling = 0.9"), "coupling = 0.30",
			"coupling = 0.9", 1), "", "circuit", "couplings"},
		{"missing value", swap(`inductance = "2.4H" `, ``), "[coil]", "coil.inductance", "missing"},
		{"unknown drive", swap(`drive = "voltage"`, `drive = "gravity"`), "gravity", "exciter.drive", `"voltage"`},
		{"unknown reference", swap(`kind = "current"`, `kind = "optical"`), "optical", "reference.kind", "loopback"},
		{"too many bits", swap("bits = 24", "bits = 32"), "bits", "input.bits", "outside"},
		{"not a number", swap("drift_ppm = 0", "drift_ppm = nan"), "drift_ppm", "clock.drift_ppm", "outside"},
		{"drop-outs out of order", DefaultText() +
			"[faults]\ndropout = [{ at_s = 2, lost = 3 }, { at_s = 1, lost = 3 }]\n", "dropout",
			"faults.dropout[1].at_s", "order"},
		{"no such ring", swap("[fixture]",
			"[[coil.mutual]]\nbetween = [\"poles\", \"moon\"]\ncoupling = 0.1\n[fixture]"), "between",
			"coil.mutual[0].between", "moon"},
		{"time constant", strings.NewReplacer(`"68uH"`, `"1n"`, `"250uH"`, `"0.1u"`, `"220"`,
			`"1M"`).Replace(DefaultText()), "", "circuit", "time constant"},
	} {
		_, err := Decode("my.toml", []byte(c.text))
		var field *FieldError
		if !errors.As(err, &field) {
			t.Errorf("%s: error %v", c.name, err)
			continue
		}
		if c.at != "" && field.Line != lineWith(c.text, c.at) {
			t.Errorf("%s: line %d, wanted %d: %v", c.name, field.Line, lineWith(c.text, c.at), err)
		}
		if c.key != "" && field.Key != c.key {
			t.Errorf("%s: key %q, wanted %q", c.name, field.Key, c.key)
		}
		if !strings.HasPrefix(err.Error(), "my.toml:") || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %q does not say %q", c.name, err, c.says)
		}
	}
}

func TestLoadErrorsNameTheFile(t *testing.T) {
	dir := t.TempDir()
	for _, path := range []string{filepath.Join(dir, "none.toml"), dir} {
		if _, err := Load(path); err == nil || !strings.Contains(err.Error(), path) {
			t.Errorf("Load(%s): %v", path, err)
		}
	}
}

// FuzzDecode: no text makes Decode panic, and what it takes makes a recorder
// that records finite samples within full scale.
func FuzzDecode(f *testing.F) {
	f.Add([]byte(DefaultText()))
	for _, name := range spiceCases {
		text, err := os.ReadFile(filepath.Join("testdata", name+".toml"))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Add([]byte("schema = \"coilsweep.virtual-bench/1\"\n[coil]\nring = [1]\n"))
	f.Add([]byte("[[coil.ring]]\n[coil]\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		b, err := Decode("fuzz.toml", text)
		if err != nil {
			return
		}
		b.Pace.RealTime = false
		b.Faults.StallAfterS = nil
		b.Clock.LatencySamples = math.Mod(b.Clock.LatencySamples, 100)
		b.Faults.DropOuts = nil
		r, err := b.Recorder(capture.Load{}, 48000, 1)
		if err != nil {
			t.Fatalf("Decode takes it, Recorder does not: %v", err)
		}
		play := []float32{1, -1, 1, 1, 0.5}
		_, err = r.Record(t.Context(), play, 200, func(block []float32) error {
			for _, v := range block {
				if !(math.Abs(float64(v)) <= 1) {
					t.Fatalf("recorded %v", v)
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	})
}
