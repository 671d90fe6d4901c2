package data

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"coilsweep/fit"
	"coilsweep/report/internal/invented"
)

func TestListCSV(t *testing.T) {
	for _, o := range []CSVOptions{{}, {DecimalComma: true}} {
		var b bytes.Buffer
		if err := ListCSV(&b, invented.List(), o); err != nil {
			t.Fatal(err)
		}
		in := csv.NewReader(&b)
		if o.DecimalComma {
			in.Comma = ';'
		}
		rows, err := in.ReadAll()
		if err != nil || len(rows) != 6 {
			t.Fatalf("%d rows, error %v", len(rows), err)
		}
		column := map[string]int{}
		for i, name := range rows[0] {
			column[name] = i
		}
		want := map[string]string{"folder": "shop/a", "coil": "Bridge", "takes": "3", "state": "fresh", "flags": "hum",
			"resonance_of": "coil alone", "inductance_h": "2.41", "inductance_U95_h": "0.0196",
			"capacitance_f": "2.1e-10"}
		for name, text := range want {
			if o.DecimalComma {
				text = strings.Replace(text, ".", ",", 1)
			}
			if got := rows[1][column[name]]; got != text {
				t.Errorf("%s is %q, want %q", name, got, text)
			}
		}
		if got := rows[3][column["coil"]]; got != "'=cmd|' /c'!A1" {
			t.Errorf("the name that is a formula is written as %q", got)
		}
		if got := rows[2][column["inductance_h"]]; got != "" {
			t.Errorf("an unknown inductance is written as %q", got)
		}
	}
}

func TestListJSON(t *testing.T) {
	var b bytes.Buffer
	if err := ListJSON(&b, invented.List()); err != nil {
		t.Fatal(err)
	}
	var back []struct {
		Folder     string
		State      string
		Stale      []string
		Measured   *time.Time
		Inductance fit.Quantity `json:"inductance_h"`
	}
	if err := json.Unmarshal(b.Bytes(), &back); err != nil {
		t.Fatal(err)
	}
	if len(back) != 5 || back[0].Inductance.Value != 2.41 || back[1].Inductance.Known() ||
		back[1].Stale[0] != "coil.toml was edited" ||
		back[2].Measured != nil || back[2].State != "no take" || back[4].State != "not fitted" {
		t.Errorf("read back as %+v", back)
	}
	b.Reset()
	if err := ListJSON(&b, nil); err != nil || b.String() != "[]\n" {
		t.Errorf("no coil: %q, %v", b.String(), err)
	}
}
