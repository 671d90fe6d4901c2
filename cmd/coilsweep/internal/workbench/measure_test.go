package workbench

import (
	"os"
	"path/filepath"
	"testing"

	"coilsweep/capture"
	"coilsweep/fit/evaluation"
)

// What a take was shaped after, and what its second level and its precision were judged by,
// is not estimated again where the take is compared with the others: their audio is gone by
// then. Of a take that is replaced the old response is not used.
func TestTakesAreEstimatedOnce(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "coil")
	if err := capture.CreateFolder(dir, capture.Coil{Name: "invented"}); err != nil {
		t.Fatal(err)
	}
	measure := func(options map[string]string) *TakePlan {
		t.Helper()
		m := NewMeasurement("test")
		m.Bench.Kind = Virtual
		options["duration"], options["repeats"] = "0.35s", "2"
		if err := m.Fill(options); err != nil {
			t.Fatal(err)
		}
		plan, err := m.Plan(dir)
		if err != nil {
			t.Fatal(err)
		}
		if err := plan.Shape(t.Context(), Ears{}); err != nil {
			t.Fatal(err)
		}
		recorder, _, err := plan.Source.Open()
		if err != nil {
			t.Fatal(err)
		}
		if _, _, err := plan.Run(t.Context(), recorder, Ears{}, nil); err != nil {
			t.Fatal(err)
		}
		return plan
	}
	first := measure(map[string]string{"take": "bare"})
	if _, known := first.Seen().Input("bare"); known {
		t.Error("a take was estimated for nothing")
	}
	replaced := measure(map[string]string{"take": "bare", "redo": "true", "after": "bare"})
	if _, known := replaced.Seen().Input("bare"); known {
		t.Error("the response of a take that was replaced is used for the new one")
	}
	plan := measure(map[string]string{"take": "again", "after": "bare", "levels": "lower"})
	for _, name := range []string{"bare", "again"} {
		if err := os.Remove(filepath.Join(dir, capture.TakesDir, name, capture.AudioFile)); err != nil {
			t.Fatal(err)
		}
	}
	_, seen, err := evaluation.Contradictions(t.Context(), plan.Folder, "again", plan.Seen())
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"bare", "again"} {
		if in, known := seen.Input(name); !known || in.Response == nil {
			t.Errorf("take %s was to be estimated again", name)
		}
	}
	if in, _ := seen.Input("again"); in.Linearity == nil {
		t.Error("what the second level showed is not known")
	}
}
