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
	"coilsweep/report/words"
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
	for _, number := range words.Numbers(r) {
		value, spread := notation.Apart(number.Quantity, number.Unit)
		has("summary", "<b>"+value+"</b>", spread)
	}
	for _, c := range words.ShapeColumns {
		has("takes", new(notation.Notes).Cells(c.Unit, notation.Each(r.Takes, c.Of)...)...)
	}
	has("account", notation.WithU95(d.Account.Total, quantity.Farad))
	has("meter", quantity.FormatWithU95(r.Meter[0].Reading, r.Meter[0].U95, quantity.Henry))

	prediction, solution := invented.Prediction()
	asked := PredictionDocument{Prediction: prediction, Target: &solution}
	if parts, err = PredictionParts(asked, true); err != nil {
		t.Fatal(err)
	}
	peak, spread := notation.Apart(prediction.Peak, quantity.Hertz)
	has("numbers", peak, spread)
	has("knobs", "without the", "peak frequency")
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
	comparison := ComparisonDocument{Comparison: compared, SortKey: "given"}
	if all["comparison"], _, err = ComparisonParts(comparison); err != nil {
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
	none, err := CoilParts(CoilDocument{Result: fit.Result{Inductance: fit.Unknown("no takes")}, Coil: capture.Coil{Name: "x"}})
	if err != nil || none["takes"] != "" || none["warnings"] != "" || none["meter"] != "" || none["account"] != "" {
		t.Errorf("of nothing there is %s (%v)", fmt.Sprint(none), err)
	}
}
