package terminal

import (
	"bytes"
	"errors"
	"testing"

	"coilsweep/report/internal/golden"
	"coilsweep/report/internal/invented"
)

func TestPredictionGolden(t *testing.T) {
	p, target := invented.Prediction()
	var b bytes.Buffer
	if err := Prediction(&b, p, &target, Options{}); err != nil {
		t.Fatal(err)
	}
	golden.Same(t, "prediction.txt", b.Bytes())
	if err := Prediction(invented.FullDisk{}, p, nil, Options{}); !errors.Is(err, invented.ErrFull) {
		t.Errorf("got error %v, want %v", err, invented.ErrFull)
	}
}
