package pair

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/fit/circuit"
)

// A new pair is a folder of its own that reads as it was made, and nothing is left where it
// cannot be made.
func TestCreate(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "bridge")
	halves := [2]capture.Coil{{Name: "screws"}, {Name: "slugs"}}
	if err := Create(dir, "Bridge", halves); err != nil {
		t.Fatal(err)
	}
	r, err := OpenRecord(dir)
	if err != nil {
		t.Fatal(err)
	}
	if r.Name != "Bridge" || len(r.Takes) != 4 || r.Other != "shorted" || r.FieldPercent != nil {
		t.Errorf("%+v", r)
	}
	for _, name := range []string{First, Second, Both} {
		if _, err := capture.OpenFolder(filepath.Join(dir, name)); err != nil {
			t.Error(err)
		}
	}
	if err := Create(dir, "Bridge", halves); err == nil {
		t.Error("a folder was made where one is")
	}
	bad := filepath.Join(t.TempDir(), "bad")
	halves[1].Name = " "
	if err := Create(bad, "Bad", halves); err == nil {
		t.Error("a coil without a name was made")
	}
	if left, _ := os.ReadDir(filepath.Dir(bad)); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	if _, err := OpenRecord(filepath.Dir(dir)); !errors.Is(err, ErrNotPair) {
		t.Errorf("error %v", err)
	}
}

// What a take is follows from its folder and what pair.toml states of it.
func TestRecordOf(t *testing.T) {
	r := Record{Other: "open", Takes: []TakeRecord{{Name: "s", Wiring: "series", Reversed: true, Exciter: "first"},
		{Folder: First, Name: "odd", Other: "shorted", LevelChanged: true}, {Name: "b", Wiring: "second"}}}
	for _, c := range []struct {
		folder, name string
		want         circuit.PairConnection
		place        Place
		changed, ok  bool
	}{
		{Both, "s", circuit.PairConnection{Wiring: circuit.PairInSeries, Reversed: true}, OverFirst, false, true},
		{First, "odd", circuit.PairConnection{Wiring: circuit.FirstAlone, Shorted: true}, OverBoth, true, true},
		{First, "plain", circuit.PairConnection{Wiring: circuit.FirstAlone}, OverBoth, false, true},
		{Second, "plain", circuit.PairConnection{Wiring: circuit.SecondAlone}, OverBoth, false, true},
		{Both, "b", circuit.PairConnection{Wiring: circuit.SecondAlone}, OverBoth, false, true},
		{Both, "unknown", circuit.PairConnection{}, "", false, false},
	} {
		got, place, changed, ok := r.of(c.folder, c.name)
		c.want.Shorted = got.Shorted && (c.want.Shorted || c.want.Wiring > circuit.SecondAlone)
		if got != c.want || place != c.place || changed != c.changed || ok != c.ok {
			t.Errorf("%s/%s: %+v %s %v %v", c.folder, c.name, got, place, changed, ok)
		}
	}
}

func TestRecordRefuses(t *testing.T) {
	const right = "schema = \"coilsweep.pair/1\"\nname = \"n\"\nfirst = \"a\"\nsecond = \"b\"\nboth = \"c\"\nother = \"open\"\n"
	for text, want := range map[string]string{
		right + "[[take]]\nname = \"s\"\nwiring = \"series\"\n":                     "",
		strings.Replace(right, "pair/1", "pair/2", 1):                               "this program reads",
		strings.Replace(right, "second = \"b\"\n", "", 1):                           "second is missing",
		strings.Replace(right, "open", "closed", 1):                                 `other is "closed": want open or shorted`,
		right + "field_percent = 80\n":                                              "field_percent is 80",
		right + "feild_percent = 1\n":                                               "line 7",
		right + "[[take]]\nwiring = \"series\"\n":                                   "the name is missing",
		right + "[[take]]\nname = \"s\"\n":                                          `take both/s: wiring is ""`,
		right + "[[take]]\nname = \"s\"\nwiring = \"first\"\nreversed = true\n":     "not for one alone",
		right + "[[take]]\nname = \"s\"\nwiring = \"series\"\nexciter = \"near\"\n": `exciter is "near"`,
		right + strings.Repeat("[[take]]\nname = \"s\"\nwiring = \"series\"\n", 2):  "is there twice",
	} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "pair.toml"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		_, err := OpenRecord(dir)
		if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
			t.Errorf("%q: error %v, want %q", text, err, want)
		}
	}
}
