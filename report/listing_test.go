package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"coilsweep/fit"
)

func inventedList() []Listed {
	whole := inventedResult(threeLoads, 4)
	lone := loneTake()
	lone.Takes[0].Used = true
	late := inventedResult(threeLoads, 4)
	late.Inductance = invented(3.1, 0.02)
	late.BareResonance, late.BareQ = invented(9.2e3, 40), invented(4.1, 0.05)
	return []Listed{
		{Folder: "shop/a", Coil: "Bridge", Measured: invented2026, Takes: 3, Result: &whole, Flags: []string{"hum"}},
		{Folder: "shop/b", Coil: "neck", Measured: invented2026.Add(24 * time.Hour), Takes: 1, Result: &lone, Stale: []string{"coil.toml was edited"}},
		{Folder: "shop/c", Coil: "=cmd|' /c'!A1", Takes: 0},
		{Folder: "shop/d", Coil: "Middle", Measured: invented2026.Add(-24 * time.Hour), Takes: 3, Result: &late},
		{Folder: "shop/e", Coil: "new", Measured: invented2026, Takes: 2},
	}
}

func TestListTable(t *testing.T) {
	var b bytes.Buffer
	if err := ListTable(&b, inventedList(), TableOptions{Width: 120}); err != nil {
		t.Fatal(err)
	}
	golden(t, "list.txt", b.Bytes())
}

func TestSortListed(t *testing.T) {
	for _, test := range []struct {
		key        string
		descending bool
		want       string // last letters of the folders
	}{
		{"folder", false, "abcde"}, {"folder", true, "edcba"},
		{"coil", false, "cadbe"}, // = b m ne ne(w)
		{"date", false, "daebc"}, {"date", true, "baedc"},
		{"l", false, "adbce"}, {"l", true, "dabce"},
		{"resonance", true, "adbce"},
	} {
		list := inventedList()
		if !SortListed(list, test.key, test.descending) {
			t.Errorf("no key %q", test.key)
		}
		got := ""
		for _, l := range list {
			got += l.Folder[len(l.Folder)-1:]
		}
		if got != test.want {
			t.Errorf("by %s, descending %v: %s, want %s", test.key, test.descending, got, test.want)
		}
	}
	if SortListed(inventedList(), "weight", false) {
		t.Error("sorted by weight")
	}
	for _, key := range ListKeys() {
		if !SortListed(nil, key, false) {
			t.Errorf("does not know its own key %q", key)
		}
	}
}

func TestListCSV(t *testing.T) {
	for _, o := range []CSVOptions{{}, {DecimalComma: true}} {
		var b bytes.Buffer
		if err := ListCSV(&b, inventedList(), o); err != nil {
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
			"resonance_of": "coil alone", "inductance_h": "2.41", "inductance_h_U95": "0.0196", "capacitance_f": "2.1e-10"}
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
	if err := ListJSON(&b, inventedList()); err != nil {
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
	if len(back) != 5 || back[0].Inductance.Value != 2.41 || back[1].Inductance.Known() || back[1].Stale[0] != "coil.toml was edited" ||
		back[2].Measured != nil || back[2].State != "no take" || back[4].State != "not fitted" {
		t.Errorf("read back as %+v", back)
	}
	b.Reset()
	if err := ListJSON(&b, nil); err != nil || b.String() != "[]\n" {
		t.Errorf("no coil: %q, %v", b.String(), err)
	}
}

// A spreadsheet takes a cell for a formula by its first character (the list
// is that of OWASP's page on CSV injection).
func TestCellText(t *testing.T) {
	for in, want := range map[string]string{"": "", "Bridge": "Bridge", "=1+1": "'=1+1", "+1": "'+1", "-1": "'-1", "@SUM(A1)": "'@SUM(A1)",
		"\t=1": "'\t=1", "\r=1": "'\r=1", "a=1": "a=1", "Ω": "Ω"} {
		if got := cellText(in); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
	}
	var b bytes.Buffer
	r := inventedResult(threeLoads[:1], 3)
	r.Takes[0].Name = "-x"
	if err := WriteCSV(&b, r, CSVOptions{}); err != nil || !strings.Contains(b.String(), "\n'-x,0,") {
		t.Errorf("response.csv has the take's name as a formula (error %v):\n%s", err, b.String())
	}
}
