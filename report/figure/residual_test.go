package figure

import (
	"math"
	"testing"

	"coilsweep/report/internal/invented"
)

// Of normal residuals 4.55 % lie beyond 2 u (tables of the normal
// distribution); the scale holds all but a few.
func TestResidualCounts(t *testing.T) {
	takes := Takes(invented.Result(invented.EightLoads, 900))
	outside, n := 0, 0
	for _, take := range takes {
		o, k := take.Outside()
		outside, n = outside+o, n+k
	}
	if n != 8*2*900 {
		t.Fatalf("%d residuals, want %d", n, 8*2*900)
	}
	// Three standard deviations of a binomial count.
	if share := float64(outside) / float64(n); math.Abs(share-0.0455) > 3*math.Sqrt(0.0455*0.9545/float64(n)) {
		t.Errorf("%.2f %% beyond 2 u, want 4.55 %%", 100*share)
	}
	takes[0].ResidualRe[3] = -900 // one wild value does not set the scale
	if b := ResidualBound(takes); b != 4 {
		t.Errorf("scale of ±%g for normal residuals, want ±4", b)
	}
	for i := range takes[0].ResidualRe {
		takes[0].ResidualRe[i] = -7.5
	}
	if b := ResidualBound(takes); b != 8 {
		t.Errorf("scale of ±%g for residuals of 7.5, want ±8", b)
	}
}
