package batch

import (
	"math"
	"testing"

	"coilsweep/fit"
	"coilsweep/fit/comparison"
)

// ofReference are coils measured with one capacitor of which 9 of 10 parts of u come, and
// limits of ±1 % around the first.
func ofReference(t *testing.T, sameBench bool) *Batch {
	t.Helper()
	var specimens []Specimen
	for i, l := range []float64{2.4, 2.405, 2.42, 2.47} {
		r := result(l, 10000, 8)
		r.Inductance = known(l, 0.01*l)
		r.Parts = []fit.Part{{What: "added C 470p 1%"}}
		r.Budget = []fit.Budget{{Quantity: "inductance_h",
			Parts: []fit.Contribution{{What: "added C 470p 1%", U: 0.01 * l * math.Sqrt(0.99)}}}}
		s := specimen(string(rune('a'+i)), string(rune('a'+i)), i, r)
		specimens = append(specimens, s)
	}
	around := specimens[0].Coil
	limits, err := LimitsAround(around.Result, comparison.Properties([]comparison.Coil{around}),
		map[string]float64{"inductance_h": 1})
	if err != nil {
		t.Fatal(err)
	}
	b, err := Analyse(specimens, Options{Limits: limits, Guard: 1, Around: &around, SameBench: sameBench})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Limits around a coil: what coil and reference have in common does not keep them apart,
// and the reference passes itself.
func TestJudgedAroundAReference(t *testing.T) {
	for _, test := range []struct {
		sameBench bool
		want      []Verdict
	}{
		// U95 of a difference is 1.96·0.01·√2 = 2.8 % if independent, 0.28 % if not.
		{false, []Verdict{Pass, Undecided, Undecided, Undecided}},
		{true, []Verdict{Pass, Pass, Undecided, Fail}},
	} {
		b := ofReference(t, test.sameBench)
		p := property(t, b, "inductance_h")
		for i, want := range test.want {
			if got := p.Judgements[i]; got.Verdict != want {
				t.Errorf("same bench %v, coil %d: %+v, want %s", test.sameBench, i, got, want)
			}
		}
		last := p.Judgements[3]
		near(t, "beyond", last.Beyond, 2.47-2.4*1.01, 1e-9)
		near(t, "limit", last.Limit, 2.4*1.01, 1e-9)
	}
}

// A batch is of one state: what was done to coils is no repeat of them.
func TestOneState(t *testing.T) {
	var specimens []Specimen
	for i, s := range run() {
		specimens = append(specimens, s)
		later := s
		later.State, later.Name, later.Folder = "potted", s.Name+", potted", s.Folder+"/states/potted"
		r := *s.Result
		r.Inductance.Value *= 1.2
		later.Result = &r
		later.Measured = later.Measured.AddDate(0, 0, 1+i)
		specimens = append(specimens, later)
	}
	whole, err := Analyse(run(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for state, factor := range map[string]float64{"": 1, "potted": 1.2} {
		b, err := Analyse(specimens, Options{State: state})
		if err != nil {
			t.Fatal(err)
		}
		got, want := property(t, b, "inductance_h"), property(t, whole, "inductance_h")
		near(t, "mean of "+state, got.Mean, factor*want.Mean, 1e-9)
		near(t, "repeatability of "+state, got.Anova.RepeatabilitySD, factor*want.Anova.RepeatabilitySD, 1e-9)
		if len(b.Coils) != 12 || len(b.Others) != 1 {
			t.Errorf("%q: %d coils, others %q", state, len(b.Coils), b.Others)
		}
	}
	if _, err := Analyse(specimens, Options{State: "boiled"}); err == nil {
		t.Error("a state that no coil is in")
	}
}

// What limits are stated for and no take shows lets no coil pass.
func TestUnjudged(t *testing.T) {
	limits := map[string]Limits{"bare_q": {Lower: 6, Upper: math.Inf(1), Named: true},
		"resistance_ohm": {Lower: 1, Upper: 2, Named: true}}
	one := specimen("a", "a", 0, result(2.4, 10000, 8))
	verdict, all := JudgeCoil(one.Coil, Options{Limits: limits, Guard: 1})
	if verdict != Unknown || len(all) != 2 || all[0].Verdict != Pass || all[1].Verdict != Unknown ||
		all[1].Value.Why != "not measured" {
		t.Errorf("%s %+v", verdict, all)
	}
	b, err := Analyse([]Specimen{one, specimen("b", "b", 1, result(2.4, 10000, 3))}, Options{Limits: limits, Guard: 1})
	if err != nil || b.Coils[0].Verdict != Unknown || b.Coils[1].Verdict != Fail || len(b.Unjudged) != 1 {
		t.Errorf("%+v, %v", b, err)
	}
	delete(limits, "resistance_ohm")
	if verdict, _ := JudgeCoil(one.Coil, Options{Limits: limits, Guard: 1}); verdict != Pass {
		t.Errorf("without it: %s", verdict)
	}
}
