package quantity

import (
	"math"
	"testing"
)

// Parts in parallel: their sum, or for resistors that of their conductances, with
// uncertainties that add up in squares.
func TestParallel(t *testing.T) {
	for _, tt := range []struct {
		text  string
		unit  Unit
		si, u float64 // by hand
		basis Basis
		parts int
	}{
		{"470p 1% || 220p 5%", Farad, 690e-12, math.Hypot(4.7e-12, 11e-12) / math.Sqrt(3), Expanded, 2},
		{"470p 0.3% U95 || 220p 1% || 100p 1%", Farad, 790e-12,
			math.Sqrt(0.705*0.705+(2.2*2.2+1)/3) * 1e-12, Expanded, 3},
		{"100k 1% || 100k 1%", Ohm, 50e3, 50e3 * 0.01 / math.Sqrt(3) / math.Sqrt2, Expanded, 2},
		{"470p || 220p 1%", Farad, 690e-12, 0, Unstated, 2},
	} {
		v, err := Parse(tt.text, tt.unit)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(v.SI/tt.si-1) > 1e-12 || math.Abs(v.U()-tt.u) > 1e-9*tt.si || v.Basis != tt.basis ||
			len(v.Components()) != tt.parts || v.String() != tt.text {
			t.Errorf("%s: %s is %g with u %g (%q) of %d parts, want %+v", tt.text, v, v.SI, v.U(), v.Basis,
				len(v.Components()), tt)
		}
	}
	for _, text := range []string{"470p ||", "|| 470p", "1p||1p||1p||1p||1p", "1H || 1H", "470p | 220p"} {
		if v, err := Parse(text, Farad); err == nil {
			t.Errorf("%q is read as %v", text, v)
		}
	}
	if v, err := Parse("10k@20C || 10k", Ohm); err == nil {
		t.Errorf("a temperature of one of two: %v", v)
	}
	if v, err := Parse("1H || 1H", Henry); err == nil {
		t.Errorf("coils in parallel: %v", v)
	}
}
