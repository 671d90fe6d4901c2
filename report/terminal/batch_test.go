package terminal

import (
	"bytes"
	"testing"

	"coilsweep/report/internal/golden"
	"coilsweep/report/internal/invented"
)

func TestBatch(t *testing.T) {
	for file, o := range map[string]Options{"batch-80.txt": {}, "batch-120.txt": {Width: 120}} {
		var b bytes.Buffer
		chart := ""
		if o.Width == 0 {
			chart = "inductance_h"
		}
		if err := Batch(&b, invented.Batch(t, 8, 4), chart, o); err != nil {
			t.Fatal(err)
		}
		golden.Same(t, file, b.Bytes())
	}
}
