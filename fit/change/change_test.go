package change

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/virtual"
	"coilsweep/excite/quantity"
	"coilsweep/fit/comparison"
	"coilsweep/fit/internal/benched"
)

// TestChangesOfASimulatedCoil draws benches whose pieces are off by chance and measures
// a coil on each before and after something was done to it: what changed, by how much,
// and why is found, and nothing where nothing was done.
func TestChangesOfASimulatedCoil(t *testing.T) {
	const trials = 24
	celsius := 20.0
	stated := func(text string) capture.Coil {
		dcr, err := quantity.ParseResistance(text)
		if err != nil {
			t.Fatal(err)
		}
		return capture.Coil{Name: "invented", DCR: &dcr, CelsiusAtTakes: &celsius}
	}
	const first = "7.85k@20C 0.5%"
	cover := func(b *virtual.Bench) {
		ring := virtual.Ring{Name: "cover", Coupling: 0.25}
		ring.Inductance.SI, ring.Resistance.SI = 1e-6, 20e-3
		b.Coil.Rings = append(slices.Clone(b.Coil.Rings), ring)
	}
	for _, test := range []struct {
		name   string
		do     func(*virtual.Bench)
		truth  map[string]float64 // of what must change; nothing else may
		causes string
		dcr    string // as it is stated afterwards
	}{
		{"nothing", func(*virtual.Bench) {}, nil, "", first},
		{"potted", func(b *virtual.Bench) { b.Coil.WindingC.SI += 18e-12 },
			map[string]float64{capacitanceCoil: 18e-12}, "wax potting", first},
		{"other magnet", func(b *virtual.Bench) { b.Coil.Inductance.SI += 0.06 },
			map[string]float64{inductance: 0.06}, "another magnet", first},
		{"warmer", func(b *virtual.Bench) { b.Coil.Resistance.SI += 150 },
			map[string]float64{resistance: 150}, "a coil that is warmer by", "8k@20C 0.5%"},
		{"cover", cover, map[string]float64{acResistance: math.NaN()}, "a metal cover or other metal", first},
		{"grounded cover", func(b *virtual.Bench) { cover(b); b.Coil.WindingC.SI += 20e-12 },
			map[string]float64{capacitanceCoil: 20e-12, acResistance: math.NaN()}, "a metal cover that is connected", first},
	} {
		random := rand.New(rand.NewPCG(16, uint64(len(test.name))))
		off := func() float64 { return 2*random.Float64() - 1 }
		right, astray, caused := 0, 0, 0
		covered, known := map[string]int{}, map[string]int{}
		for range trials {
			p := benched.Pieces{FixtureC: off(), FixtureR: off(), C220: off(), C470: off()}
			before, after := virtual.Default(), virtual.Default()
			// Poles alone, so that the fit has a model of them with the cover.
			before.Coil.Rings, after.Coil.Rings = before.Coil.Rings[:1], after.Coil.Rings[:1]
			test.do(&after)
			one, _ := benched.Measured(before, p, stated(first), random)
			then, _ := benched.Measured(after, p, stated(test.dcr), random)
			c, err := comparison.Compare([]comparison.Coil{{Name: "invented", Of: "invented", Result: one},
				{Name: "invented, later", Of: "invented", State: "later", Result: then}}, 0, false)
			if err != nil {
				t.Fatal(err)
			}
			ch := Of(c)[0]
			claimed := map[string]bool{}
			for _, f := range ch.With(Changed) {
				claimed[f.Key] = true
			}
			all := true
			for key := range test.truth {
				all = all && claimed[key]
			}
			if all {
				right++
			}
			for key := range claimed {
				// More L brings more of the loss that goes with it, and R is part of the AC
				// resistance.
				goes := key == acResistance && (test.truth[inductance] != 0 || test.truth[resistance] != 0)
				if _, is := test.truth[key]; !is && !goes {
					astray++
				}
			}
			for _, key := range []string{capacitanceCoil, inductance, resistance} {
				if f, _ := ch.find(key); f.Delta.Known() {
					known[key]++
					if math.Abs(f.Delta.Value-test.truth[key]) <= f.Delta.U95 {
						covered[key]++
					}
				}
			}
			if text := strings.Join(ch.Causes, "; "); test.causes == "" && text == "" ||
				test.causes != "" && strings.HasPrefix(text, test.causes) && len(ch.Causes) == 1 {
				caused++
			}
		}
		t.Logf("%s: found in %d of %d, %d claims astray, the cause in %d; covered %v of %v", test.name, right, trials,
			astray, caused, covered, known)
		// What is done is large against U95. By chance 1 in 20 has a wrong claim: 5 of 24
		// or more come about once in 100 times.
		if right < trials || astray > 4 || caused < trials-4 {
			t.Errorf("%s: found in %d of %d, %d claims astray, the cause in %d", test.name, right, trials, astray, caused)
		}
		for key, n := range known {
			if n < trials || covered[key] < trials-5 { // 95 % of 24 is 23; below 19 once in 1000 times
				t.Errorf("%s: %s known in %d of %d, covered in %d", test.name, key, n, trials, covered[key])
			}
		}
	}
}

func TestCauses(t *testing.T) {
	open := math.NaN()
	for _, test := range []struct {
		s    signs
		want string
	}{
		{signs{}, ""},
		{signs{c: 1}, "wax potting or a longer lead"},
		{signs{c: -1}, "a shorter lead or wax that was taken out"},
		{signs{c: 1, l: open}, ""}, // L may have changed with it
		{signs{c: 1, l: 1}, ""},
		{signs{l: -1}, "another magnet, a magnet of another strength, or pole pieces at another height"},
		{signs{metal: 1}, "a metal cover or other metal near the winding"},
		{signs{metal: 1, c: 1}, "a metal cover that is connected to ground"},
		{signs{metal: -1, c: -1}, "a grounded metal cover that was taken off"},
		{signs{metal: -1}, "metal that was taken away from the winding"},
		{signs{r: 1, kelvin: 4}, "a coil that is warmer by 4 °C, or a poor solder joint,"},
		{signs{r: -1, kelvin: -4}, "a coil that is cooler by 4 °C"},
		{signs{r: 1, kelvin: 80}, "a poor solder joint"},
		{signs{r: -1, kelvin: -80}, "shorted turns"},
		{signs{r: -1, l: -1, kelvin: -9}, "turns that were taken off, or are shorted"},
		{signs{r: 1, l: 1, kelvin: 9}, "more turns"},
		{signs{r: 1, l: -1, c: 1, metal: 1, kelvin: 1}, ""}, // too much at once
		{signs{c: open, l: open, r: open, metal: open}, ""},
	} {
		if got := strings.Join(causes(test.s), "; "); got != test.want {
			t.Errorf("%+v: %q, want %q", test.s, got, test.want)
		}
	}
}

// Of n normal values one is beyond its limits in 1 of 20 cases (tables of the normal
// distribution: 2.2414 for two, 2.5758 for five).
func TestSure(t *testing.T) {
	for n, want := range map[int]float64{1: 1, 2: 2.2414 / quantity.Coverage95, 5: 2.5758 / quantity.Coverage95} {
		if got := sure(n); math.Abs(got-want) > 1e-4 {
			t.Errorf("%d: %.5f, want %.5f", n, got, want)
		}
	}
}
