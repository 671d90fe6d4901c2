package exciter

import (
	"math"
	"strings"
	"testing"
)

// An invented bench: a bobbin of 12 mm core, 25 mm flanges, 8 mm long; a line
// output of 1 V and 100 ohm; a coil of 6000 turns 20 mm away.
var (
	bobbin = Bobbin{CoreDiameterM: 12e-3, FlangeDiameterM: 25e-3, LengthM: 8e-3}
	line   = Source{Volt: 1, Ohm: 100, LeastLoadOhm: 600}
	gap    = 10.5e-3 // that leaves between the windings
	target = Target{Coil: Coil{MeanRadiusM: 15e-3, LengthM: 11e-3, DepthM: 5e-3, Turns: 6000}, DistanceM: 20e-3}
)

func mustAWG(t *testing.T, n int) Wire {
	t.Helper()
	w, err := AWG(n)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// The current into R and L in series, 1/sqrt(1 + (wL/R)²): worked by hand for
// wL = R (3.0103 dB) and for 0.1 dB, where wL/R = sqrt(10^0.01 - 1) = 0.15262042.
func TestCurrentDrop(t *testing.T) {
	relative(t, "corner", CurrentDropDB(100, 100/(2*math.Pi*1000), 1000), 3.0103, 1e-5)
	l := 470e-6
	r := LeastTotalOhm(l, DefaultGoal)
	relative(t, "least total", r, 2*math.Pi*20000*l/0.15262042, 1e-8)
	relative(t, "drop", CurrentDropDB(r, l, 20000), 0.1, 1e-12)
	if CurrentDropDB(r, l, 10000) >= 0.03 {
		t.Error("the drop grows with the square of the frequency")
	}
}

// IEC 60063.
func TestNextE12(t *testing.T) {
	for ohm, want := range map[float64]float64{
		0: 0, -5: 0, 1: 1, 1.01: 1.2, 100: 100, 101: 120, 387: 390, 391: 470, 821: 1000, 999: 1000, 0.5: 0.56, 8.2: 8.2,
	} {
		if got := NextE12(ohm); math.Abs(got-want) > 1e-9 {
			t.Errorf("NextE12(%g) = %g, want %g", ohm, got, want)
		}
	}
}

func TestWork(t *testing.T) {
	c, err := bobbin.Wind(mustAWG(t, 34), 60, HandGuided)
	if err != nil {
		t.Fatal(err)
	}
	e, err := Work(c, 22, line, DefaultGoal, target)
	if err != nil {
		t.Fatal(err)
	}
	// What the numbers must be to each other.
	if e.DropDB > 0.1 {
		t.Errorf("the current falls by %g dB", e.DropDB)
	}
	if e.SeriesOhm < e.NeededOhm || e.SeriesOhm > 1.25*e.NeededOhm {
		t.Errorf("series resistor %g ohm where %g ohm are needed", e.SeriesOhm, e.NeededOhm)
	}
	if load := e.TotalOhm - line.Ohm; load < line.LeastLoadOhm {
		t.Errorf("the source is loaded with %g ohm", load)
	}
	relative(t, "power", e.CoilW+e.SeriesW+e.CurrentA*e.CurrentA*line.Ohm, line.Volt*e.CurrentA, 1e-12)
	relative(t, "EMF", e.EMFV1k, 2*math.Pi*1000*MutualH(c, target.Coil, 20e-3)*e.CurrentA, 1e-12)
	relative(t, "Wheeler", e.WheelerH, e.InductanceH, 0.03)
	// For a coil so far off its own field is nearly even over the target.
	flux := e.AxisFieldT * 6000 * math.Pi * 15e-3 * 15e-3
	if ratio := 2 * math.Pi * 1000 * flux / e.EMFV1k; ratio < 1 || ratio > 2 {
		t.Errorf("axis field and EMF do not fit: ratio %g", ratio)
	}
	if len(e.Warnings) != 0 {
		t.Errorf("warnings: %q", e.Warnings)
	}
}

func TestWarnings(t *testing.T) {
	for _, c := range []struct {
		wire   int
		turns  int
		source Source
		away   float64
		want   string
	}{
		{40, 100, Source{Volt: 10, Ohm: 0.1}, 0.02, "hot"},
		{40, 50, Source{Volt: 2, Ohm: 10, LeastLoadOhm: 16}, 0.02, "warm"},
		{40, 100, Source{Volt: 10, Ohm: 0.1}, 0.02, "A/mm²"},
		{34, 60, Source{Volt: 30, Ohm: 10, LeastLoadOhm: 600}, 0.02, "series resistor takes"},
		{44, 5000, line, 0.02, "self-resonance"},
		{34, 60, Source{Volt: 0.01, Ohm: 100, LeastLoadOhm: 600}, 0.02, "closer"},
		{34, 60, line, 0.5, "closer"},
	} {
		coil, err := bobbin.Wind(mustAWG(t, c.wire), c.turns, HandGuided)
		if err != nil {
			t.Fatal(err)
		}
		e, err := Work(coil, 22, c.source, DefaultGoal, Target{Coil: target.Coil, DistanceM: c.away})
		if err != nil {
			t.Fatal(err)
		}
		if all := strings.Join(e.Warnings, "\n"); !strings.Contains(all, c.want) {
			t.Errorf("want a warning with %q, got %q (rise %g K, series %g W)", c.want, all, e.RiseK, e.SeriesW)
		}
	}
}

func TestBobbin(t *testing.T) {
	w := Wire{Name: "test", BareM: 0.09e-3, OuterM: 0.1e-3}
	// 8 mm x 6.5 mm in squares of 0.1 mm: 5200.
	if n := bobbin.TurnsThatFit(w, 1); n != 5200 {
		t.Errorf("%d turns fit", n)
	}
	full, err := bobbin.Wind(w, 5200, 1)
	if err != nil {
		t.Fatal(err)
	}
	relative(t, "depth", full.DepthM, 6.5e-3, 1e-12)
	relative(t, "mean radius", full.MeanRadiusM, 9.25e-3, 1e-12)
	if _, err := bobbin.Wind(w, 5201, 1); err == nil || !strings.Contains(err.Error(), "5200 turns fit") {
		t.Error(err)
	}
	one, err := bobbin.Wind(w, 1, 1)
	if err != nil || one.DepthM != w.OuterM {
		t.Error(one, err)
	}
	for _, bad := range []Bobbin{{}, {CoreDiameterM: 0.02, FlangeDiameterM: 0.01, LengthM: 0.01},
		{FlangeDiameterM: math.NaN(), LengthM: 1}} {
		if _, err := bad.Wind(w, 1, 1); err == nil || bad.TurnsThatFit(w, 1) != 0 {
			t.Errorf("%+v was wound", bad)
		}
	}
	if _, err := bobbin.Wind(w, 10, 2); err == nil {
		t.Error("a packing of 2 was taken")
	}
	if _, err := bobbin.Wind(Wire{}, 10, 1); err == nil {
		t.Error("no wire was wound")
	}
	if n := bobbin.TurnsThatFit(Wire{BareM: 0.01, OuterM: 0.011}, 1); n != 0 {
		t.Errorf("%d turns of 11 mm wire fit", n)
	}
}

// best must not be beaten by any other number of turns (exact inductance).
func TestBest(t *testing.T) {
	for _, n := range []int{30, 42} {
		w := mustAWG(t, n)
		best, err := best(bobbin, w, nil, HandGuided, 22, line, DefaultGoal, target)
		if err != nil {
			t.Fatal(err)
		}
		if best.DropDB > 0.1 || best.TotalOhm-line.Ohm < line.LeastLoadOhm {
			t.Errorf("%s: %g dB, %g ohm", w.Name, best.DropDB, best.TotalOhm)
		}
		// Without rounding to E12, which makes steps.
		signal := func(e Estimate) float64 {
			return e.MutualH / leastTotal(e.ResistanceOhm, e.InductanceH, line, DefaultGoal)
		}
		for turns := 5; turns < bobbin.TurnsThatFit(w, HandGuided); turns = turns*4/3 + 1 {
			c, err := bobbin.Wind(w, turns, HandGuided)
			if err != nil {
				t.Fatal(err)
			}
			e, err := Work(c, 22, line, DefaultGoal, target)
			if err != nil {
				t.Fatal(err)
			}
			if signal(e) > 1.02*signal(best) {
				t.Errorf("%s: %d turns give %g, the best (%d) %g", w.Name, turns, signal(e), best.Coil.Turns,
					signal(best))
			}
		}
	}
	if _, err := best(bobbin, Wire{Name: "rod", BareM: 0.01, OuterM: 0.011}, nil, HandGuided, 22, line, DefaultGoal,
		target); err == nil {
		t.Error("a rod was wound")
	}
}

func TestRank(t *testing.T) {
	wires := []Wire{mustAWG(t, 42), mustAWG(t, 30), {Name: "rod", BareM: 0.01, OuterM: 0.011}}
	list, err := Rank(Drawer{Bobbins: []Bobbin{bobbin}, Wires: wires}, HandGuided, 22, line, DefaultGoal, target, gap)
	if err != nil || len(list) != 2 || list[0].EMFV1k < list[1].EMFV1k {
		t.Errorf("%d, %v", len(list), err)
	}
	if _, err := Rank(Drawer{Bobbins: []Bobbin{bobbin}, Wires: wires[2:]}, HandGuided, 22, line, DefaultGoal, target,
		gap); err == nil {
		t.Error("nothing fits, and no error")
	}
	if _, err := Rank(Drawer{Bobbins: []Bobbin{bobbin}}, HandGuided, 22, line, DefaultGoal, target, gap); err == nil {
		t.Error("no wire, and no error")
	}
}

// From a drawer of bobbins, wires and resistors: each pair with a resistor that
// is in the drawer and large enough, and no other number of turns with any of
// them gives more (exact inductance).
func TestRankDrawer(t *testing.T) {
	small := Bobbin{CoreDiameterM: 6e-3, FlangeDiameterM: 15e-3, LengthM: 4e-3}
	d := Drawer{
		Bobbins: []Bobbin{small, bobbin}, Wires: []Wire{mustAWG(t, 42), mustAWG(t, 30)},
		ResistorsOhm: []float64{3300, 560, 100},
	}
	list, err := Rank(d, HandGuided, 22, line, DefaultGoal, target, gap)
	if err != nil || len(list) != 4 {
		t.Fatalf("%d, %v", len(list), err)
	}
	for i, e := range list {
		at := target.Facing(e.Bobbin, gap)
		if i > 0 && e.EMFV1k > list[i-1].EMFV1k {
			t.Errorf("%d is stronger than the one before it", i)
		}
		if e.DistanceM != at.DistanceM || math.Abs(e.DistanceM-(e.Bobbin.LengthM+11e-3)/2-gap) > 1e-12 {
			t.Errorf("the distance from middle to middle is %g", e.DistanceM)
		}
		switch e.SeriesOhm {
		case 0, 100, 560, 3300:
		default:
			t.Errorf("a resistor of %g ohm is not in the drawer", e.SeriesOhm)
		}
		good := func(e Estimate) bool {
			return e.DropDB <= 0.1+1e-9 &&
				e.SeriesOhm+e.ResistanceOhm >= line.LeastLoadOhm
		}
		if !good(e) {
			t.Errorf("%d turns of %s: %g dB, %g ohm", e.Coil.Turns, e.Coil.Wire.Name, e.DropDB,
				e.SeriesOhm+e.ResistanceOhm)
		}
		for turns := 5; turns < e.Bobbin.TurnsThatFit(e.Coil.Wire, HandGuided); turns = turns*5/4 + 1 {
			c, err := e.Bobbin.Wind(e.Coil.Wire, turns, HandGuided)
			if err != nil {
				t.Fatal(err)
			}
			other, err := work(c, d.ResistorsOhm, 22, line, DefaultGoal, at)
			if err == nil && good(other) && other.EMFV1k > 1.02*e.EMFV1k {
				t.Errorf("%s: %d turns with %g ohm give %g V, the best (%d, %g ohm) %g V",
					c.Wire.Name, turns, other.SeriesOhm, other.EMFV1k, e.Coil.Turns, e.SeriesOhm, e.EMFV1k)
			}
		}
	}

	// A resistor far too large costs signal, and that is said.
	d.ResistorsOhm, d.Wires = []float64{100e3}, d.Wires[1:]
	if list, err = Rank(d, HandGuided, 22, line, DefaultGoal, target, gap); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(strings.Join(list[0].Warnings, " "), "times as large as is needed") {
		t.Errorf("warnings %q", list[0].Warnings)
	}
	// One too small is none: 600 ohm of load are not reached by 10 ohm and thick wire.
	d.ResistorsOhm = []float64{10}
	if _, err = Rank(d, HandGuided, 22, line, DefaultGoal, target, gap); err == nil ||
		!strings.Contains(err.Error(), "none at hand is that large") {
		t.Error(err)
	}
	d.ResistorsOhm = []float64{-1}
	if _, err = Rank(d, HandGuided, 22, line, DefaultGoal, target, gap); err == nil ||
		!strings.Contains(err.Error(), "cannot have -1 ohm") {
		t.Error(err)
	}
}

func TestWorkRefuses(t *testing.T) {
	c, err := bobbin.Wind(mustAWG(t, 34), 60, HandGuided)
	if err != nil {
		t.Fatal(err)
	}
	for _, bad := range []struct {
		c    Coil
		s    Source
		g    Goal
		t    Target
		want string
	}{
		{c, Source{}, DefaultGoal, target, "voltage"},
		{c, Source{Volt: 1, Ohm: -1}, DefaultGoal, target, "source's resistance"},
		{c, Source{Volt: math.NaN()}, DefaultGoal, target, "voltage"},
		{c, line, Goal{}, target, "upper frequency"},
		{c, line, Goal{TopHz: 20000}, target, "limit"},
		{c, line, DefaultGoal, Target{Coil: target.Coil, DistanceM: math.Inf(1)}, "distance"},
		{c, line, DefaultGoal, Target{DistanceM: 0.02}, "under test"},
		{c, line, DefaultGoal, Target{Coil: Coil{MeanRadiusM: 10e-3, LengthM: 11e-3, DepthM: 15e-3, Turns: 6000},
			DistanceM: 5e-3}, "overlap"},
		{Coil{}, line, DefaultGoal, target, "wire"},
		{Coil{Wire: c.Wire}, line, DefaultGoal, target, "radius"},
	} {
		if e, err := Work(bad.c, 22, bad.s, bad.g, bad.t); err == nil || !strings.Contains(err.Error(), bad.want) {
			t.Errorf("want %q: %+v, %v", bad.want, e, err)
		}
	}
}
