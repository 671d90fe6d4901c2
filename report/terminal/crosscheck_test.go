package terminal

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"coilsweep/fit"
	"coilsweep/report/internal/golden"
	"coilsweep/report/internal/invented"
)

// inventedReadings are a reading that agrees, one that does not, one that
// cannot be scored, and the DC resistance.
func inventedReadings() fit.Result {
	r := invented.Result(invented.ThreeLoads, 20)
	r.Meter = []fit.MeterResult{
		{What: "R", Mode: "DC", Reading: 7850, U95: 44, Expected: invented.Quantity(7856, 19),
			Verdict: "not scored: the reading is part of the fit",
			Explanation: &fit.MeterExplanation{From: 7856,
				Notes: []string{"without the reading the takes say 7.872 ± 0.067 kΩ at its temperature: the two " +
					"agree (En −0.27)"}}},
		{What: "L", AtHz: 120, Mode: "series", Reading: 2.41, U95: 0.03, Expected: invented.Quantity(2.405, 0.006),
			En: new(0.15), Verdict: "agrees",
			Explanation: &fit.MeterExplanation{From: 2.409, Effects: []fit.MeterEffect{{What: "eddy currents",
				Percent: -0.26}, {What: "self-capacitance", Percent: 0.73}}}},
		{What: "Q", AtHz: 1000, Mode: "series", Reading: 1.7, U95: 0.04, Expected: invented.Quantity(1.83, 0.012),
			En: new(-2.75), Verdict: "does not agree: the reading lies 7.1 % below what the fit expects",
			Explanation: &fit.MeterExplanation{From: 1.921, Effects: []fit.MeterEffect{{What: "eddy currents",
				Percent: -3.5}}, Causes: []string{"a shorted turn, or metal near the coil"}}},
		{What: "C", AtHz: 10e3, Mode: "parallel", Reading: -11e-9,
			Expected: fit.Unknown("the coil resonates by itself at about 9.80 kHz"),
			Verdict:  "not scored: what the meter should show is not known"},
	}
	return r
}

func TestCrosscheckGolden(t *testing.T) {
	for file, o := range map[string]Options{"crosscheck-80.txt": {}, "crosscheck-60.txt": {Width: 60}} {
		var b bytes.Buffer
		if err := Crosscheck(&b, inventedReadings(), o); err != nil {
			t.Fatal(err)
		}
		golden.Same(t, file, b.Bytes())
	}
	if err := Crosscheck(invented.FullDisk{}, inventedReadings(), Options{}); !errors.Is(err, invented.ErrFull) {
		t.Errorf("got error %v, want %v", err, invented.ErrFull)
	}
}

// The table of a fit shows the verdicts without the explanations.
func TestTableShowsVerdicts(t *testing.T) {
	text := tableText(t, inventedReadings(), Options{})
	for _, want := range []string{"R, DC ", "L at 120 Hz, series", "7.1 % below", "−2.75"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	if strings.Contains(text, "shorted turn") {
		t.Errorf("explanations in\n%s", text)
	}
}
