package evaluation

import (
	"encoding/json"
	"flag"
	"math"
	"os"
	"testing"

	"coilsweep/fit"
)

// update is the flag of the tests outside the package.
func update() bool { return flag.Lookup("update").Value.String() == "true" }

// numbers are those of a fit that a change of the analysis moves.
type numbers struct {
	Analysis int
	Model    string
	Values   map[string]float64
}

func numbersOf(r *fit.Result) numbers {
	n := numbers{fit.Analysis, r.Model.Name, map[string]float64{"chi2": r.Model.Chi2Reduced}}
	add := func(name string, q fit.Quantity) { n.Values[name], n.Values["u of "+name] = q.Value, q.U }
	add("L", r.Inductance)
	add("C", r.Capacitance)
	add("C of the coil", r.CapacitanceCoil)
	add("R", r.Resistance)
	add("bare resonance", r.BareResonance)
	for _, e := range r.Eddy {
		add("share "+e.If, e.Share)
		add("corner "+e.If, e.Corner)
	}
	for _, t := range r.Takes {
		add("resonance of "+t.Name, t.Resonance)
		add("Q of "+t.Name, t.Q)
		add("peak of "+t.Name, t.Peak)
		add("peak height of "+t.Name, t.PeakDB)
	}
	return n
}

// A result is up to date by the number of the analysis, so a fit of the same takes must
// give the numbers that are kept for it, on every machine: one part in a million is far
// above what processors round otherwise.
func TestAnalysisNumber(t *testing.T) {
	const file = "testdata/analysis.json"
	got := numbersOf(must(Load(original())))
	kept := numbers{}
	if data, err := os.ReadFile(file); err == nil {
		check(json.Unmarshal(data, &kept))
	}
	same := got.Model == kept.Model && len(got.Values) == len(kept.Values)
	for name, v := range got.Values {
		if was, there := kept.Values[name]; !there || !(math.Abs(v-was) <= 1e-6*math.Abs(was)) {
			same = false
			t.Logf("%s is %.9g and was %.9g", name, v, was)
		}
	}
	switch {
	case same && got.Analysis == kept.Analysis:
	case got.Analysis <= kept.Analysis:
		t.Errorf("the analysis gives other numbers than those kept for number %d: raise fit.Analysis, then keep them "+
			"with -update", kept.Analysis)
	case update():
		data := must(json.MarshalIndent(got, "", "  "))
		check(os.MkdirAll("testdata", 0o777))
		check(os.WriteFile(file, append(data, '\n'), 0o666))
	default:
		t.Errorf("fit.Analysis was raised to %d: keep its numbers with -update", got.Analysis)
	}
}
