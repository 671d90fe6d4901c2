package workbench

import (
	"math"
	"slices"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/fit"
)

// Of the uncertainty of a resonance, noise and what better data may tell fall with
// more sweeps; all else is the floor, named by its large parts.
func TestPrecisionOf(t *testing.T) {
	shares := func(list ...any) (lines []fit.BudgetLine) { // source, percent, …
		for i := 0; i < len(list); i += 2 {
			lines = append(lines, fit.BudgetLine{Source: list[i].(string), Percent: list[i+1].(float64)})
		}
		return lines
	}
	result := func(lines []fit.BudgetLine) *fit.Result {
		return &fit.Result{
			Takes: []fit.TakeResult{{Name: "bare", Resonance: fit.Quantity{Value: 8000, U: 0.5, U95: 1}}},
			Budget: []fit.Budget{
				{Quantity: "resonance_hz of other", Shares: shares("clock", 100.0)},
				{Quantity: "resonance_hz of bare", Shares: lines},
			},
		}
	}
	for _, test := range []struct {
		shares  []fit.BudgetLine
		floor   float64 // of 0.0125 %
		holders []string
	}{
		{shares("noise", 90.0, "clock", 10.0), math.Sqrt(0.1), []string{"clock"}},
		{shares("noise", 50.0, "sound card", 24.0, "clock", 24.0, "load resistance", 2.0), math.Sqrt(0.5),
			[]string{"sound card", "clock"}},
		{shares("noise", 30.0, "model", 40.0, "weak prior", 30.0), 0, nil},
		{nil, 0, nil},
	} {
		p := precisionOf(result(test.shares))
		if math.Abs(p.percent-0.0125) > 1e-15 || math.Abs(p.floor-0.0125*test.floor) > 1e-15 ||
			!slices.Equal(p.holders, test.holders) {
			t.Errorf("%v: %+v", test.shares, p)
		}
	}
	unknown := result(nil)
	unknown.Takes[0].Resonance = fit.Unknown("too noisy")
	if p := precisionOf(unknown); !math.IsNaN(p.percent) || p.why != "too noisy" {
		t.Errorf("unknown: %+v", p)
	}
}

// U² = a² + b²/n: with a = 0.3 and b = 0.8 at 4 and 16 sweeps.
func TestSettled(t *testing.T) {
	u := func(n float64) float64 { return math.Sqrt(0.09 + 0.64/n) }
	if got := settled(u(4), 4, u(16), 16); math.Abs(got-0.3) > 1e-12 {
		t.Errorf("settles at %g, want 0.3", got)
	}
	if got := settled(1, 2, 0.5, 4); got != 0 { // falls faster than noise
		t.Errorf("settles at %g", got)
	}
}

// What helps depends on what holds the uncertainty up, and on the bench.
func TestRemedy(t *testing.T) {
	plain, referenced := capture.Take{Reference: capture.Reference{Kind: "none"}},
		capture.Take{Reference: capture.Reference{Kind: "loopback"}}
	for _, test := range []struct {
		sources []string
		take    capture.Take
		want    string
	}{
		{[]string{"clock"}, referenced, "; state how wrong the clock can be"},
		{[]string{"sound card"}, plain, "; use a reference, or calibrate"},
		{[]string{"sound card"}, referenced, ""},
		{[]string{"sound card", "clock"}, plain, "calibrate the sound card; state how wrong"},
		{[]string{"load resistance"}, plain, ""},
	} {
		if got := remedy(test.sources, test.take); !strings.Contains(got, test.want) || test.want == "" && got != "" {
			t.Errorf("%v: %q, want %q", test.sources, got, test.want)
		}
	}
	if got, want := holderWords([]string{"sound card", "clock", "load resistance"}),
		"the sound card's own response and the sound card's clock and the load resistance"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
