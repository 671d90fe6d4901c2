package capture

import (
	"flag"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilsweep/capture/instrument"
	"coilsweep/excite/quantity"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// golden compares got with a file in testdata.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), string(got)); diff != "" {
		t.Errorf("%s (-want +got):\n%s", path, diff)
		os.WriteFile(path+".got", got, 0o666)
	}
}

func resistance(t testing.TB, text string) *quantity.Resistance {
	t.Helper()
	r, err := quantity.ParseResistance(text)
	if err != nil {
		t.Fatal(err)
	}
	return &r
}

func fullCoil(t testing.TB) Coil {
	celsius := 23.5
	return Coil{
		Schema: CoilSchema, Name: `Invented "bridge" coil`, Notes: "two\nlines", Wire: "0.056 mm",
		Serial: "2026-014", Lot: "spring", Customer: "A. Winder",
		DCRMeter: &instrument.Instrument{Name: "multimeter", Serial: "7", Certificate: "K-1",
			CalibrationDue: "2027-03-01"},
		DCR: resistance(t, "7.85k@22C 0.5%"), CelsiusAtTakes: &celsius, PartsScale: 0.5,
		Winding: &Winding{Wire: "0.056mm", Turns: 7600, CoreLength: "60mm", CoreWidth: "6mm", Height: "10mm"},
		Meter: []MeterReading{
			{What: "L", Reading: "2.31H 1%", AtHz: 1000, Mode: "series", UseInFit: true,
				Instrument: instrument.Instrument{Name: "LCR meter", CalibrationDue: "2026-12-31"}},
			{What: "Q", Reading: "1.7", AtHz: 120},
			{What: "L", Reading: "-25.4H 1% + 3 digits", AtHz: 10e3, Mode: "parallel", Celsius: &celsius},
		},
	}
}

func TestCoilFile(t *testing.T) {
	for name, coil := range map[string]Coil{
		"coil-full.toml": fullCoil(t),
		"coil-bare.toml": {Schema: CoilSchema, Name: "neck"},
	} {
		data := encodeCoil(coil)
		golden(t, name, data)
		got, err := decodeCoil(data)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if diff := cmp.Diff(coil, got); diff != "" {
			t.Errorf("%s read back (-want +got):\n%s", name, diff)
		}
	}
}

// The commented examples must be right once a hand editor takes the # away.
func TestCoilExamplesAreValid(t *testing.T) {
	var lines []string
	for _, line := range strings.Split(string(encodeCoil(Coil{Name: "neck"})), "\n") {
		bare := strings.TrimPrefix(line, "# ")
		if strings.Contains(bare, " = ") && !strings.Contains(bare, "makes a") || strings.HasPrefix(bare, "[") {
			line = bare
		}
		lines = append(lines, line)
	}
	c, err := decodeCoil([]byte(strings.Join(lines, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	if c.DCR == nil || c.CelsiusAtTakes == nil || c.PartsScale == 0 || c.Wire == "" || c.Winding == nil ||
		len(c.Meter) != 1 {
		t.Errorf("not every example was there: %+v", c)
	}
}

func TestCoilFileErrors(t *testing.T) {
	const head = "schema = \"coilsweep.coil/1\"\nname = \"neck\"\n"
	tests := []struct{ name, file, want string }{
		{"syntax", head + "dcr = 7k8", "line 3:"},
		{"misspelt key", head + "\nDcr_ohm = \"7k8\"", `line 4: there is no key "Dcr_ohm"`},
		{"misspelt key of a meter", head + "[[meter]]\nwhat = \"L\"\nreading = \"2H\"\nat_khz = 1",
			`line 6: there is no key "meter.at_khz"`},
		{"unknown table", head + "\n[meters]\nL = 2", `line 4: there is no key "meters"`},
		{"wrong unit", head + "dcr = \"470pF\"", "line 3:"},
		{"negative resistance", head + "dcr = \"-7k8\"", "line 3:"},
		{"no name", "schema = \"coilsweep.coil/1\"\n", "the coil has no name"},
		{"another schema", "schema = \"coilsweep.coil/2\"\nname = \"neck\"\n", `schema is "coilsweep.coil/2"`},
		{"no schema", "name = \"neck\"\n", `schema is ""`},
		{"temperature in kelvin", head + "celsius_at_takes = 1295", "celsius_at_takes is 1295"},
		{"scale below zero", head + "parts_scale_percent = -1", "parts_scale_percent is -1: want"},
		{"scale as a factor of 60", head + "parts_scale_percent = 60", "parts_scale_percent is 60"},
		{"scale that is no number", head + "parts_scale_percent = nan", "parts_scale_percent is NaN"},
		{"meter without frequency", head + "[[meter]]\nwhat = \"L\"\nreading = \"2H\"", "meter reading 1: at_hz is 0"},
		{"meter of Z", head + "[[meter]]\nwhat = \"Z\"\nreading = \"2\"\nat_hz = 120", `what is "Z"`},
		{"meter in a wrong mode", head + "[[meter]]\nwhat = \"L\"\nreading = \"2\"\nat_hz = 120\nmode=\"serial\"",
			`mode is "serial"`},
		{"meter in a wrong unit", head + "[[meter]]\nwhat = \"L\"\nreading = \"2 ohm\"\nat_hz = 120",
			"meter reading 1: reading"},
		{"Q of zero", head + "[[meter]]\nwhat = \"Q\"\nreading = \"0\"\nat_hz = 120",
			`"0" is not a valid number: it must be greater than zero`},
		{"negative R", head + "[[meter]]\nwhat = \"R\"\nreading = \"-7k\"\nat_hz = 120", "must be greater than zero"},
		{"two temperatures of one reading", head +
			"[[meter]]\nwhat = \"R\"\nreading = \"7k@22C\"\nat_hz = 120\ncelsius = 25",
			"the reading says 22 °C, celsius says 25"},
		{"kelvin at a reading", head + "[[meter]]\nwhat = \"L\"\nreading = \"2H\"\nat_hz = 120\ncelsius = 300",
			"celsius is 300"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := decodeCoil([]byte(tt.file))
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want one with %q", err, tt.want)
			}
		})
	}
}

// What a meter shows, worked out by hand.
func TestMeterReadingValue(t *testing.T) {
	for _, tt := range []struct {
		what, reading string
		si, half      float64
	}{
		{"L", "2.31H 0.5% + 2 digits", 2.31, 0.03155},
		{"L", "-25.4H 1%", -25.4, 0.254},
		{"C", "-11.5 nF 2%", -11.5e-9, 0.23e-9},
		{"R", "6.13k 0.5% + 1 digit", 6130, 40.65},
		{"Q", "-1.018 ±0.02", -1.018, 0.02},
		{"D", "0.4395", 0.4395, 0},
	} {
		v, err := MeterReading{What: tt.what, Reading: tt.reading}.Value()
		if err != nil || v.SI != tt.si || math.Abs(v.Half-tt.half) > 1e-12*tt.half {
			t.Errorf("%s %q: %+v, %v; want %g ± %g", tt.what, tt.reading, v, err, tt.si, tt.half)
		}
	}
}

func FuzzCoilFile(f *testing.F) {
	f.Add(encodeCoil(fullCoil(f)))
	f.Add(encodeCoil(Coil{Name: "neck"}))
	f.Add([]byte("a.b.c = 1\n[a]\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := decodeCoil(data)
		if err != nil {
			return
		}
		again, err := decodeCoil(encodeCoil(c))
		if err != nil {
			t.Fatalf("written and read again: %v", err)
		}
		if diff := cmp.Diff(c, again); diff != "" {
			t.Errorf("written and read again (-first +second):\n%s", diff)
		}
	})
}

// A take that is a link is refused, not passed over.
func TestLinkedTake(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "coil")
	if err := CreateFolder(dir, Coil{Name: "x"}); err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(dir, TakesDir, "bare")
	if err := os.Symlink(t.TempDir(), link); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Lstat(link); err != nil {
		t.Skip("this system makes no symbolic links: ", err)
	}
	folder, err := OpenFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := folder.Fingerprint(); err == nil || !strings.Contains(err.Error(), "bare is a link") {
		t.Errorf("a linked take: %v", err)
	}
}

// A folder or take that Windows cannot hold is made nowhere.
func TestNamesOfEverySystem(t *testing.T) {
	for name, good := range map[string]bool{"con": false, "bridge.": false, "console": true} {
		if err := CreateFolder(filepath.Join(t.TempDir(), name), Coil{Name: "x"}); (err == nil) != good {
			t.Errorf("a coil folder %q: %v", name, err)
		}
	}
	if err := CheckTakeName("nul"); err == nil {
		t.Error("a take may be called nul")
	}
	if err := CheckTakeName("bare"); err != nil {
		t.Error(err)
	}
}
