package harness

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const guitar = `schema = "coilsweep.harness/1"
name = "an invented guitar"
wiring = "parallel"
phase = "out"

[volume]
resistance = "500k 20%"
taper = "log"
position = 8

[tone]
resistance = "500k"
taper = "linear"
capacitance = "22n 10%"
open_at_full = true

[bleed]
capacitance = "680p"
parallel = "150k"

[cable]
length_m = 3
per_metre = "110p 10%"

[amplifier]
resistance = "1M 5%"
capacitance = "30p"
`

func TestDecode(t *testing.T) {
	h, err := Decode([]byte(guitar))
	if err != nil {
		t.Fatal(err)
	}
	if h.Wiring != "parallel" || h.Phase != "out" || h.Volume.position() != 8 || h.Tone.position() != 10 ||
		!h.Tone.OpenAtFull ||
		h.Tone.Capacitance.SI != 22e-9 || h.Bleed.Parallel.SI != 150e3 || h.Cable.LengthM != 3 ||
		h.Amplifier.Resistance.Half != 50e3 {
		t.Errorf("%+v", h)
	}
	if n, err := h.Check(); n != 2 || err != nil {
		t.Errorf("%d coils, %v", n, err)
	}
}

func TestDecodeErrors(t *testing.T) {
	const head = "schema = \"coilsweep.harness/1\"\n"
	for _, tt := range []struct{ name, file, want string }{
		{"syntax", head + "[volume]\nresistance 5\n", "line 3:"},
		{"misspelt key", head + "[volume]\nresistance = \"500k\"\ntapper = \"log\"\n",
			`line 4: there is no key "volume.tapper"`},
		{"unknown table", head + "\n[treble]\nx = 1\n", `line 3: there is no key "treble"`},
		{"wrong unit", head + "[volume]\nresistance = \"500p\"\n", "line 3:"},
		{"another schema", "schema = \"coilsweep.harness/2\"\n", `schema is "coilsweep.harness/2"`},
		{"wiring", head + "wiring = \"star\"\n", `wiring "star": want series, parallel or split`},
		{"phase of one coil", head + "phase = \"out\"\n", "for two coils"},
		{"phase", head + "wiring = \"series\"\nphase = \"left\"\n", "want in or out"},
		{"coupling", head + "wiring = \"series\"\ncoupling = 1.0\n", "coupling 1"},
		{"no resistance", head + "[volume]\ntaper = \"log\"\n", "volume: the pot's resistance is missing"},
		{"knob", head + "[volume]\nresistance = \"500k\"\nposition = 11\n", "knob at 11"},
		{"taper", head + "[volume]\nresistance = \"500k\"\ntaper = \"a\"\n", `write audio or linear`},
		{"tone without capacitor", head + "[tone]\nresistance = \"500k\"\n", "needs its capacitor"},
		{"tone at no output", head + "[tone]\nresistance = \"500k\"\ncapacitance = \"22n\"\nat_output = true\n",
			"with a volume pot"},
		{"bleed on nothing", head + "[bleed]\ncapacitance = \"680p\"\n", "needs a volume pot"},
		{"empty bleed", head + "[volume]\nresistance = \"500k\"\n[bleed]\nparallel = \"150k\"\n",
			"bleed: the capacitance is missing"},
		{"cable twice", head + "[cable]\ncapacitance = \"470p\"\nlength_m = 3\n", "not both"},
		{"cable of no length", head + "[cable]\nlength_m = 0\n", "a length of 0 m"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Decode([]byte(tt.file))
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want one with %q", err, tt.want)
			}
		})
	}
}

func TestLoad(t *testing.T) {
	path := filepath.Join(t.TempDir(), "guitar.toml")
	if err := os.WriteFile(path, []byte(guitar), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(path); err != nil {
		t.Error(err)
	}
	if err := os.WriteFile(path, []byte("x"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{path, filepath.Dir(path), path + "-not-there"} {
		if _, err := Load(bad); err == nil || !strings.Contains(err.Error(), bad) {
			t.Errorf("%s: error %v does not name it", bad, err)
		}
	}
}

// Whatever is read without an error can be worked with.
func FuzzDecode(f *testing.F) {
	f.Add([]byte(guitar))
	f.Add([]byte("schema = \"coilsweep.harness/1\"\n[cable]\nlength_m = 1e3\n"))
	f.Add([]byte("a.b.c = 1\n[a]\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		h, err := Decode(data)
		if err != nil {
			return
		}
		parts, _ := h.Parts()
		for _, p := range parts {
			if !(p.Value.SI > 0) || !(p.Value.U() > 0) {
				t.Fatalf("part %+v", p)
			}
		}
		if _, err := h.Check(); err != nil {
			t.Fatal(err)
		}
	})
}
