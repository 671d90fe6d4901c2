package comparison

import (
	"errors"
	"math"
	"strings"
	"testing"

	"coilsweep/fit"
)

func known(value, u95 float64) fit.Quantity {
	return fit.Quantity{Value: value, U: u95 / 2, U95: u95}
}

func coil(name string, l fit.Quantity, takes ...fit.TakeResult) Coil {
	unknown := fit.Unknown("not measured")
	return Coil{Name: name, Result: &fit.Result{Coil: name, Inductance: l, Capacitance: unknown, Resistance: unknown,
		CapacitanceCoil: unknown, BareResonance: unknown, BareQ: unknown, Takes: takes}}
}

// E_n of five laboratories for one artefact. The figures are the definition's
// own arithmetic, E_n = (x - X)/sqrt(U_lab² + U_ref²) of ISO/IEC 17043:2010,
// B.3.1.3 e), done by hand with sums of squares that are whole:
// 3-4-5, 5-12-13, 8-15-17, 7-24-25 and 20-21-29.
func TestEn(t *testing.T) {
	const reference = 100.0
	for _, test := range []struct {
		value, u95, refU95 float64
		en                 float64
		want               Verdict
	}{
		{104, 3, 4, 0.8, Agrees},
		{87, 5, 12, -1, Agrees}, // |En| = 1 agrees
		{117.17, 8, 15, 1.01, Differs},
		{75, 24, 7, -1, Agrees},
		{158, 20, 21, 2, Differs},
	} {
		c, err := Compare([]Coil{coil("reference", known(reference, test.refU95)),
			coil("x", known(test.value, test.u95))}, 0, false)
		if err != nil {
			t.Fatal(err)
		}
		d := c.Rows[0].Differences
		if d[0].Verdict != IsReference || d[0].En != nil || d[0].Delta.Known() {
			t.Errorf("the reference is %+v", d[0])
		}
		if math.Abs(*d[1].En-test.en) > 1e-12 || d[1].Verdict != test.want {
			t.Errorf("%g ± %g: En %g, %s; want %g, %s", test.value, test.u95, *d[1].En, d[1].Verdict, test.en,
				test.want)
		}
		if got, want := d[1].Delta.U95, math.Hypot(test.u95, test.refU95); math.Abs(got-want) > 1e-12 {
			t.Errorf("U95 of the difference %g, want %g", got, want)
		}
	}
}

// The intervals' sides that face each other count: 10 (9 … 14) lies above
// 4 (1 … 6), and 1 below and 2 above give sqrt(5).
func TestAsymmetric(t *testing.T) {
	high := fit.Quantity{Value: 10, U: 1.2, U95: 2.5, Low: 9, High: 14}
	low := fit.Quantity{Value: 4, U: 1.2, U95: 2.5, Low: 1, High: 6}
	for _, swapped := range []bool{false, true} {
		coils := []Coil{coil("low", low), coil("high", high)}
		want := 6 / math.Sqrt(5)
		if swapped {
			coils[0], coils[1] = coils[1], coils[0]
			want = -want
		}
		c, err := Compare(coils, 0, false)
		if err != nil {
			t.Fatal(err)
		}
		if en := *c.Rows[0].Differences[1].En; math.Abs(en-want) > 1e-12 {
			t.Errorf("En %g, want %g", en, want)
		}
	}
}

// JCGM 100:2008, 5.2.2, note 1: with correlation 1 uncertainties add before
// they are squared, with the signs of their sensitivities, in a difference with
// opposite signs. Two coils with u 5
// each, of which 4 come from the same capacitor and 3 from noise: the
// difference has sqrt(3² + 3²). With 4 and 2 from the capacitor, 3 and 1 from
// noise: sqrt((4-2)² + 3² + 1²).
func TestSameBench(t *testing.T) {
	for _, test := range []struct{ a, b [2]float64 }{ // u of the capacitor, of noise
		{[2]float64{4, 3}, [2]float64{4, 3}},
		{[2]float64{4, 3}, [2]float64{2, 1}},
		{[2]float64{4, 3}, [2]float64{0, 1}},
		{[2]float64{4, 3}, [2]float64{-2, 1}}, // what one feels as more is less to the other
	} {
		of := func(name string, value float64, u [2]float64) Coil {
			total := math.Hypot(u[0], u[1])
			c := coil(name, fit.Quantity{Value: value, U: total, U95: 1.96 * total})
			c.Result.Parts = []fit.Part{{What: "added C 470p 1%"}, {What: "DC resistance " + name}}
			c.Result.Budget = []fit.Budget{{Quantity: "inductance_h",
				Parts: []fit.Contribution{{What: "added C 470p 1%", U: u[0]}}}}
			return c
		}
		coils := []Coil{of("a", 100, test.a), of("b", 110, test.b)}
		want := math.Sqrt(math.Pow(test.a[0]-test.b[0], 2) + test.a[1]*test.a[1] + test.b[1]*test.b[1])
		c, err := Compare(coils, 0, true)
		if err != nil {
			t.Fatal(err)
		}
		if got := c.Rows[0].Differences[1].Delta; math.Abs(got.U-want) > 1e-12 || math.Abs(got.U95-1.96*want) > 1e-12 {
			t.Errorf("%v: u %g, U95 %g; want %g, %g", test, got.U, got.U95, want, 1.96*want)
		}
		if !strings.Contains(strings.Join(c.Remarks, " "), "their errors cancel") {
			t.Errorf("nothing said of it: %q", c.Remarks)
		}
		// Other parts: nothing in common.
		coils[1].Result.Parts[0].What = "added C 470p 2%"
		if c, err = Compare(coils, 0, true); err != nil {
			t.Fatal(err)
		}
		independent := math.Hypot(math.Hypot(test.a[0], test.a[1]), math.Hypot(test.b[0], test.b[1]))
		if got := c.Rows[0].Differences[1].Delta.U; math.Abs(got-independent) > 1e-12 {
			t.Errorf("other parts: u %g, want %g", got, independent)
		}
	}
}

func take(name string, farad, ohm, hz float64, used bool) fit.TakeResult {
	t := fit.TakeResult{Name: name, AddedC: farad, Used: used, Resonance: known(hz, 1), Q: known(3, 0.1),
		PeakDB: known(10, 0.1)}
	if ohm > 0 {
		t.AddedR = &ohm
	}
	return t
}

func TestCommonLoads(t *testing.T) {
	l := fit.Unknown("one take")
	coils := []Coil{
		coil("a", l, take("C470", 470e-12, 0, 4000, true), take("R", 0, 100e3, 6900, true),
			take("bare", 0, 0, 7000, false)),
		coil("b", l, take("with 470p", 470e-12, 0, 4100, true), take("R", 0, 100e3, 6800, true),
			take("bare", 0, 0, 7100, true)),
	}
	got := CommonLoads(coils)
	if len(got) != 2 || got[0] != (Load{Ohm: 100e3}) || got[1] != (Load{Farad: 470e-12}) {
		t.Errorf("loads %v, want 100 kΩ and 470 pF: the bare take of a is not used", got)
	}
	c, err := Compare(coils, 1, false)
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Rows) != 3 || c.Rows[0].Key != "resonance_hz" || c.Rows[0].Differences[0].Delta.Value != 100 ||
		!strings.Contains(c.Rows[0].Name, "with 100 kΩ") {
		t.Errorf("rows %+v", c.Rows)
	}
	if CommonLoads([]Coil{coils[0], coil("c", l)}) != nil {
		t.Error("a coil without takes shares a load")
	}
}

func TestUnknownAndWrong(t *testing.T) {
	c, err := Compare([]Coil{coil("a", known(2, 0.1)), coil("b", fit.Unknown("too few takes")), coil("c", known(2, 0))},
		0, false)
	if err != nil {
		t.Fatal(err)
	}
	d := c.Rows[0].Differences
	if d[1].Verdict != Open || d[1].Delta.Why != "too few takes" || d[1].En != nil {
		t.Errorf("an unknown value: %+v", d[1])
	}
	c, err = Compare([]Coil{coil("a", known(2, 0)), coil("b", known(3, 0))}, 0, false)
	if err != nil || c.Rows[0].Differences[1].Verdict != Open || c.Rows[0].Differences[1].En != nil {
		t.Errorf("without uncertainty nothing can be judged: %+v, %v", c.Rows[0].Differences[1], err)
	}
	if _, err := Compare([]Coil{coil("a", known(2, 1))}, 0, false); !errors.Is(err, ErrTooFew) {
		t.Errorf("one coil: %v", err)
	}
	if _, err := Compare([]Coil{coil("a", known(2, 1)), coil("b", known(2, 1))}, 2, false); err == nil {
		t.Error("a reference that is not there")
	}
}

// A lossier coil differs in its AC resistance from 1 kHz on, not in R; with the
// same capacitor the common part of the uncertainty cancels there too.
func TestCompareBranch(t *testing.T) {
	with := func(name string, ohm float64) Coil {
		c := coil(name, known(2.4, 0.02))
		c.Result.Resistance = known(7850, 60)
		c.Result.Branch = []fit.BranchPoint{{Hz: 1000, Inductance: known(2.39, 0.02), Resistance: known(ohm, 80)},
			{Hz: 7000 + ohm/10, Inductance: known(2.3, 0.02), Resistance: known(2*ohm, 160)}}
		c.Result.Parts = []fit.Part{{What: "added C 470p 1%"}}
		_, key := c.Result.Branch[0].Keys()
		c.Result.Budget = []fit.Budget{{Quantity: key, Parts: []fit.Contribution{{What: "added C 470p 1%", U: 39}}}}
		return c
	}
	c, err := Compare([]Coil{with("a", 8000), with("b", 8300)}, 0, true)
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string]Difference{}
	for _, r := range c.Rows {
		rows[r.Key] = r.Differences[1]
		if (r.Base != "") != strings.HasPrefix(r.Key, "branch_") || r.Base != "" && r.Family() == r.Key {
			t.Errorf("%s repeats %q", r.Key, r.Base)
		}
	}
	if len(rows) != 2+4 { // 100 Hz, 120 Hz and 10 kHz are not in the results
		t.Errorf("rows %v", rows)
	}
	if rows["resistance_ohm"].Verdict != Agrees || rows["branch_1000hz_resistance_ohm"].Verdict != Differs ||
		rows["branch_resonance_resistance_ohm"].Verdict != Differs ||
		rows["branch_1000hz_inductance_h"].Verdict != Agrees {
		t.Errorf("differences %+v", rows)
	}
	if d := rows["branch_1000hz_resistance_ohm"].Delta; math.Abs(d.U-math.Sqrt(2*(40*40-39*39))) > 1e-9 {
		t.Errorf("u of the difference %g: the capacitor's part does not cancel", d.U)
	}
	if p, ok := PropertyNamed("branch_120hz_inductance_h"); !ok || p.Name != "L at 120 Hz" {
		t.Errorf("property %+v", p)
	}
}

// What is stated of two states alike hides a change of R as far as R follows it; of two
// coils it is two statements.
func TestStatedAlike(t *testing.T) {
	state := func(name string, ohm, follows float64) Coil {
		const what, u = "DC resistance 7.85k 0.5%", 40.0
		r := coil("bridge", known(2.4, 0.02)).Result
		r.Resistance = known(ohm, 2*math.Hypot(follows*u, 10)) // of U95
		r.Parts = []fit.Part{{What: what, U: u}}
		r.Budget = []fit.Budget{{Quantity: "resistance_ohm", Parts: []fit.Contribution{{What: what, U: follows * u}}}}
		return Coil{Name: "bridge, " + name, Of: "bridge", State: name, Result: r}
	}
	p, _ := PropertyNamed("resistance_ohm")
	d := Between(p, state("warm", 7940, 0.2), state("", 7860, 0.2), false).Delta
	if math.Abs(d.Value-100) > 1e-9 || math.Abs(d.U-math.Sqrt(2)*10/0.8) > 1e-9 {
		t.Errorf("R by the takes: %+v, want 80/0.8 with the takes' own u", d)
	}
	if d := Between(p, state("warm", 7850, 0.9), state("", 7850, 0.9), false).Delta; d.Known() {
		t.Errorf("R that is only stated: %+v", d)
	}
	other := state("", 7860, 0.9)
	other.Of = "neck"
	if d := Between(p, state("", 7850, 0.9), other, true).Delta; !d.Known() || d.U < 36 {
		t.Errorf("two coils: %+v", d)
	}
}
