package page

import (
	"bytes"
	"html"
	"strings"
	"testing"

	"coilsweep/fit/pair"
	"coilsweep/report/internal/invented"
)

func pairPageText(t testing.TB, r *pair.Result) string {
	t.Helper()
	var b bytes.Buffer
	if err := Pair(&b, r, invented.Day, "coilsweep test"); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestPair(t *testing.T) {
	page := pairPageText(t, invented.Pair())
	if strings.Contains(page, "<script") || strings.Contains(page, "src=") {
		t.Error("the page has a script, or needs another file")
	}
	said := strings.ReplaceAll(html.UnescapeString(page), "\u00a0", " ")
	for _, want := range []string{"invented <pair>", "Hum cancels with the leads of slugs swapped.",
		"Slugs answers the same field 5 % less than screws", "at least 34.4 dB", "33.3 dB (29.6 dB to 39.4 dB)",
		"undetermined: add takes of both coils", "series, second reversed", "split, slugs", "partial split by 4.7k, screws",
		"first coil alone, the other shorted", "an invented warning", `id="pair-in-w"`} {
		if !strings.Contains(said, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(said, "NaN") {
		t.Error("the page shows a number that is none")
	}
	alone := invented.Pair()
	alone.Guitar = nil
	if page := pairPageText(t, alone); strings.Contains(page, "<figure") || strings.Contains(page, "in the guitar") {
		t.Error("the page without a guitar shows one")
	}
}
