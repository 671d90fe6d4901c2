package joint

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"coilsweep/capture"
	"coilsweep/fit"
)

// The clock's limit is that of the takes, the usual one where none is stated, and
// the drift where that is larger: u = a/sqrt(3) of every frequency (JCGM 100:2008,
// 4.3.7), and nothing else moves.
func TestClockLimit(t *testing.T) {
	c := spiceCoils[0]
	loads := readSpice(t, must(os.ReadFile(filepath.Join(spiceDir, "fit_"+c.name+".csv"))))
	resonance := func(ppm ...float64) (u float64) {
		takes := c.takes(loads, 0)
		for i, limit := range ppm {
			takes[i].Card.ClockPPM = limit
		}
		r := must(Analyse(t.Context(), capture.Coil{Name: c.name}, takes, fit.Options{Forms: []fit.Form{{}}}))
		return r.Takes[0].Resonance.U / r.Takes[0].Resonance.Value
	}
	usual := resonance()
	if best := resonance(1, 1, 1, 1,
		1); math.Abs(math.Sqrt(usual*usual-best*best)-1e-6*math.Sqrt((50*50-1)/3.0)) > 1e-8 {
		t.Errorf("u of the resonance %.3g with the usual clock, %.3g with one of 1 ppm", usual, best)
	}
	if worst := resonance(1, 600, 1, 1,
		1); math.Abs(math.Sqrt(worst*worst-usual*usual)-1e-6*math.Sqrt((600*600-50*50)/3.0)) > 1e-6 {
		t.Errorf("u of the resonance %.3g with a clock of 600 ppm in one take", worst)
	}
}

// Readers of a budget know its sources by the names in package fit.
func TestSourceNames(t *testing.T) {
	for ours, theirs := range map[source]string{sourceNoise: fit.NoiseSource, sourceModel: fit.ModelSource,
		sourceWeak: fit.WeakSource, sourceClock: fit.ClockSource} {
		if string(ours) != theirs {
			t.Errorf("%q is called %q", ours, theirs)
		}
	}
}
