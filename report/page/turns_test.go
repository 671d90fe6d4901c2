package page

import (
	"bytes"
	"html"
	"strings"
	"testing"

	"coilsweep/fit/turns"
	"coilsweep/report/internal/invented"
)

func turnsPageText(t testing.TB, s turns.Sheet) string {
	t.Helper()
	var b bytes.Buffer
	if err := Turns(&b, s, invented.Day, "coilsweep test"); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestTurns(t *testing.T) {
	page := turnsPageText(t, invented.Turns())
	if strings.Contains(page, "<script") || strings.Contains(page, "src=") {
		t.Error("the page has a script, or needs another file")
	}
	said := strings.ReplaceAll(html.UnescapeString(page), "\u00a0", " ")
	for _, want := range []string{
		"For the peak of wanted <coil> in the guitar, 3.12 ± 0.11 kHz, 2 of 4 wires can be wound on this bobbin.",
		"U95 has ±20 Hz from the measured coil, ±90 Hz from the laws", "8120 ± 120", "91 %, tight",
		"2.030 ± 0.039", "one coil alone cannot tell it", "0.1 mm, grade 1; 0.1 mm, grade 2: the bobbin holds 3000 turns",
		"an input of 1M 20% is assumed", "0.063 mm, grade 1, 8123 turns", `id="turns0-n"`,
	} {
		if !strings.Contains(said, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(said, `id="turns1-n"`) || strings.Contains(said, "NaN") {
		t.Error("the page shows a response that is not known")
	}
	none := invented.Turns()
	none.Options = nil
	if page := turnsPageText(t, none); !strings.Contains(page, "None of these wires gives") ||
		strings.Contains(page, "<figure") {
		t.Error("the page without options does not say so")
	}
}
