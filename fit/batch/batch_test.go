package batch

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"coilsweep/fit"
	"coilsweep/fit/comparison"
)

// result is a coil of which L, resonance and Q are known, 1 % each.
func result(l, hz, q float64) *fit.Result {
	unknown := fit.Unknown("not measured")
	return &fit.Result{Inductance: known(l, 0.01*l), BareResonance: known(hz, 0.01*hz), BareQ: known(q, 0.01*q),
		Capacitance: unknown, CapacitanceCoil: unknown, Resistance: unknown}
}

func specimen(name, folder string, minute int, r *fit.Result) Specimen {
	return Specimen{Coil: comparison.Coil{Name: name, Folder: folder, Result: r},
		Measured: time.Date(2026, 3, 1, 9, minute, 0, 0, time.UTC)}
}

// property of a batch by its key.
func property(t *testing.T, b *Batch, key string) Property {
	t.Helper()
	for _, p := range b.Properties {
		if p.Key == key {
			return p
		}
	}
	t.Fatalf("no property %s", key)
	return Property{}
}

// run is twelve invented coils with 1 % spread between them, three of them
// measured again with 0.2 % repeatability, and the seventh with shorted turns.
func run() []Specimen {
	random := rand.New(rand.NewPCG(5, 6))
	var all []Specimen
	for i := range 12 {
		l, q := 2.4*(1+0.01*random.NormFloat64()), 8*(1+0.01*random.NormFloat64())
		r := 7850 * (1 + 0.005*random.NormFloat64())
		if i == 6 {
			q, r = 2.4, r*0.98
		}
		for again := range 2 {
			if again == 1 && i >= 3 {
				continue
			}
			one := result(l*(1+0.002*random.NormFloat64()), 10000, q*(1+0.002*random.NormFloat64()))
			one.Resistance = known(r, 0.003*r)
			all = append(all, specimen(fmt.Sprintf("coil %02d", i+1), fmt.Sprintf("run%d/%02d", again+1, i+1),
				i+60*again, one))
		}
	}
	return all
}

func TestAnalyse(t *testing.T) {
	limits := map[string]Limits{"inductance_h": {Lower: 2.2, Upper: 2.6}, "bare_q": {Lower: 6, Upper: math.Inf(1)}}
	b, err := Analyse(run(), Options{Limits: limits, Guard: 1})
	if err != nil {
		t.Fatal(err)
	}
	if len(b.Coils) != 12 || len(b.Specimens) != 15 || b.Repeats() != 3 {
		t.Fatalf("%d coils, %d specimens, %d measured again", len(b.Coils), len(b.Specimens), b.Repeats())
	}
	l := property(t, b, "inductance_h")
	near(t, "mean L", l.Mean, 2.4, 0.01)
	near(t, "spread of L", l.SD, 0.024, 0.5)
	near(t, "robust spread of L", l.RobustSD, 0.024, 0.6)
	if l.Anova == nil || l.Anova.WithinDF != 3 || l.Anova.RepeatabilitySD > 0.01 || l.Anova.BetweenSD < 0.012 {
		t.Errorf("analysis of variance %+v", l.Anova)
	}
	if len(l.Chart.Values) != 12 || l.Chart.Values[0] != l.Values[0].Value {
		t.Errorf("chart %+v: want each coil once", l.Chart)
	}
	q := property(t, b, "bare_q")
	near(t, "median Q", q.Median, 8, 0.01)
	if q.SD < 1 || q.RobustSD > 0.2 {
		t.Errorf("spread of Q %g, robust %g: want one spoiled and one not", q.SD, q.RobustSD)
	}
	for i, coil := range b.Coils {
		wantFail := coil.Name == "coil 07"
		if (coil.Verdict == Fail) != wantFail || !wantFail && coil.Verdict != Pass {
			t.Errorf("%s: %s", coil.Name, coil.Verdict)
		}
		if wantFail != (coil.Suspicion.Findings != nil) {
			t.Errorf("%s: suspicion %q", coil.Name, coil.Suspicion)
		}
		if wantFail && !(strings.Contains(coil.Suspicion.String(), "shorted turns") && q.Outlying(i)) {
			t.Errorf("%s: suspicion %q", coil.Name, coil.Suspicion)
		}
	}
	if b.Count(Pass) != 11 || b.Count(Fail) != 1 {
		t.Errorf("%d pass, %d fail", b.Count(Pass), b.Count(Fail))
	}
}

// Order and identity: by time whatever the order given, and every folder for
// itself where that is asked for.
func TestAnalyseGroups(t *testing.T) {
	all := []Specimen{
		specimen("b", "2", 20, result(2, 1, 1)), specimen("a", "1", 10, result(1, 1, 1)),
		specimen(" b ", "3", 5, result(4, 1, 1)),
	}
	b, err := Analyse(all, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(b.Coils) != 2 || b.Coils[0].Name != "b" || b.Specimens[0].Folder != "3" ||
		property(t, b, "inductance_h").Values[0].Value != 3 {
		t.Errorf("coils %+v", b.Coils)
	}
	if b, err = Analyse(all, Options{ByFolder: true}); err != nil || len(b.Coils) != 3 ||
		property(t, b, "inductance_h").Anova != nil {
		t.Errorf("by folder: %+v, %v", b.Coils, err)
	}
	if _, err := Analyse(all[:1], Options{}); !errors.Is(err, ErrTooFew) {
		t.Errorf("one coil: %v", err)
	}
}

// Takes with equal load in one folder are measurements of the same coil.
func TestAnalyseRepeatedTakes(t *testing.T) {
	take := func(hz float64) fit.TakeResult {
		return fit.TakeResult{Used: true, Resonance: known(hz, 1), Q: known(3, 0.1), PeakDB: known(9, 0.1)}
	}
	one, two := result(2, 1, 1), result(2, 1, 1)
	one.Takes = []fit.TakeResult{take(7000), take(7002), take(6998)}
	two.Takes = []fit.TakeResult{take(7100)}
	b, err := Analyse([]Specimen{specimen("a", "a", 1, one), specimen("b", "b", 2, two)}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := property(t, b, "resonance_hz")
	if p.Anova == nil || p.Anova.WithinDF != 2 || p.Anova.RepeatabilitySD != 2 {
		t.Errorf("analysis of variance %+v, want a repeatability of 2 Hz", p.Anova)
	}
}

// The causes follow the physics of a coil: each pattern with what it is
// usually put down to (common practice).
// Nothing is told from a resistance that is not known.
func TestNoCauseWithoutR(t *testing.T) {
	var specimens []Specimen
	for _, s := range run() {
		r := *s.Result
		r.Resistance = fit.Unknown("one take")
		s.Result = &r
		specimens = append(specimens, s)
	}
	b, err := Analyse(specimens, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if s := b.Coils[6].Suspicion; s.Findings == nil || s.Cause != "" {
		t.Errorf("suspicion %q", s)
	}
}

func TestCause(t *testing.T) {
	usual := func() *fit.Result {
		r := result(2.4, 10000, 8)
		r.Resistance, r.Capacitance = known(7850, 8), known(170e-12, 0.2e-12)
		r.Inductance.U, r.BareQ.U = 0.002, 0.01
		return r
	}
	for _, test := range []struct {
		name   string
		change func(*fit.Result)
		want   string
	}{
		{"shorted turns", func(r *fit.Result) { r.BareQ.Value = 3 }, "shorted turns"},
		{"thin wire", func(r *fit.Result) { r.Resistance.Value *= 1.2; r.BareQ.Value /= 1.1 }, "thinner wire"},
		{"fewer turns", func(r *fit.Result) { r.Inductance.Value *= 0.81; r.Resistance.Value *= 0.9 },
			"fewer turns are suspected, by about 10.0 %"},
		{"more turns", func(r *fit.Result) { r.Inductance.Value *= 1.21; r.Resistance.Value *= 1.1 },
			"more turns are suspected, by about 10.0 %"},
		{"bad joint", func(r *fit.Result) { r.Resistance.Value *= 1.1 }, "bad solder joint"},
		{"thick wire", func(r *fit.Result) { r.Resistance.Value *= 0.9 }, "thicker wire"},
		{"poles", func(r *fit.Result) { r.Inductance.Value *= 0.9 }, "other pole pieces"},
		{"capacitance", func(r *fit.Result) { r.Capacitance.Value *= 1.1 }, "tighter winding"},
		{"loose", func(r *fit.Result) { r.Capacitance.Value *= 0.9 }, "looser winding"},
		{"nothing", func(*fit.Result) {}, ""},
	} {
		var all []Specimen
		for i := range 6 {
			r := usual()
			if i == 5 {
				test.change(r)
			}
			all = append(all, specimen(fmt.Sprint(i), fmt.Sprint(i), i, r))
		}
		b, err := Analyse(all, Options{})
		if err != nil {
			t.Fatal(err)
		}
		got := b.Coils[5].Suspicion
		if !strings.Contains(got.Cause, test.want) || (test.want == "") != (got.Findings == nil) {
			t.Errorf("%s: %q", test.name, got)
		}
		if b.Coils[0].Suspicion.Findings != nil {
			t.Errorf("%s: the usual coil is suspected of %q", test.name, b.Coils[0].Suspicion)
		}
	}
}
