package data

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"coilsweep/report/internal/invented"
)

func TestFilesReportTheirError(t *testing.T) {
	r := invented.Result(invented.ThreeLoads, 20)
	for name, err := range map[string]error{"CSV": ResultCSV(invented.FullDisk{}, r, CSVOptions{}),
		"JSON": r.Encode(invented.FullDisk{})} {
		if !errors.Is(err, invented.ErrFull) {
			t.Errorf("%s: got error %v, want %v", name, err, invented.ErrFull)
		}
	}
}

// A spreadsheet takes a cell for a formula by its first character (the list
// is that of OWASP's page on CSV injection).
func TestCellText(t *testing.T) {
	for in, want := range map[string]string{"": "", "Bridge": "Bridge", "=1+1": "'=1+1", "+1": "'+1", "-1": "'-1",
		"@SUM(A1)": "'@SUM(A1)",
		"\t=1":     "'\t=1", "\r=1": "'\r=1", "a=1": "a=1", "Ω": "Ω"} {
		if got := cellText(in); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
	}
	var b bytes.Buffer
	r := invented.Result(invented.ThreeLoads[:1], 3)
	r.Takes[0].Name = "-x"
	if err := ResultCSV(&b, r, CSVOptions{}); err != nil || !strings.Contains(b.String(), "\n'-x,0,") {
		t.Errorf("response.csv has the take's name as a formula (error %v):\n%s", err, b.String())
	}
}
