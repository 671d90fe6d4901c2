package data

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"testing"

	"coilsweep/fit"
	"coilsweep/report/internal/invented"
)

// What CSV and JSON hold is what the comparison holds.
func TestComparisonFiles(t *testing.T) {
	coils := invented.Coils(5, 4)
	coils[1].Name = "=HYPERLINK(1)"
	c := invented.Compared(t, coils)
	var b bytes.Buffer
	if err := ComparisonCSV(&b, c, "name", CSVOptions{}); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 6 {
		t.Fatalf("%d rows, error %v", len(rows), err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	if got := rows[1][column["coil"]]; got != "'=HYPERLINK(1)" {
		t.Errorf("the first by name is %q", got)
	}
	if got := rows[1][column["inductance_difference_h"]]; got != "0.00964" { // 2.41 · 0.004
		t.Errorf("difference of L %q, want 0.00964", got)
	}
	for _, row := range rows[1:] {
		switch row[column["folder"]] {
		case "shop/1":
			if row[column["is_reference"]] != "yes" || row[column["inductance_difference_h"]] != "" {
				t.Errorf("the reference: %q", row)
			}
		case "shop/5":
			if row[column["inductance_h"]] != "" || row[column["inductance_verdict"]] != "?" {
				t.Errorf("the coil that is hardly known: %q", row)
			}
		}
	}
	b.Reset()
	if err := ComparisonJSON(&b, c); err != nil {
		t.Fatal(err)
	}
	var back struct {
		Schema, Reference string
		Properties        []struct{ Key, Unit string }
		Coils             []struct {
			Coil        string
			Values      map[string]fit.Quantity
			Differences map[string]struct {
				Delta   fit.Quantity
				En      *float64
				Percent *float64
				Verdict string
			}
		}
	}
	if err := json.Unmarshal(b.Bytes(), &back); err != nil {
		t.Fatal(err)
	}
	q := back.Coils[2].Differences["bare_q"]
	wantEn := (1.1 - 3.02) / math.Hypot(1.96*0.02, 1.96*0.03)
	if back.Schema != comparisonSchema || back.Reference != "shop/1" || q.Verdict != "differs" ||
		math.Abs(*q.En-wantEn) > 1e-9 || math.Abs(*q.Percent+100*1.92/3.02) > 1e-9 {
		t.Errorf("read back as %+v, want En %g", q, wantEn)
	}
	if len(back.Coils[0].Differences) != 0 || back.Coils[4].Values["inductance_h"].Known() {
		t.Error("the reference has differences, or an unknown value is known")
	}
}
