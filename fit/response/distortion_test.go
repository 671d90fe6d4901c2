package response

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// A stage that clips softly, y - c y³, makes a third harmonic of c a²/4 of a
// sine of amplitude a (sin³ p = 3/4 sin p - 1/4 sin 3p): it rises with the
// square of the level to the peak of the coil, and above a third of the band it
// is not recorded. Noise in its place is no harmonic.
func TestHarmonicAtThePeak(t *testing.T) {
	const third, bandHz = 0.04, 19400
	for _, tt := range []struct {
		name  string
		hz, q float64
		noise bool
		seen  bool
		tol   float64
	}{
		{"in the band", 4000, 4, false, true, 0.05},
		{"in the band, sharp", 4000, 9, false, true, 0.3}, // the median over a sixth of an octave
		{"above it, carried up", 8000, 3, false, true, 0.05},
		{"an octave above it", 13500, 3, false, false, 0},
		{"noise", 4000, 4, true, false, 0},
	} {
		random := rand.New(rand.NewPCG(3, 4))
		r := &Response{Harmonic: [][]float64{nil, nil}}
		for hz := 30.0; hz < bandHz; hz *= math.Exp2(1.0 / 80) {
			h := resonator(tt.hz, tt.q)(hz)
			r.FrequencyHz, r.H = append(r.FrequencyHz, hz), append(r.H, h)
			level := cmplx.Abs(h) / tt.q // 1 at the peak
			ratio := third * level * level
			if tt.noise {
				ratio = third * math.Hypot(random.NormFloat64(), random.NormFloat64())
			}
			if 3*hz > bandHz {
				ratio = math.NaN()
			}
			r.Harmonic[0], r.Harmonic[1] = append(r.Harmonic[0], math.NaN()), append(r.Harmonic[1], ratio)
		}
		ratio, seen := r.HarmonicRatioAt(3, tt.hz)
		if seen != tt.seen || seen && math.Abs(ratio/third-1) > tt.tol {
			t.Errorf("%s: %.4f, seen %v; want %g, seen %v", tt.name, ratio, seen, third, tt.seen)
		}
		if low, seen := r.HarmonicRatio(3); seen && low > ratio/3 && tt.seen {
			t.Errorf("%s: %g below the resonance, %g at the peak", tt.name, low, ratio)
		}
		if _, seen := r.HarmonicRatioAt(2, tt.hz); seen {
			t.Errorf("%s: a second harmonic was seen where there is none", tt.name)
		}
		if _, seen := r.HarmonicRatioAt(4, tt.hz); seen {
			t.Errorf("%s: a fourth harmonic was seen where none is measured", tt.name)
		}
	}
}
