package figure

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"coilsweep/fit"
	"coilsweep/report/plot"
)

// Of a harmonic only what stands above its noise is drawn; the noise is always. In a
// hundred takes without distortion nothing is drawn, also where neighbouring points hold
// the same noise in part; a harmonic 12 dB above the noise is drawn from end to end, and
// not beyond.
func TestHarmonicsAboveNoise(t *testing.T) {
	const points = 700
	random := rand.New(rand.NewPCG(4, 8))
	// levels are those of noise of -80 dB with a harmonic of -68 dB from first to last.
	levels := func(first, last int) []float64 {
		out := make([]float64, points)
		var re, im float64
		for i := range out {
			keep := math.Sqrt(0.3) // correlation of neighbours
			re = keep*re + math.Sqrt(0.35)*random.NormFloat64()
			im = keep*im + math.Sqrt(0.35)*random.NormFloat64()
			size := math.Hypot(re, im)
			if i >= first && i <= last {
				size = math.Hypot(re+4, im)
			}
			out[i] = -80 + 20*math.Log10(size)
		}
		return out
	}
	hz, floor := make([]float64, points), make([]float64, points)
	for i := range hz {
		hz[i], floor[i] = 20*math.Pow(1000, float64(i)/points), -80
	}
	result := fit.Result{}
	for range 100 {
		result.Takes = append(result.Takes, fit.TakeResult{Name: "clean",
			Curve: &fit.Curve{FrequencyHz: hz, Harmonic3DB: levels(1, 0), Harmonic3FloorDB: floor}})
	}
	result.Takes = append(result.Takes, fit.TakeResult{Name: "loud",
		Curve: &fit.Curve{FrequencyHz: hz, Harmonic3DB: levels(200, 399), Harmonic3FloorDB: floor}})
	figures := Harmonics(Takes(result), Wide)
	if len(figures) != 1 || figures[0].Title != "Third harmonic" {
		t.Fatalf("%d figures", len(figures))
	}
	f := figures[0]
	if len(f.Series) != 102 || f.Series[0].Kind != plot.Floor || f.Series[0].Name != "clean: noise" {
		t.Fatalf("%d series, want one of noise for each take, and one curve", len(f.Series))
	}
	loud := f.Series[100]
	if loud.Kind != plot.Curve || loud.Name != "loud" || f.Series[101].Kind != plot.Floor || f.Series[101].Name != "" {
		t.Errorf("drawn as %d %q, %d %q", loud.Kind, loud.Name, f.Series[101].Kind, f.Series[101].Name)
	}
	for i, y := range loud.Y {
		if inside := i >= 200 && i <= 399; math.IsNaN(y) == inside && (inside || i < 191 || i > 408) {
			t.Errorf("point %d: %g", i, y)
		}
	}
	if !strings.HasSuffix(f.Description, "dotted: loud.") {
		t.Errorf("described as %q", f.Description)
	}
}
