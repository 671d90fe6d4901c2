package fit

import (
	"encoding/json"
	"strings"
	"testing"
)

// A point is found by its frequency, or as the one at the resonance, also in a
// result that was written and read again.
func TestBranchAt(t *testing.T) {
	known := func(x float64) Quantity { return Quantity{Value: x, U: x / 100, U95: x / 50} }
	r := &Result{Branch: []BranchPoint{{1000, known(2), known(8000)}, {7126.5, known(1.9), known(12000)}}}
	text, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var again Result
	if err := json.Unmarshal(text, &again); err != nil {
		t.Fatal(err)
	}
	if p := again.BranchAt(1000); p.Inductance != r.Branch[0].Inductance || p.AtResonance() {
		t.Errorf("at 1 kHz: %+v", p)
	}
	if p := again.BranchAt(0); p.Resistance != r.Branch[1].Resistance || p.Hz != 7126.5 || !p.AtResonance() {
		t.Errorf("at the resonance: %+v", p)
	}
	if p := again.BranchAt(120); p.Inductance.Known() || !strings.Contains(p.Resistance.Why, "fit the takes again") {
		t.Errorf("at 120 Hz: %+v", p)
	}
	r.Branch = r.Branch[:1]
	if p := r.BranchAt(0); p.Inductance.Known() || !strings.Contains(p.Resistance.Why, "nothing added") {
		t.Errorf("without a resonance: %+v", p)
	}
	for hz, want := range map[float64]string{100: "branch_100hz_inductance_h branch_100hz_resistance_ohm",
		7126.5: "branch_resonance_inductance_h branch_resonance_resistance_ohm"} {
		l, ohm := BranchPoint{Hz: hz}.Keys()
		if got := l + " " + ohm; got != want {
			t.Errorf("keys at %g Hz: %s, want %s", hz, got, want)
		}
	}
}
