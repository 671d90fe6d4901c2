package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"coilsweep/fit"
	"coilsweep/fit/comparison"
)

// inventedCoils are n coils that differ a little; the third has lost much of
// its Q, and the fifth is hardly known.
func inventedCoils(n, points int) []comparison.Coil {
	var coils []comparison.Coil
	for i := range n {
		r := inventedResult(threeLoads[:2], points)
		by := 1 + 0.002*float64((i*7)%5)
		r.Inductance.Value *= by
		r.BareResonance.Value /= math.Sqrt(by)
		switch i {
		case 2:
			r.BareQ = invented(1.1, 0.02)
			r.Takes[0].Q = invented(0.9, 0.01)
		case 4:
			r.Inductance, r.Capacitance, r.BareResonance, r.BareQ = fit.Unknown("one take"), fit.Unknown("one take"), fit.Unknown("one take"), fit.Unknown("one take")
		}
		r.Coil = fmt.Sprintf("coil %d", i+1)
		coils = append(coils, comparison.Coil{Name: r.Coil, Folder: fmt.Sprintf("shop/%d", i+1), Result: &r})
	}
	return coils
}

func compared(t testing.TB, coils []comparison.Coil) *comparison.Comparison {
	t.Helper()
	c, err := comparison.Compare(coils, 0, false)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestComparisonTable(t *testing.T) {
	for _, test := range []struct {
		file string
		n    int
		o    TableOptions
		sort string
	}{
		{"comparison-2.txt", 2, TableOptions{}, "given"},
		{"comparison-5.txt", 5, TableOptions{Width: 120}, "inductance_h"},
	} {
		var b bytes.Buffer
		if err := ComparisonTable(&b, compared(t, inventedCoils(test.n, 4)), test.sort, test.o); err != nil {
			t.Fatal(err)
		}
		golden(t, test.file, b.Bytes())
	}
}

// What CSV and JSON hold is what the comparison holds.
func TestComparisonFiles(t *testing.T) {
	coils := inventedCoils(5, 4)
	coils[1].Name = "=HYPERLINK(1)"
	c := compared(t, coils)
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
	if got := rows[1][column["inductance_h_difference"]]; got != "0.00964" { // 2.41 · 0.004
		t.Errorf("difference of L %q, want 0.00964", got)
	}
	for _, row := range rows[1:] {
		switch row[column["folder"]] {
		case "shop/1":
			if row[column["is_reference"]] != "yes" || row[column["inductance_h_difference"]] != "" {
				t.Errorf("the reference: %q", row)
			}
		case "shop/5":
			if row[column["inductance_h"]] != "" || row[column["inductance_h_verdict"]] != "?" {
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
	if back.Schema != comparisonSchema || back.Reference != "shop/1" || q.Verdict != "differs" || math.Abs(*q.En-wantEn) > 1e-9 || math.Abs(*q.Percent+100*1.92/3.02) > 1e-9 {
		t.Errorf("read back as %+v, want En %g", q, wantEn)
	}
	if len(back.Coils[0].Differences) != 0 || back.Coils[4].Values["inductance_h"].Known() {
		t.Error("the reference has differences, or an unknown value is known")
	}
}

func comparisonPageText(t testing.TB, coils []comparison.Coil) string {
	t.Helper()
	var b bytes.Buffer
	if err := ComparisonPage(&b, ComparisonDocument{Comparison: compared(t, coils), SortKey: "given", Made: invented2026, Program: "coilsweep test"}); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestComparisonPage(t *testing.T) {
	coils := inventedCoils(6, 60)
	coils[1].Name = `</script><img src=x onerror=alert(1)>` + "\u202e" + strings.Repeat("long ", 40)
	coils[2].Folder = `" onmouseover="alert(3)`
	coils[3].Result.Basis = []string{`<style>*{display:none}</style>`}
	page := comparisonPageText(t, coils)
	selfContained(t, page)
	policyMatches(t, page)
	for _, want := range []string{"coil 3 differs in Q", "Not comparable: resonance, Q, L, C."} {
		if !strings.Contains(strings.ReplaceAll(page, "\u00a0", " "), want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	// Six curves in each of two loads, wide and narrow.
	if n := strings.Count(page, `<path class="curve `); n != 6*2*2 {
		t.Errorf("%d curves, want 24", n)
	}
}

// Fifty coils: the reference and the five furthest have a style and a name,
// the others are thin lines, and the page stays small.
func TestComparisonPageOfFifty(t *testing.T) {
	page := comparisonPageText(t, inventedCoils(50, 800))
	selfContained(t, page)
	if curves, thin := strings.Count(page, `<path class="curve `), strings.Count(page, `<path class="trace `); curves != 6*4 || thin != 44*4 {
		t.Errorf("%d curves and %d thin lines, want 24 and 176", curves, thin)
	}
	if len(page) > 2.5e6 {
		t.Errorf("the page has %d bytes", len(page))
	}
}

// Coils without a load in common are compared by their numbers alone.
func TestComparisonPageWithoutOverlay(t *testing.T) {
	coils := inventedCoils(2, 20)
	coils[1].Result.Takes = coils[1].Result.Takes[1:]
	coils[0].Result.Takes = coils[0].Result.Takes[:1]
	page := comparisonPageText(t, coils)
	if strings.Contains(page, `id="response"`) || strings.Contains(page, "<script>") {
		t.Error("there is an overlay, or a script without one")
	}
}

func BenchmarkComparisonPageOfFifty(b *testing.B) {
	c := compared(b, inventedCoils(50, 800))
	for b.Loop() {
		var size sink
		if err := ComparisonPage(&size, ComparisonDocument{Comparison: c}); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(size)/1e6, "MB")
	}
}
