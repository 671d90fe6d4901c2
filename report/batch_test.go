package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"coilsweep/fit/batch"
	"coilsweep/fit/comparison"
)

// inventedBatch is a run of n invented coils; the third has lost its Q, and
// the first two were measured again.
func inventedBatch(t testing.TB, n, points int) *batch.Batch {
	t.Helper()
	var specimens []batch.Specimen
	add := func(i, again int) {
		r := inventedResult(threeLoads[:2], points)
		by := 1 + 0.004*math.Sin(float64(7*i)) + 0.0005*float64(again)
		r.Inductance.Value *= by
		r.BareResonance.Value /= math.Sqrt(by)
		r.BareQ.Value *= 1 + 0.003*math.Cos(float64(5*i))
		if i == 2 {
			r.BareQ = invented(1.1, 0.02)
		}
		name := fmt.Sprintf("coil %02d", i+1)
		r.Coil = name
		specimens = append(specimens, batch.Specimen{
			Coil:     comparison.Coil{Name: name, Folder: fmt.Sprintf("run%d/%02d", again+1, i+1), Result: &r},
			Measured: invented2026.Add(time.Duration(10*i+1000*again) * time.Minute),
		})
	}
	for i := range n {
		add(i, 0)
	}
	add(0, 1)
	add(1, 1)
	limits := map[string]batch.Limits{"bare_q": {Lower: 2.5, Upper: math.Inf(1)}, "inductance_h": {Lower: 2.3, Upper: 2.5}}
	b, err := batch.Analyse(specimens, batch.Options{Limits: limits, Guard: 1})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestBatchTable(t *testing.T) {
	for file, o := range map[string]TableOptions{"batch-80.txt": {}, "batch-120.txt": {Width: 120}} {
		var b bytes.Buffer
		chart := ""
		if o.Width == 0 {
			chart = "inductance_h"
		}
		if err := BatchTable(&b, inventedBatch(t, 8, 4), chart, o); err != nil {
			t.Fatal(err)
		}
		golden(t, file, b.Bytes())
	}
}

func TestBatchCSV(t *testing.T) {
	run := inventedBatch(t, 8, 4)
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
	if bad[column["coil"]] != "coil 03" || bad[column["verdict"]] != "fail" || bad[column["bare_q"]] != "1.1" || bad[column["bare_q_verdict"]] != "fail" ||
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
	run := inventedBatch(t, 8, 4)
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
	if back.Schema != batchSchema || q.Value != 1.1 || q.Verdict != "fail" || *q.Probability > 1e-9 || !(*q.Score < -3.5) || back.Coils[2].Verdict != "fail" {
		t.Errorf("the bad coil's Q: %+v", q)
	}
	for _, p := range back.Properties {
		if p.Key == "bare_q" && (p.N != 8 || p.Anova.WithinDF != 2 || *p.Limits.Lower != 2.5 || p.Limits.Upper != nil) {
			t.Errorf("Q: %+v", p)
		}
	}
}

func TestBatchPage(t *testing.T) {
	run := inventedBatch(t, 8, 60)
	run.Coils[2].Name = `</script><img src=x onerror=alert(1)>` + "\u202e" + strings.Repeat("long ", 40)
	run.Specimens[0].Folder = `" onmouseover="alert(3)`
	var b bytes.Buffer
	if err := BatchPage(&b, BatchDocument{Batch: run, Limits: `<style>*{}</style>`, Made: invented2026, Program: "coilsweep test"}); err != nil {
		t.Fatal(err)
	}
	selfContained(t, b.String())
	policyMatches(t, b.String())
	text := strings.ReplaceAll(b.String(), "\u00a0", " ")
	for _, want := range []string{"8 coils, 2 of them measured more than once.", "7 pass, 1 fails.", "shorted turns", "at least 2.500"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if n := strings.Count(text, `id="chart-`); n < len(run.Properties) {
		t.Errorf("%d control charts for %d quantities", n, len(run.Properties))
	}
}

// A page of a hundred coils stays below 5 MB.
func BenchmarkBatchPageOfHundred(b *testing.B) {
	run := inventedBatch(b, 100, 800)
	for b.Loop() {
		var size sink
		if err := BatchPage(&size, BatchDocument{Batch: run}); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(size)/1e6, "MB")
	}
}
