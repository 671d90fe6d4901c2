package page

import (
	"fmt"
	"html"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/winding"
	"coilsweep/report/internal/invented"
	"coilsweep/report/notation"
)

// Parts say the numbers in the words of package notation.
func TestPartsHoldNumbersOfNotation(t *testing.T) {
	d := inventedDocument(invented.EightLoads[:4], 0)
	parts, err := CoilParts(d)
	if err != nil {
		t.Fatal(err)
	}
	has := func(part string, texts ...string) {
		t.Helper()
		for _, text := range texts {
			if !strings.Contains(html.UnescapeString(string(parts[part])), text) {
				t.Errorf("%s has no %q:\n%s", part, text, parts[part])
			}
		}
	}
	r := d.Result
	for _, q := range []struct {
		of   fit.Quantity
		unit quantity.Unit
	}{{r.BareResonance, quantity.Hertz}, {r.BareQ, notation.Ratio}, {r.Inductance, quantity.Henry}, {r.Capacitance, quantity.Farad}, {r.Resistance, quantity.Ohm}} {
		value, spread := notation.ValueAndSpread(q.of, q.unit)
		has("summary", "<b>"+value+"</b>", spread)
	}
	for _, take := range r.Takes {
		has("takes", notation.WithU95(take.Resonance, quantity.Hertz), notation.WithU95(take.Peak, quantity.Hertz), notation.WithU95(take.Q, notation.Ratio))
	}
	has("account", notation.WithU95(d.Account.Total, quantity.Farad))
	has("meter", notation.Number(r.Meter[0].Reading, r.Meter[0].U95, quantity.Henry))

	prediction, solution := invented.Prediction()
	asked := PredictionDocument{Prediction: prediction, Target: &solution}
	if parts, err = PredictionParts(asked, true); err != nil {
		t.Fatal(err)
	}
	value, spread := notation.ValueAndSpread(prediction.Peak, quantity.Hertz)
	has("numbers", value, spread, "asked for")
	has("knobs", notation.WithU95(prediction.Positions[0].Peak, quantity.Hertz), "without the")
	has("said", "moves the peak most")
	if parts, err = PredictionParts(asked, false); err != nil || parts["knobs"] != "" || parts["said"] != "" {
		t.Errorf("a preview has %v (%v)", parts, err)
	}
}

// Names stay text in every part, and what is not there has no part.
func TestPartsEscape(t *testing.T) {
	all := map[string]Parts{}
	var err error
	if all["coil"], err = CoilParts(hostile()); err != nil {
		t.Fatal(err)
	}
	compared := invented.Compared(t, invented.Coils(3, 50))
	for i := range compared.Coils {
		compared.Coils[i].Name = invented.HostileNames[i]
	}
	if all["comparison"], _, err = ComparisonParts(ComparisonDocument{Comparison: compared, SortKey: "given"}); err != nil {
		t.Fatal(err)
	}
	b := invented.Batch(t, 6, 50)
	b.Coils[0].Name = invented.HostileNames[0]
	if all["batch"], _, err = BatchParts(BatchDocument{Batch: b}); err != nil {
		t.Fatal(err)
	}
	hostileWinding := winding.Sheet{Coil: "x", Plan: winding.Plan{Wire: exciter.Wire{Name: invented.HostileNames[0]}}}
	hostileWinding.Check.Suspicions = invented.HostileNames
	if all["winding"], err = WindingParts(hostileWinding); err != nil {
		t.Fatal(err)
	}
	for of, parts := range all {
		if len(parts) == 0 {
			t.Errorf("%s has no parts", of)
		}
		for name, part := range parts {
			for _, e := range elements(t, "<div>"+string(part)+"</div>") {
				if e.name == "script" || e.name == "img" || e.name == "style" || e.attributes["onerror"] != "" {
					t.Errorf("%s %s: a name became %v", of, name, e)
				}
			}
		}
	}
	none, err := CoilParts(CoilDocument{Result: fit.Result{Coil: "x", Inductance: fit.Unknown("no takes")}, Coil: capture.Coil{Name: "x"}})
	if err != nil || none["takes"] != "" || none["warnings"] != "" || none["meter"] != "" || none["account"] != "" {
		t.Errorf("of nothing there is %s (%v)", fmt.Sprint(none), err)
	}
}
