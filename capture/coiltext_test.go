package capture

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coilsweep/capture/atomicfile"
)

func TestChangeCoil(t *testing.T) {
	fresh := encodeCoil(Coil{Name: "bridge"})
	text, err := ChangeCoil(fresh, map[string]string{
		"name": "Bridge", "dcr": "7.85k@22C 0.5%", "celsius_at_takes": "22",
		"winding.wire": "AWG 42", "winding.turns": "7600", "winding.core_length": "58mm", "winding.core_width": "5mm",
		"winding.height": "11mm",
	})
	if err != nil {
		t.Fatal(err)
	}
	c, err := decodeCoil(text)
	if err != nil || c.Name != "Bridge" || c.DCR.SI != 7850 || *c.CelsiusAtTakes != 22 || c.Winding == nil ||
		c.Winding.Turns != 7600 {
		t.Fatalf("%v: %+v\n%s", err, c, text)
	}
	// Everything that a person can read of the old one is in the new one.
	for line := range strings.Lines(string(fresh)) {
		if strings.HasPrefix(line, "#") && !strings.Contains(string(text), line) {
			t.Errorf("%q was lost", line)
		}
	}
	text, err = AddReading(text, MeterReading{What: "L", Reading: "2.31H 0.5%", AtHz: 1000, Mode: "series"})
	if err != nil {
		t.Fatal(err)
	}
	if text, err = ChangeCoil(text, map[string]string{"dcr": ""}); err != nil {
		t.Fatal(err)
	}
	if c, err = decodeCoil(text); err != nil || c.DCR != nil || len(c.Meter) != 1 {
		t.Errorf("%v: %+v", err, c)
	}
}

func TestChangeCoilRefuses(t *testing.T) {
	fresh := encodeCoil(Coil{Name: "bridge"})
	for key, value := range map[string]string{
		"name": "", "dcr": "steam", "celsius_at_takes": "warm", "winding.turns": "7.5", "parts_scale_percent": "99",
		"schema": "x", "meter": "x",
	} {
		text, err := ChangeCoil(fresh, map[string]string{key: value})
		var wrong *KeyError
		if err == nil || key != "name" && (!errors.As(err, &wrong) || wrong.Key != key) {
			t.Errorf("%s = %q: %v\n%s", key, value, err, text)
		}
	}
	if _, err := AddReading(fresh, MeterReading{What: "L", Reading: "2.31H", AtHz: -1}); err == nil {
		t.Error("a reading at -1 Hz was taken")
	}
}

func TestReplaceCoilText(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "bridge")
	if err := CreateFolder(dir, Coil{Name: "bridge"}); err != nil {
		t.Fatal(err)
	}
	f, err := OpenFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	text, sum, err := f.CoilText()
	if err != nil {
		t.Fatal(err)
	}
	changed := []byte(strings.Replace(string(text), `"bridge"`, `"neck"`, 1))
	if err := f.ReplaceCoilText(sum, changed); err != nil || f.Coil.Name != "neck" {
		t.Fatalf("%v, %+v", err, f.Coil)
	}
	if err := f.ReplaceCoilText(sum, text); !errors.Is(err, atomicfile.ErrChanged) {
		t.Errorf("over what was changed meanwhile: %v", err)
	}
	_, sum, _ = f.CoilText()
	if err := f.ReplaceCoilText(sum, []byte("name = 3")); err == nil {
		t.Error("no coil was written")
	}
	if held, _ := os.ReadFile(filepath.Join(dir, coilFile)); string(held) != string(changed) {
		t.Errorf("the file holds\n%s", held)
	}
}

// A reading is taken out, and what stands around it stays as it is.
func TestRemoveReading(t *testing.T) {
	const first = "[[meter]]\nwhat = \"L\"\nreading = \"2.31H\"\nat_hz = 1000.0\n"
	const second = "[[meter]] # again\nwhat = \"R\"\nreading = \"8k\"\nat_hz = 120.0\n"
	const head = "schema = \"coilsweep.coil/1\" # mine\nname = \"a\"\n\n"
	const winding = "\n# of the winding\n[winding]\nwire = \"AWG 42\"\n"
	for i, want := range []string{head + second + winding, head + first + winding} {
		got, err := RemoveReading([]byte(head+first+second+winding), i)
		if err != nil || string(got) != want {
			t.Errorf("without %d: %v\n%s\nwant\n%s", i, err, got, want)
		}
	}
	for text, i := range map[string]int{head: 0, head + first: 1,
		head + "meter = [{what = \"L\", reading = \"2.31H\", at_hz = 1000.0}]\n": 0} {
		if got, err := RemoveReading([]byte(text), i); err == nil {
			t.Errorf("%s without %d is\n%s", text, i, got)
		}
	}
}
