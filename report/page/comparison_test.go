package page

import (
	"bytes"
	"strings"
	"testing"

	"coilsweep/fit/comparison"
	"coilsweep/report/internal/invented"
)

func comparisonPageText(t testing.TB, coils []comparison.Coil) string {
	t.Helper()
	var b bytes.Buffer
	if err := Comparison(&b, ComparisonDocument{Comparison: invented.Compared(t, coils), SortKey: "given",
		Made: invented.Day, Program: "coilsweep test"}); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestComparison(t *testing.T) {
	coils := invented.Coils(6, 60)
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
	page := comparisonPageText(t, invented.Coils(50, 800))
	selfContained(t, page)
	if curves, thin := strings.Count(page, `<path class="curve `),
		strings.Count(page, `<path class="trace `); curves != 6*4 || thin != 44*4 {
		t.Errorf("%d curves and %d thin lines, want 24 and 176", curves, thin)
	}
	if len(page) > 2.5e6 {
		t.Errorf("the page has %d bytes", len(page))
	}
}

// Coils without a load in common are compared by their numbers alone.
func TestComparisonPageWithoutOverlay(t *testing.T) {
	coils := invented.Coils(2, 20)
	coils[1].Result.Takes = coils[1].Result.Takes[1:]
	coils[0].Result.Takes = coils[0].Result.Takes[:1]
	page := comparisonPageText(t, coils)
	if strings.Contains(page, `id="response"`) || strings.Contains(page, "<script>") {
		t.Error("there is an overlay, or a script without one")
	}
}

func BenchmarkComparisonPageOfFifty(b *testing.B) {
	c := invented.Compared(b, invented.Coils(50, 800))
	for b.Loop() {
		var size sink
		if err := Comparison(&size, ComparisonDocument{Comparison: c}); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(size)/1e6, "MB")
	}
}
