package consistency

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/virtual"
	"coilsweep/excite/quantity"
	"coilsweep/fit/response"
)

// load is an added part in words: "470p", "100k" with an "r" before it, "" or both.
func load(t testing.TB, text string) (l capture.Load) {
	t.Helper()
	for _, part := range strings.Fields(text) {
		var err error
		if value, isR := strings.CutPrefix(part, "r"); isR {
			var r quantity.Resistance
			r, err = quantity.ParseResistance(value)
			l.AddedR = &r
		} else {
			var c quantity.Capacitance
			c, err = quantity.ParseCapacitance(value)
			l.AddedC = &c
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return l
}

// taken is a take of the bench with true on the coil, and stated in its load. The
// response is the bench's exact one, with a little noise.
func taken(t testing.TB, b virtual.Bench, name, stated, true string, seed uint64) Take {
	t.Helper()
	r, err := b.Recorder(load(t, true), 48000, 1)
	if err != nil {
		t.Fatal(err)
	}
	dice := rand.New(rand.NewPCG(seed, 1))
	out := &response.Response{}
	for hz := 25.0; hz < 19400; hz *= math.Exp2(1. / 80) {
		h := r.Truth().Transfer(hz)
		u := 1e-4
		out.FrequencyHz = append(out.FrequencyHz, hz)
		out.H = append(out.H, h*(1+complex(u*dice.NormFloat64(), u*dice.NormFloat64())))
		out.Variance = append(out.Variance, 2*u*u*real(h*complex(real(h), -imag(h))))
	}
	take := Take{Name: name, Load: load(t, stated), Response: out}
	take.Load.FixtureC, take.Load.FixtureR = &b.Fixture.Capacitance, &b.Fixture.Resistance
	return take
}

// What is stated wrongly is found, by name.
func TestCheck(t *testing.T) {
	type one struct{ name, stated, true string }
	right := []one{{"bare", "", ""}, {"c220", "220p", "220p"}, {"c470", "470p", "470p"}}
	more := append(slices.Clone(right), one{"c1n", "1n", "1n"})
	but := func(takes []one, name, true string) []one {
		takes = slices.Clone(takes)
		takes[slices.IndexFunc(takes, func(o one) bool { return o.name == name })].true = true
		return takes
	}
	for _, tt := range []struct {
		name  string
		takes []one
		want  string // flags by take
		out   bool
	}{
		{"right", more, "", false},
		{"right, two", right[:2], "", false},
		{"right, with resistors", append(slices.Clone(more), one{"r100", "r100k", "r100k"}, one{"r1M", "r1M", "r1M"}), "",
			false},
		{"one load twice", append(slices.Clone(more), one{"again", "470p", "470p"}, one{"bare2", "", ""}), "", false},
		{"the capacitor was forgotten", but(right, "c470", ""), "c470: same-as bare", true},
		{"the capacitor was forgotten, of two", but(right[:2], "c220", ""), "c220: same-as bare", true},
		{"22 pF were forgotten", []one{{"bare", "", ""}, {"c22", "22p", ""}}, "c22: same-as bare", true},
		{"the capacitor stayed on", but(right, "bare", "470p"), "bare: same-as c470", true},
		{"the one before stayed on", but(right, "c470", "220p"), "c470: same-as c220", true},
		{"the resistor was forgotten", []one{{"bare", "", ""}, {"r100", "r100k", ""}}, "r100: same-as bare", true},
		{"half, of four", but(more, "c470", "235p"), "c470: part-doubted", true},
		{"half, of three", but(right, "c470", "235p"), "c220 c470: part-doubted", false},
		{"double, of four", but(more, "c220", "440p"), "c220: part-doubted", true},
		{"a tenth, of four", but(more, "c470", "47p"), "c470: part-doubted", true},
		{"ten times, of four", but(more, "c220", "2n2"), "c220: part-doubted", true},
		{"ten times, of two", but(right[:2], "c220", "2n2"), "c220: part-doubted", false},
		{"a tenth, of two", []one{{"bare", "", ""}, {"c470", "470p", "47p"}}, "c470: part-doubted", false},
		{"labels swapped", but(but(right, "c470", "220p"), "c220", "470p"), "c220: swapped-with c470", false},
		{"labels swapped, of four", but(but(more, "c470", "220p"), "c220", "470p"), "c220: swapped-with c470", false},
		{"labels swapped, of two", but(but(right[:2], "bare", "220p"), "c220", ""), "bare: swapped-with c220", false},
		{"swapped with a resistor", []one{{"bare", "", ""}, {"c470", "470p", "r100k"}, {"r100", "r100k", "470p"}},
			"r100: part-doubted", false},
		{"another resistor by mistake", []one{{"bare", "", ""}, {"r470", "r470k", "r1M"}}, "", false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var takes []Take
			for i, o := range tt.takes {
				takes = append(takes, taken(t, virtual.Default(), o.name, o.stated, o.true, uint64(i)))
			}
			var got []string
			out := false
			for _, f := range Check(takes) {
				got = append(got, strings.Join(slices.Sorted(slices.Values(f.Takes)), " ")+": "+f.Flag())
				out = out || f.LeaveOut
				t.Log(f.Text)
				if !IsFlag(f.Flag()) {
					t.Errorf("%s is no flag", f.Flag())
				}
			}
			if s := strings.Join(got, "; "); s != tt.want || out != tt.out {
				t.Errorf("found %q, left out %v, want %q, %v", s, out, tt.want, tt.out)
			}
		})
	}
}

// Takes on fixtures that are stated differently are compared by what is stated of each: what
// is right contradicts nothing, and a part that was forgotten is found.
func TestCheckAcrossFixtures(t *testing.T) {
	on := func(farad, ohm string) virtual.Bench {
		b := virtual.Default()
		c, errC := quantity.ParseCapacitance(farad)
		r, errR := quantity.ParseResistance(ohm)
		if errC != nil || errR != nil {
			t.Fatal(errC, errR)
		}
		b.Fixture.Capacitance, b.Fixture.Resistance = c, r
		return b
	}
	short, long := on("65p 5%", "1M 1%"), on("390p 10%", "500k 1%")
	for _, tt := range []struct {
		name, want string
		takes      []Take
	}{
		{"right", "", []Take{taken(t, short, "bare", "", "", 1), taken(t, short, "c220", "220p", "220p", 2),
			taken(t, long, "other", "", "", 3), taken(t, long, "other220", "220p", "220p", 4)}},
		{"as much on each", "", []Take{taken(t, short, "c330", "330p", "330p", 1), taken(t, long, "other", "", "", 2)}},
		{"forgotten on the other", "other1n: same-as bare", []Take{taken(t, short, "bare", "", "", 1),
			restated(taken(t, short, "other1n", "1n", "", 2), long)}},
		{"a tenth on the other, of four", "other1n: part-doubted", []Take{taken(t, short, "bare", "", "", 1),
			taken(t, short, "c220", "220p", "220p", 2), taken(t, short, "c470", "470p", "470p", 3),
			taken(t, long, "other1n", "1n", "100p", 4)}},
	} {
		var got []string
		for _, f := range Check(tt.takes) {
			got = append(got, strings.Join(f.Takes, " ")+": "+f.Flag())
			t.Log(f.Text)
		}
		if s := strings.Join(got, "; "); s != tt.want {
			t.Errorf("%s: found %q, want %q", tt.name, s, tt.want)
		}
	}
	// Where the capacitance of one fixture is not stated, nothing follows.
	unknown := taken(t, long, "other", "220p", "", 2)
	unknown.Load.FixtureC = nil
	if found := Check([]Take{taken(t, short, "bare", "", "", 1), unknown}); found != nil {
		t.Errorf("a fixture that is not stated: %+v", found)
	}
}

// Right takes of many coils on two fixtures, each within its tolerance, contradict nothing.
func TestCheckFindsNothingAcrossFixtures(t *testing.T) {
	dice := rand.New(rand.NewPCG(17, 18))
	within := func(share float64) float64 { return 1 + share*(2*dice.Float64()-1) }
	compared := 0
	for n := range 80 {
		b := virtual.Default()
		b.Coil.Inductance.SI *= math.Pow(3, 2*dice.Float64()-1)
		b.Coil.Resistance.SI *= math.Pow(2, 2*dice.Float64()-1)
		var stated [2]virtual.Bench
		for i := range stated {
			stated[i] = b
			share := []float64{0.05, 0.2}[dice.IntN(2)]
			c, err := quantity.ParseCapacitance(fmt.Sprintf("%.0fp %g%%", 40+560*dice.Float64()*dice.Float64(), 100*share))
			r, errR := quantity.ParseResistance([]string{"250k 1%", "1M 1%", "10M 5%"}[dice.IntN(3)])
			if err != nil || errR != nil {
				t.Fatal(err, errR)
			}
			stated[i].Fixture.Capacitance, stated[i].Fixture.Resistance = c, r
		}
		var takes []Take
		said := ""
		off := [2]float64{}
		for i := range off { // one fixture has one error
			c := stated[i].Fixture.Capacitance
			off[i] = within(c.Half / c.SI)
		}
		for i, part := range []string{"", "220p", "470p", "1n", "r470k", "", "330p"} {
			on := dice.IntN(2)
			true := stated[on]
			true.Fixture.Capacitance.SI *= off[on]
			real := part
			if l := load(t, part); l.AddedC != nil {
				real = fmt.Sprintf("%.1fp", l.AddedC.SI*1e12*within(0.1))
			}
			take := restated(taken(t, true, fmt.Sprintf("t%d", i), part, real, uint64(100*n+i)), stated[on])
			said += fmt.Sprintf(" t%d=%s on %s", i, part, take.Load.FixtureC)
			takes = append(takes, take)
		}
		if !SameFixture(takes[0].Load, takes[1].Load) {
			compared++
		}
		for _, f := range Check(takes) {
			t.Errorf("%d:%s: %s: %s", n, said, f.Flag(), f.Text)
		}
	}
	if compared < 20 {
		t.Errorf("%d of them have two fixtures: this test tests nothing", compared)
	}
}

// restated is a take with the fixture of another bench stated.
func restated(take Take, b virtual.Bench) Take {
	take.Load.FixtureC, take.Load.FixtureR = &b.Fixture.Capacitance, &b.Fixture.Resistance
	return take
}

// Right takes of many coils, with parts within 10 %, contradict nothing.
func TestCheckFindsNothing(t *testing.T) {
	dice := rand.New(rand.NewPCG(7, 8))
	vary := func(x *float64, factor float64) { *x *= math.Pow(factor, 2*dice.Float64()-1) }
	for n := range 150 {
		b := virtual.Default()
		vary(&b.Coil.Inductance.SI, 4)
		vary(&b.Coil.Resistance.SI, 2)
		vary(&b.Coil.WindingC.SI, 2)
		vary(&b.Fixture.Capacitance.SI, 4)
		b.Fixture.Resistance.SI = []float64{1e6, 10e6, 500e3}[dice.IntN(3)]
		for i := range b.Coil.Rings {
			vary(&b.Coil.Rings[i].Resistance.SI, 4)
			b.Coil.Rings[i].Coupling *= 0.2 + 1.8*dice.Float64()
		}
		b.Exciter.Mutual.SI *= 0.1
		if dice.IntN(2) == 0 {
			b.Coil.Rings = b.Coil.Rings[:1]
			b.Cover = &virtual.Cover{Inductance: b.Exciter.Inductance, Resistance: b.Exciter.Resistance, Coupling: 0.05,
				Shielding: dice.Float64()}
			b.Cover.Inductance.SI, b.Cover.Resistance.SI = 1e-6, 2*math.Pi*(3e3+2e4*dice.Float64())*1e-6
		}
		var takes []Take
		said := ""
		for i, stated := range []string{"", "220p", "470p", "1n", "r470k", "r150k", "47p"} {
			if dice.IntN(4) == 0 {
				continue
			}
			real := stated
			if l := load(t, stated); l.AddedC != nil {
				real = fmt.Sprintf("%.1fp", l.AddedC.SI*1e12*(1+0.1*(2*dice.Float64()-1)))
			}
			said += " " + stated + "=" + real
			takes = append(takes, taken(t, b, "t"+stated, stated, real, uint64(100*n+i)))
		}
		for _, f := range Check(takes) {
			t.Errorf("%d:%s: %s: %s", n, said, f.Flag(), f.Text)
		}
	}
}
