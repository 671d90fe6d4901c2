package data

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"strings"
	"testing"

	"coilsweep/report/internal/invented"
)

func TestBatchCSV(t *testing.T) {
	run := invented.Batch(t, 8, 4)
	run.Coils[3].Name = "@coil"
	var b bytes.Buffer
	if err := BatchCSV(&b, run, CSVOptions{}); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 9 {
		t.Fatalf("%d rows, error %v", len(rows), err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	bad := rows[3]
	if bad[column["coil"]] != "coil 03" || bad[column["verdict"]] != "fail" || bad[column["bare_q"]] != "1.1" ||
		bad[column["bare_q_verdict"]] != "fail" ||
		!strings.Contains(bad[column["suspicion"]], "shorted turns") {
		t.Errorf("the bad coil: %q", bad)
	}
	if got := rows[1][column["folders"]]; got != "run1/01 run2/01" {
		t.Errorf("folders of the coil that was measured twice: %q", got)
	}
	if got := rows[4][column["coil"]]; got != "'@coil" {
		t.Errorf("a name that is a formula: %q", got)
	}
}

func TestBatchJSON(t *testing.T) {
	var b bytes.Buffer
	run := invented.Batch(t, 8, 4)
	if err := BatchJSON(&b, run); err != nil {
		t.Fatal(err)
	}
	var back struct {
		Schema string
		Coils  []struct {
			Coil, Verdict, Suspected string
			Folders                  []string
			Values                   map[string]struct {
				Value       float64
				U95         float64
				Verdict     string
				Probability *float64 `json:"probability_within"`
				Score       *float64
			}
		}
		Properties []struct {
			Key   string
			N     int
			Mean  float64
			Anova *struct {
				WithinDF int `json:"within_df"`
			}
			Limits *struct{ Lower, Upper *float64 }
			Chart  *struct {
				Signals []struct{ Coil, What string }
			}
		}
	}
	if err := json.Unmarshal(b.Bytes(), &back); err != nil {
		t.Fatal(err)
	}
	q := back.Coils[2].Values["bare_q"]
	if back.Schema != batchSchema || q.Value != 1.1 || q.Verdict != "fail" || *q.Probability > 1e-9 ||
		!(*q.Score < -3.5) || back.Coils[2].Verdict != "fail" {
		t.Errorf("the bad coil's Q: %+v", q)
	}
	for _, p := range back.Properties {
		if p.Key == "bare_q" && (p.N != 8 || p.Anova.WithinDF != 2 || *p.Limits.Lower != 2.5 || p.Limits.Upper != nil) {
			t.Errorf("Q: %+v", p)
		}
	}
}
