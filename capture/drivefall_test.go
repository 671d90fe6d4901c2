package capture

import (
	"math"
	"testing"

	"coilsweep/excite/quantity"
)

// What is not known of the drive is what was neither stated nor measured.
func TestDriveLimit(t *testing.T) {
	r, err := quantity.ParseResistance("257")
	if err != nil {
		t.Fatal(err)
	}
	l, err := quantity.ParseInductance("250uH")
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		drive     Drive
		reference string
		want      float64
	}{
		"assumed":            {Drive{Kind: "current", Assumed: true}, "loopback", 0.1},
		"assumed, measured":  {Drive{Kind: "current", Assumed: true}, "current", 0},
		"stated current":     {Drive{Kind: "current"}, "loopback", 0},
		"current, valued":    {Drive{Kind: "current", ExciterR: &r, ExciterL: &l}, "none", 0.0644},
		"voltage":            {Drive{Kind: "voltage", ExciterR: &r, ExciterL: &l}, "loopback", 0},
		"voltage, without L": {Drive{Kind: "voltage", ExciterR: &r}, "loopback", 0.1},
		"no exciter":         {Drive{Kind: "direct"}, "loopback", 0},
	} {
		take := Take{Drive: c.drive, Reference: Reference{Kind: c.reference}}
		if got := take.DriveLimitDB(); math.Abs(got-c.want) > 1e-4 {
			t.Errorf("%s: %g dB, want %g", name, got, c.want)
		}
	}
}
