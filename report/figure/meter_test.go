package figure

import (
	"math"
	"strings"
	"testing"

	"coilsweep/fit"
)

// A reading that is far out does not squeeze the others: its distance stands
// in words at the edge.
func TestMeterFigureWithAnOutlier(t *testing.T) {
	readings := []fit.MeterResult{
		{What: "L", AtHz: 1000, Mode: "series", Reading: 2.45, U95: 0.03,
			Expected: fit.Quantity{Value: 2.4, U95: 0.024}, En: new(1.30)},
		{What: "R", AtHz: 100, Mode: "parallel", Reading: 78, U95: 0.5, Expected: fit.Quantity{Value: 7800, U95: 31},
			En: new(-249.0)},
		{What: "C", Expected: fit.Unknown("fixture")},
	}
	f := Meter(readings, Wide)
	if len(f.Marks) != 2 {
		t.Fatalf("%d marks, want 2", len(f.Marks))
	}
	// 0.05 of 2.4 is 2.083 %, and 0.03 of it 1.25 %.
	if m := f.Marks[0]; math.Abs(m.X-2.0833) > 1e-3 || math.Abs(m.XHalf-1.25) > 1e-9 || m.Label != "En 1.30" {
		t.Errorf("first reading drawn as %+v", m)
	}
	if f.X.Max > 5 || f.Marks[1].X != f.X.Min || !strings.Contains(f.Marks[1].Label, "−99 %") {
		t.Errorf("axis to %g, far reading drawn as %+v", f.X.Max, f.Marks[1])
	}
	if Meter(readings[2:], Wide) != nil {
		t.Error("a figure of nothing")
	}
}
