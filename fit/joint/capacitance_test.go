package joint

import (
	"context"
	"math"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

func picofarad(t *testing.T, text string) *quantity.Capacitance {
	t.Helper()
	c, err := quantity.ParseCapacitance(text)
	if err != nil {
		t.Fatal(err)
	}
	return &c
}

func accountOf(t *testing.T, takes []Take, what fit.Terminals) *fit.Account {
	t.Helper()
	f, err := Fit(context.Background(), capture.Coil{Name: "invented"}, takes,
		fit.Options{Forms: []fit.Form{{Rings: 2}}})
	if err != nil {
		t.Fatal(err)
	}
	a, err := f.Account(what)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// lineOf is the line of the account called what.
func lineOf(t *testing.T, a *fit.Account, what string) fit.Quantity {
	t.Helper()
	for _, l := range a.Lines {
		if l.What == what {
			return l.Farad
		}
	}
	t.Fatalf("no line %q in %+v", what, a.Lines)
	return fit.Quantity{}
}

func within(t *testing.T, what string, q fit.Quantity, truth float64) {
	t.Helper()
	if !q.Known() || math.Abs(q.Value-truth) > 1.5*q.U95 || q.U95 > 0.5*truth {
		t.Errorf("%s is %+v, in truth it is %g", what, q, truth)
	}
}

// The invented coil of 110 pF with 65 pF of cable and input, by what is stated
// of them.
func TestAccount(t *testing.T) {
	takes := meterTakes(demoCoil())
	unknown := meterTakes(demoCoil())
	for i := range unknown {
		unknown[i].Load.FixtureC = nil
	}
	const pF = 1e-12
	for _, tt := range []struct {
		name  string
		takes []Take
		what  fit.Terminals
		truth map[string]float64
	}{
		{"fixture stated", takes, fit.Terminals{},
			map[string]float64{"winding with lead": 110 * pF, "cable and input": 65 * pF}},
		{"fixture and input", takes, fit.Terminals{Input: picofarad(t, "25p 4%")},
			map[string]float64{"winding with lead": 110 * pF, "cable": 40 * pF, "input": 25 * pF}},
		{"fixture and lead", takes, fit.Terminals{Lead: picofarad(t, "10p 20%")},
			map[string]float64{"winding": 100 * pF, "lead": 10 * pF, "cable and input": 65 * pF}},
		{"all stated", unknown, fit.Terminals{Lead: picofarad(t, "10p 20%"), Cable: picofarad(t, "40p 5%"),
			Input: picofarad(t, "25p 5%")},
			map[string]float64{"winding": 100 * pF}},
		{"nothing stated", unknown, fit.Terminals{}, map[string]float64{"winding with lead, cable, input": 175 * pF}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			a := accountOf(t, tt.takes, tt.what)
			within(t, "all", a.Total, 175*pF)
			var sum float64
			for _, l := range a.Lines {
				sum += l.Farad.Value
			}
			if math.Abs(sum/a.Total.Value-1) > 1e-9 {
				t.Errorf("the lines add up to %g, not to %g", sum, a.Total.Value)
			}
			for what, farad := range tt.truth {
				within(t, what, lineOf(t, a, what), farad)
			}
			if len(a.Added) != 2 {
				t.Errorf("added: %+v", a.Added)
			}
			// What is not accounted for is the winding's, with what else is not stated.
			rest := a.Lines[0].Farad
			if math.Abs(a.Unaccounted.Value/rest.Value-1) > 1e-9 || math.Abs(a.Unaccounted.U95/rest.U95-1) > 1e-9 {
				t.Errorf("unaccounted: %+v, the winding is %+v", a.Unaccounted, rest)
			}
			if a.En == nil || *a.En < 1 || !strings.Contains(a.Verdict, "not stated: winding") {
				t.Errorf("En %v, %s", a.En, a.Verdict)
			}
		})
	}
}

// What the takes show, 175 pF, less what is stated: by hand, and with the tolerance that
// is assumed, 5 % as a limit, where none is stated.
func TestAccountIsJudged(t *testing.T) {
	takes := meterTakes(demoCoil())
	for _, tt := range []struct {
		name            string
		winding, lead   string
		cable           string
		left            float64 // pF
		least, most     float64 // En
		verdict, assume string
	}{
		{"all", "105p 5%", "5p 50%", "40p 5%", 0, -1, 1, "all is accounted for", ""},
		{"lead not stated", "80p 5%", "", "40p 5%", 30, 1, 99, "more than is stated; not stated: lead", ""},
		{"too little", "80p 5%", "5p 50%", "40p 5%", 25, 1, 99, "a part is larger than stated, or one is missing", ""},
		{"too much", "160p 5%", "5p 50%", "40p 5%", -55, -99, -1, "more is stated than the takes show", ""},
		{"no tolerance", "105p", "5p 50%", "40p 5%", 0, -1, 1, "all is accounted for",
			"winding 105p has no tolerance stated: a limit of ±5 % is assumed"},
		{"nothing left", "", "5p 50%", "150p 10%", -5, -1, 1, "nothing is left for the winding", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			what := fit.Terminals{Cable: picofarad(t, tt.cable), Input: picofarad(t, "25p 5%")}
			if tt.winding != "" {
				what.Winding = picofarad(t, tt.winding)
			}
			if tt.lead != "" {
				what.Lead = picofarad(t, tt.lead)
			}
			a := accountOf(t, takes, what)
			if math.Abs(a.Unaccounted.Value-1e-12*tt.left) > a.Total.U95 || !(a.Unaccounted.U95 > a.Total.U95) {
				t.Errorf("unaccounted: %+v, by hand %g pF; total %+v", a.Unaccounted, tt.left, a.Total)
			}
			if a.En == nil || *a.En < tt.least || *a.En > tt.most || !strings.Contains(a.Verdict, tt.verdict) {
				t.Errorf("En %v: %s", *a.En, a.Verdict)
			}
			if strings.Join(a.Warnings, "") != tt.assume {
				t.Errorf("warnings %q", a.Warnings)
			}
		})
	}
	a := accountOf(t, takes, fit.Terminals{Cable: picofarad(t, "140p 5%"), Input: picofarad(t, "25p 5%")})
	if c := a.Fixture; c == nil || c.En < 1 || !strings.Contains(c.Verdict, "do not agree with the fixture") {
		t.Errorf("cable of 140 pF in a fixture of 65 pF: %+v", c)
	}
}

// Two cables of 1 m and 6 m at 100 pF a metre, of which the takes only say
// roughly what they have, tell the cable from the coil: coil, input and clips
// have 110 pF + 20 pF.
func TestTwoCables(t *testing.T) {
	b := bench{coil: demoCoil(), snrDB: 70, seed: 9}
	var takes []Take
	for _, l := range []struct {
		name string
		load
	}{
		{"short", load{fixtureC: "150p 90%", trueFixC: 120e-12, fixtureR: "1M 1%"}},
		{"short-plus", load{fixtureC: "150p 90%", trueFixC: 120e-12, addedC: "470p 0.5%", fixtureR: "1M 1%"}},
		{"long", load{fixtureC: "700p 90%", trueFixC: 620e-12, fixtureR: "1M 1%"}},
	} {
		takes = append(takes, b.take(l.name, l.load))
	}
	lengths := map[string]float64{"short": 1, "short-plus": 1, "long": 6}
	a := accountOf(t, takes, fit.Terminals{CableM: lengths})
	if a.PerMetre == nil {
		t.Fatalf("no capacitance per metre: %+v", a)
	}
	within(t, "a metre of cable", *a.PerMetre, 100e-12)
	within(t, "cable", lineOf(t, a, "cable"), 100e-12)
	within(t, "coil and input", lineOf(t, a, "winding with lead, input"), 130e-12)
	if u := a.PerMetre.U95 / 100e-12; u > 0.02 {
		t.Errorf("U95 of a metre of cable is %.1f %%, the added capacitor is good to 0.5 %%", 100*u)
	}

	f, err := Fit(context.Background(), capture.Coil{}, meterTakes(demoCoil()),
		fit.Options{Forms: []fit.Form{{Rings: 2}}})
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		lengths map[string]float64
		want    string
	}{
		{map[string]float64{"other": 3}, `take "other", and there is no such take`},
		{map[string]float64{"take1": 3}, `the length of the cable on take "take2" is not stated`},
		{map[string]float64{"": 3, "take1": 2}, "one length of cable for all takes, or one for each"},
		{map[string]float64{"": -3}, "want more than 0"},
		{map[string]float64{"": 3}, "the length of the cable tells nothing here: state the capacitance of the input"},
		{map[string]float64{"take1": 1, "take2": 1, "take3": 6}, "the same fixture stated"},
	} {
		if _, err := f.Account(fit.Terminals{CableM: tt.lengths}); err == nil ||
			!strings.Contains(err.Error(), tt.want) {
			t.Errorf("%v: error %v, want one with %q", tt.lengths, err, tt.want)
		}
	}
	// One length for all, with the fixture less the input: 40 pF on 0.5 m.
	one, err := f.Account(fit.Terminals{Input: picofarad(t, "25p 4%"), CableM: map[string]float64{"": 0.5}})
	if err != nil || one.PerMetre == nil {
		t.Fatalf("%+v, %v", one, err)
	}
	within(t, "a metre of the cable", *one.PerMetre, 80e-12)
}
