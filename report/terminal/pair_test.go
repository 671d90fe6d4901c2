package terminal

import (
	"bytes"
	"strings"
	"testing"

	"coilsweep/report/internal/invented"
)

func TestPair(t *testing.T) {
	var b bytes.Buffer
	if err := Pair(&b, invented.Pair(), Options{Width: 100}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"invented <pair>\n", "at least 34.4 dB", "second half over first", "cancels",
		"¹ undetermined: add takes of both coils", "partial split by 4.7k, screws", "Warning: an invented warning"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("%q is missing in\n%s", want, b.String())
		}
	}
	if strings.Contains(b.String(), "NaN") {
		t.Errorf("a number that is none in\n%s", b.String())
	}
}
