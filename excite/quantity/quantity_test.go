package quantity

import (
	"math"
	"testing"
)

// U95 is the stated one where there is one; of a limit ±a it is 1.96 a/sqrt(3) (JCGM
// 100:2008, 4.3.7 and G.1.3).
func TestU95(t *testing.T) {
	for _, tt := range []struct {
		text string
		want float64
	}{{"500k 10% U95", 50e3}, {"500k 10%", 1.96 * 50e3 / math.Sqrt(3)}, {"500k", 0}} {
		v, err := Parse(tt.text, Ohm)
		if err != nil {
			t.Fatal(err)
		}
		if got := v.U95(); math.Abs(got-tt.want) > 2e-5*tt.want {
			t.Errorf("U95 of %s is %g, want %g", tt.text, got, tt.want)
		}
	}
}
