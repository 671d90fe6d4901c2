package data

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"coilsweep/report/internal/golden"
	"coilsweep/report/internal/invented"
)

func TestPredictionCSV(t *testing.T) {
	p, _ := invented.Prediction()
	var b bytes.Buffer
	if err := PredictionCSV(&b, p, CSVOptions{}); err != nil {
		t.Fatal(err)
	}
	golden.Same(t, "prediction.csv", b.Bytes())
	b.Reset()
	if err := PredictionCSV(&b, p, CSVOptions{DecimalComma: true}); err != nil ||
		!strings.Contains(b.String(), "\n1000;0,50000;0,0196\n") {
		t.Errorf("with a decimal comma: %q, %v", b.String(), err)
	}
	if err := PredictionCSV(invented.FullDisk{}, p, CSVOptions{}); !errors.Is(err, invented.ErrFull) {
		t.Errorf("got error %v, want %v", err, invented.ErrFull)
	}
}
