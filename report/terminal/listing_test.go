package terminal

import (
	"bytes"
	"testing"

	"coilsweep/report/internal/golden"
	"coilsweep/report/internal/invented"
)

func TestList(t *testing.T) {
	var b bytes.Buffer
	if err := List(&b, invented.List(), Options{Width: 120}); err != nil {
		t.Fatal(err)
	}
	golden.Same(t, "list.txt", b.Bytes())
}
