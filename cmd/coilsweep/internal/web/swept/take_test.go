package swept

import (
	"testing"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
)

// How well a resonance is known stands beside what is wanted, or why it is not known.
func TestKnown(t *testing.T) {
	seen := workbench.Glance{Sweep: 2, Resonance: fit.Quantity{Value: 8000, U: 4, U95: 8}}
	unseen := workbench.Glance{Sweep: 1, Resonance: fit.Unknown("x"), Why: "the input was overdriven"}
	for want, take := range map[string]Take{
		"":                                   {},
		"Until 0.05 %":                       {Goal: 0.05},
		"2 sweeps: U95 0.10 %":               {Repeats: 2, Glance: seen},
		"2 sweeps: U95 0.10 %, until 0.05 %": {Repeats: 2, Glance: seen, Goal: 0.05},
		"The input was overdriven":           {Repeats: 1, Glance: unseen, Goal: 0.05},
	} {
		if got := take.known(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// Where there is no response there is no curve, and that is no error.
func TestNothingToDraw(t *testing.T) {
	none := &evaluation.Evaluation{Folder: &capture.Folder{}, Takes: []capture.Take{{Name: "bare"}}}
	if b, a := Before(none, ""), (Take{}).Alike(none); b.Response != nil || a.Response != nil {
		t.Errorf("%+v, %+v", b, a)
	}
	if d, err := (Take{Take: "bare"}).Drawing(Before(none, "")); err != nil || d.Wide != "" {
		t.Errorf("%+v, %v", d, err)
	}
}
