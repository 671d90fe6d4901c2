package check

import (
	"math"
	"testing"

	"coilsweep/capture/virtual"
	"coilsweep/fit/response"
)

// A bench whose input bends at high level is told from a linear one. Soft
// clipping takes from the peak first.
func TestCompareLevels(t *testing.T) {
	b := virtual.Default()
	low := scout(t, b, "none", 0.7, 0).Response  // -18 dBFS
	high := scout(t, b, "none", 0.7, 6).Response // -12 dBFS
	got, err := CompareLevels(high, low)
	if err != nil {
		t.Fatal(err)
	}
	if !got.Linear || math.Abs(got.DeviationDB) > 5*got.UDB+0.01 {
		t.Errorf("a linear bench: %+v", got)
	}
	b.Input.SoftKnee = 0.05
	bent := scout(t, b, "none", 0.7, 6).Response
	if got, err = CompareLevels(bent, low); err != nil {
		t.Fatal(err)
	}
	t.Logf("bent: %+v", got)
	if got.Linear || got.DeviationDB < 0.1 || got.AtHz < 5000 || got.AtHz > 12000 {
		t.Errorf("a bench that bends: %+v", got)
	}
	if _, err := CompareLevels(high, &response.Response{}); err == nil {
		t.Error("different frequencies were compared")
	}
}
