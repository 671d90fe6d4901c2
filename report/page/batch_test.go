package page

import (
	"bytes"
	"strings"
	"testing"

	"coilsweep/report/internal/invented"
)

func TestBatch(t *testing.T) {
	run := invented.Batch(t, 8, 60)
	run.Coils[2].Name = `</script><img src=x onerror=alert(1)>` + "\u202e" + strings.Repeat("long ", 40)
	run.Specimens[0].Folder = `" onmouseover="alert(3)`
	var b bytes.Buffer
	if err := Batch(&b, BatchDocument{Batch: run, Limits: `<style>*{}</style>`, Made: invented.Day,
		Program: "coilsweep test"}); err != nil {
		t.Fatal(err)
	}
	selfContained(t, b.String())
	policyMatches(t, b.String())
	text := strings.ReplaceAll(b.String(), "\u00a0", " ")
	for _, want := range []string{"8 coils, 2 of them measured more than once.", "7 pass, 1 fails.", "shorted turns",
		"at least 2.500"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if n := strings.Count(text, `id="chart-`); n < len(run.Properties) {
		t.Errorf("%d control charts for %d quantities", n, len(run.Properties))
	}
}

// The page speaks of the bands of U95 where there are some: behind coils that stand out.
func TestBatchBands(t *testing.T) {
	for _, stand := range []bool{true, false} {
		run := invented.Batch(t, 8, 60)
		if !stand {
			run.Judged = false
			for i := range run.Properties {
				run.Properties[i].Scores = nil
			}
		}
		var b bytes.Buffer
		if err := Batch(&b, BatchDocument{Batch: run}); err != nil {
			t.Fatal(err)
		}
		drawn, said := strings.Contains(b.String(), `class="band `), strings.Contains(b.String(), "the shaded bands are U95")
		if drawn != stand || said != stand {
			t.Errorf("coils that stand out: %v; bands drawn: %v, spoken of: %v", stand, drawn, said)
		}
	}
}

// A page of a hundred coils stays below 5 MB.
func BenchmarkBatchPageOfHundred(b *testing.B) {
	run := invented.Batch(b, 100, 800)
	for b.Loop() {
		var size sink
		if err := Batch(&size, BatchDocument{Batch: run}); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(size)/1e6, "MB")
	}
}
