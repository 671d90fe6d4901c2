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
	result := func(shares ...fit.BudgetLine) *fit.Result {
		return &fit.Result{
			Takes: []fit.TakeResult{{Name: "bare", Resonance: fit.Quantity{Value: 8000, U: 0.5, U95: 1}}},
			Budget: []fit.Budget{{Quantity: "resonance_hz of other", Shares: []fit.BudgetLine{{Source: "clock", Percent: 100}}},
				{Quantity: "resonance_hz of bare", Shares: shares}},
		}
	}
	for _, test := range []struct {
		shares  []fit.BudgetLine
		floor   float64 // of 0.0125 %
		holders []string
	}{
		{[]fit.BudgetLine{{Source: "noise", Percent: 90}, {Source: "clock", Percent: 10}}, math.Sqrt(0.1), []string{"clock"}},
		{[]fit.BudgetLine{{Source: "noise", Percent: 50}, {Source: "sound card", Percent: 24}, {Source: "clock", Percent: 24},
			{Source: "load resistance", Percent: 2}}, math.Sqrt(0.5), []string{"sound card", "clock"}},
		{[]fit.BudgetLine{{Source: "noise", Percent: 30}, {Source: "model", Percent: 40}, {Source: "weak prior", Percent: 30}}, 0, nil},
		{nil, 0, nil},
	} {
		p := precisionOf(result(test.shares...))
		if math.Abs(p.percent-0.0125) > 1e-15 || math.Abs(p.floor-0.0125*test.floor) > 1e-15 || !slices.Equal(p.holders, test.holders) {
			t.Errorf("%v: %+v", test.shares, p)
		}
	}
	unknown := result()
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
	plain, referenced := capture.Take{Reference: capture.Reference{Kind: "none"}}, capture.Take{Reference: capture.Reference{Kind: "loopback"}}
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
