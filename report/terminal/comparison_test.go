package terminal

import (
	"bytes"
	"testing"

	"coilsweep/report/internal/golden"
	"coilsweep/report/internal/invented"
)

func TestComparison(t *testing.T) {
	for _, test := range []struct {
		file string
		n    int
		o    Options
		sort string
	}{
		{"comparison-2.txt", 2, Options{}, "given"},
		{"comparison-5.txt", 5, Options{Width: 120}, "inductance_h"},
	} {
		var b bytes.Buffer
		if err := Comparison(&b, invented.Compared(t, invented.Coils(test.n, 4)), test.sort, test.o); err != nil {
			t.Fatal(err)
		}
		golden.Same(t, test.file, b.Bytes())
	}
}
