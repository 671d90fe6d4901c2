package turns

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/harness"
	"coilsweep/fit/winding"
)

// stated is a coil whose circuit is known to relative standard uncertainties of L, R
// and C; L and C are correlated by -0.9, as a fit has them.
type stated struct {
	coil circuit.Coil
	u    [3]float64
}

func (s stated) Bare() (circuit.Coil, error) { return s.coil, nil }

func (s stated) Carry(count int, f func(circuit.Coil, []float64)) fit.Carried {
	out := fit.Carried{Variances: make([]fit.Variances, count), ClockU: 1e-5}
	const h = 1e-4
	for _, way := range [][3]float64{{s.u[0], 0, -0.9 * s.u[2]}, {0, s.u[1], 0}, {0, 0, math.Sqrt(1-0.81) * s.u[2]}} {
		up, down := make([]float64, count), make([]float64, count)
		f(scaled(s.coil, way, h), up)
		f(scaled(s.coil, way, -h), down)
		for k := range out.Variances {
			d := (up[k] - down[k]) / (2 * h)
			out.Variances[k].Fit += d * d
		}
	}
	return out
}

func scaled(c circuit.Coil, way [3]float64, by float64) circuit.Coil {
	c.InductanceH *= math.Exp(by * way[0])
	c.ResistanceOhm *= math.Exp(by * way[1])
	c.CapacitanceF *= math.Exp(by * way[2])
	return c
}

func wire(t testing.TB, text string, grade int) exciter.Wire {
	t.Helper()
	w, err := exciter.ParseWire(text)
	if err == nil {
		w, err = w.WithGrade(grade)
	}
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func planOf(t testing.TB, text string, turns int) winding.Plan {
	return winding.Plan{Wire: wire(t, text, 1), Turns: turns, CoreLengthM: 58e-3, CoreWidthM: 5e-3, HeightM: 11e-3,
		Grade: 1, RoomM: 5e-3}
}

var measuredCircuit = circuit.Coil{InductanceH: 2.4, ResistanceOhm: 6100, CapacitanceF: 110e-12,
	Rings: []circuit.Ring{{Share: 0.09, TimeS: 26e-6}}}

func measuredCoil(t testing.TB) Coil {
	return Coil{Name: "measured", Plan: planOf(t, "AWG 42", 8000), Celsius: 20,
		Fitted: stated{measuredCircuit, [3]float64{0.003, 0.0025, 0.02}}}
}

func resistance(t testing.TB, text string) quantity.Resistance {
	t.Helper()
	r, err := quantity.ParseResistance(text)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func guitar(t testing.TB) harness.Harness {
	t.Helper()
	ohm := func(text string) *quantity.Resistance { return new(resistance(t, text)) }
	farad := func(text string) *quantity.Capacitance {
		c, err := quantity.ParseCapacitance(text)
		if err != nil {
			t.Fatal(err)
		}
		return &c
	}
	return harness.Harness{Volume: &harness.Pot{Resistance: ohm("500k 20%")},
		Tone:  &harness.Tone{Pot: harness.Pot{Resistance: ohm("500k 20%")}, Capacitance: farad("22n 10%")},
		Cable: &harness.Cable{Capacitance: farad("470p 5%")}, Amplifier: harness.Amplifier{Resistance: ohm("1M 5%")}}
}

func henry(t testing.TB, text string) *quantity.Inductance {
	t.Helper()
	l, err := quantity.ParseInductance(text)
	if err != nil {
		t.Fatal(err)
	}
	return &l
}

func planned(t testing.TB, q Request) *Sheet {
	t.Helper()
	s, err := Plan(q)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// With the turns, wire and guitar of the measured coil the option is that coil, and the
// uncertainty that the laws add is the scatter of winding and the wire's new reel.
func TestTheSameAgain(t *testing.T) {
	c := measuredCoil(t)
	q := Request{Coils: []Coil{c}, Guitar: guitar(t), Wish: Wish{Turns: 8000}, Wires: []exciter.Wire{c.Plan.Wire},
		Grades: []int{1}, SameReel: true}
	o := planned(t, q).Options[0]
	near := func(what string, q fit.Quantity, value, relativeU float64) {
		t.Helper()
		if math.Abs(q.Value/value-1) > 1e-6 {
			t.Errorf("%s is %g, the measured coil has %g", what, q.Value, value)
		}
		if math.Abs(q.U/q.Value/relativeU-1) > 0.01 {
			t.Errorf("%s: u is %.4f %%, want %.4f %%", what, 100*q.U/q.Value, 100*relativeU)
		}
	}
	// The measured coil's own scatter and the coming one's.
	near("L", o.Inductance, 2.4, math.Hypot(0.003, scatter[ofL]*math.Sqrt2))
	near("C", o.Capacitance, 110e-12, math.Hypot(0.02, scatter[ofC]*math.Sqrt2))
	hz, quality, _ := measuredCircuit.Resonance(circuit.Load{ResistanceOhm: math.Inf(1)})
	if math.Abs(o.Resonance.Value/hz-1) > 1e-3 || math.Abs(o.Q.Value/quality-1) > 0.02 {
		t.Errorf("resonance %g, Q %g; the measured coil has %g and %g", o.Resonance.Value, o.Q.Value, hz, quality)
	}
	q.SameReel = false
	other := planned(t, q).Options[0]
	if u := other.Resistance.U / other.Resistance.Value; !(u > 0.9*uReel && u < 1.3*uReel) {
		t.Errorf("from another reel u of R is %.2f %%, want about %.2f %%, the wire's", 100*u, 100*uReel)
	}
	if again := o.Resistance.U / o.Resistance.Value; !(again < 0.02) {
		t.Errorf("from the same reel u of R is %.2f %%", 100*again)
	}
}

// The wish is reached by the turns that are needed, whatever it is, and U95 of the turns
// is that of what is reached over its slope; the shares of the peak's U95 make it up.
func TestWishes(t *testing.T) {
	ohm := resistance(t, "6.5k@20C 1%")
	other := measuredCircuit
	other.InductanceH, other.ResistanceOhm = 3.4, 7000
	like := harness.Coil{Name: "other", Fitted: stated{other, [3]float64{0.003, 0.003, 0.02}}}
	for _, tt := range []struct {
		name string
		wish Wish
		got  func(Option) float64
		want float64
	}{
		{"peak", Wish{Peak: new(4000.0)}, func(o Option) float64 { return o.Peak.Value }, 4000},
		{"inductance", Wish{Inductance: henry(t, "3.2H")}, func(o Option) float64 { return o.Inductance.Value }, 3.2},
		{"resistance", Wish{Resistance: &ohm}, func(o Option) float64 { return o.Resistance.Value }, 6500},
		{"like another", Wish{Like: &like}, func(o Option) float64 { return o.Peak.Value }, math.NaN()},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := planned(t, Request{Coils: []Coil{measuredCoil(t)}, Guitar: guitar(t), Wish: tt.wish, RoomM: 7e-3})
			want := tt.want
			if tt.wish.Like != nil {
				want = s.WantedAt.Value
			}
			if len(s.Options) < 3 || len(s.Refused) == 0 {
				t.Fatalf("%d options, %d refused", len(s.Options), len(s.Refused))
			}
			for _, o := range s.Options {
				if math.Abs(tt.got(o)/want-1) > 3e-4 { // the turns are whole
					t.Errorf("%s, grade %d: %g, want %g", o.Wire.Name, o.Grade, tt.got(o), want)
				}
				if !o.Needed.Known() || o.Filled > 1 || (o.FromWantedDB != nil) != (tt.wish.Like != nil) {
					t.Errorf("%+v", o)
				}
				f := o.PeakFrom
				if all := math.Hypot(math.Hypot(f.Coils, f.Laws), f.Guitar); math.Abs(all/o.Peak.U95-1) > 1e-3 {
					t.Errorf("shares of U95 make %g Hz of %g Hz", all, o.Peak.U95)
				}
			}
			for _, r := range s.Refused {
				if r.Why == "" {
					t.Errorf("%+v without a reason", r)
				}
			}
		})
	}
}

// Wheeler's formula of many layers, Proc. IRE 16 (1928), within 1 % where its terms are
// about equal (formula and limit as quoted in public; p. 1398 from memory), and Brooks's
// coil, J. Res. NBS 7 (1931), p. 289, and Grover, Inductance Calculations (1946), chapter
// 13, p. 94 (constant and pages from memory, the chapter from the book's contents):
// 1.6994e-6 a N² H for a = 1.5 c, b = c. On a round core without metal the shape that the
// law of L goes by must carry one such coil to another as these do.
func TestLawOfLAgainstHandbooks(t *testing.T) {
	const b = 10e-3
	brooks := func(depth float64, turns int) winding.Plan { // c deep: a core of 2a - c = 2c
		w := exciter.Enamelled(0.05e-3)
		w.OuterM = math.Sqrt(depth * b * winding.Packing / float64(turns))
		return winding.Plan{Wire: w, Turns: turns, CoreLengthM: 2 * b, CoreWidthM: 2 * b, HeightM: b, Grade: 1}
	}
	p := brooks(b, 4000)
	air, err := p.AirPerTurn2H(4000, winding.Packing)
	if err != nil {
		t.Fatal(err)
	}
	if got := air / 15e-3; math.Abs(got/1.6994e-6-1) > 3e-5 {
		t.Errorf("Brooks's constant is %g, the handbook has 1.6994e-6", got)
	}
	bench := &bench{Request: Request{Coils: []Coil{{Plan: p}}}, air: map[int]float64{}}
	wheeler := func(depth float64) float64 {
		return exciter.Coil{MeanRadiusM: b + depth/2, LengthM: b, DepthM: depth, Turns: 1}.WheelerH()
	}
	from := bench.shape(p, 4000, winding.Packing)
	for _, depth := range []float64{7e-3, 8e-3, 12e-3} {
		turns := 4000 * depth / b
		want := wheeler(depth) / wheeler(b)
		if got := math.Exp(bench.shape(p, turns, winding.Packing) - from); math.Abs(got/want-1) > 0.01 {
			t.Errorf("%g mm deep: L over the square of the turns grows to %.4f, by Wheeler %.4f", 1e3*depth, got, want)
		}
	}
}

// ngspice has the peak of the option where it was wanted, for a netlist that owes
// nothing to the fit: the loop is a second winding's inductance and resistance.
func TestPredictionAgainstNgspice(t *testing.T) {
	program, err := exec.LookPath("ngspice")
	if err != nil {
		if testing.Short() {
			t.Skip("ngspice is not installed")
		}
		t.Fatal("ngspice is not installed: run 'make deps', or the tests with -short")
	}
	s := planned(t, Request{Coils: []Coil{measuredCoil(t)}, Guitar: guitar(t), Wish: Wish{Peak: new(3800.0)}, RoomM: 7e-3})
	o := s.Options[0]
	c, ring := o.Circuit, o.Circuit.Rings[0]
	coupled := c.InductanceH * ring.Share
	netlist := fmt.Sprintf(`an option in a guitar
V1 e 0 AC 1
R1 e a %.9g
L1 a b %.9g
L2 b out %.9g
R2 b out %.9g
C1 out 0 %.9g
Rvolume out 0 500k
Rtone out t 500k
Ctone t 0 22n
Ccable out 0 470p
Ramp out 0 1meg
.control
ac lin 8001 3000 5000
meas ac top max vdb(out)
ac lin 1 100 100
print vdb(out)
quit 0
.endc
.end
`, c.ResistanceOhm, c.InductanceH-coupled, coupled, coupled/ring.TimeS, c.CapacitanceF)
	path := filepath.Join(t.TempDir(), "option.cir")
	if err := os.WriteFile(path, []byte(netlist), 0o644); err != nil {
		t.Fatal(err)
	}
	log, err := exec.Command(program, "-b", path).CombinedOutput()
	if err != nil {
		t.Fatalf("ngspice: %v\n%s", err, log)
	}
	found := regexp.MustCompile(`(?m)^top\s+=\s+(\S+) at=\s+(\S+)`).FindStringSubmatch(string(log))
	low := regexp.MustCompile(`(?m)^vdb\(out\) = (\S+)`).FindStringSubmatch(string(log))
	if found == nil || low == nil {
		t.Fatalf("ngspice says\n%s", log)
	}
	top, _ := strconv.ParseFloat(found[1], 64)
	hz, _ := strconv.ParseFloat(found[2], 64)
	at100, _ := strconv.ParseFloat(low[1], 64)
	if math.Abs(hz/o.Peak.Value-1) > 2e-4 || math.Abs(hz/3800-1) > 5e-4 {
		t.Errorf("ngspice has the peak at %g Hz, the option at %g Hz, wanted were 3800 Hz", hz, o.Peak.Value)
	}
	if want := o.Level.Value + o.PeakDB.Value; math.Abs(top-want) > 2e-3 {
		t.Errorf("ngspice has %.4f dB at the peak, the option %.4f dB", top, want)
	}
	for _, p := range o.Response {
		if math.Abs(p.FrequencyHz-100) < 2 && math.Abs(p.LevelDB.Value-at100) > 0.01 {
			t.Errorf("ngspice has %.4f dB at 100 Hz, the option %.4f dB", at100, p.LevelDB.Value)
		}
	}
}

// Coils that were made by other exponents show them: L as N^2.1 and C as N^-1, which
// the laws do not assume.
func TestExponentsAreFitted(t *testing.T) {
	var coils []Coil
	for i, n := range []int{5000, 7000, 10000} {
		c := measuredCircuit
		p := planOf(t, "AWG 43", n)
		shape, err := p.AirPerTurn2H(float64(n), winding.Packing)
		if err != nil {
			t.Fatal(err)
		}
		c.InductanceH = 4e-8 * math.Pow(float64(n), 2.1) * math.Sqrt(shape/50e-9)
		c.CapacitanceF *= math.Pow(float64(n)/7000, -1.0)
		c.ResistanceOhm = 1.03 * p.OhmAt(float64(n), winding.Packing, 20)
		coils = append(coils, Coil{Name: fmt.Sprint(i), Plan: p, Celsius: 20,
			Fitted: stated{c, [3]float64{0.003, 0.003, 0.01}}})
	}
	s := planned(t, Request{Coils: coils, Guitar: guitar(t), Wish: Wish{Turns: 8000}, SameReel: true})
	for _, l := range s.Laws {
		want := map[string]float64{"L turns": 2.1, "C turns": -1}[l.Of+" "+l.With]
		switch {
		case want == 0:
		case !l.Fitted.Known() || !(l.Fitted.U95 < l.Assumed.U95) || math.Abs(l.Fitted.Value-want) > l.Fitted.U95:
			t.Errorf("%s with %s: %+v, it was made with %g", l.Of, l.With, l.Fitted, want)
		case math.Abs(l.Fitted.Value-want) > math.Abs(l.Assumed.Value-want):
			t.Errorf("%s with %s: %+v is further off than the law", l.Of, l.With, l.Fitted)
		}
	}
	one := planned(t, Request{Coils: coils[:1], Guitar: guitar(t), Wish: Wish{Turns: 8000}})
	for _, l := range one.Laws {
		if l.Fitted.Known() {
			t.Errorf("one coil has fitted %+v", l)
		}
	}
}

// What cannot be had is said with its reason; what is wrong with the coils is an error.
func TestRefusals(t *testing.T) {
	for want, wish := range map[string]Wish{
		"out of reach":     {Resistance: new(resistance(t, "1"))},
		"the bobbin holds": {Inductance: henry(t, "60H")},
	} {
		s := planned(t, Request{Coils: []Coil{measuredCoil(t)}, Guitar: guitar(t), Wish: wish})
		if len(s.Options) > 0 || len(s.Refused) == 0 {
			t.Fatalf("%d options", len(s.Options))
		}
		for _, r := range s.Refused {
			if !strings.Contains(r.Why, want) {
				t.Errorf("%q, want one with %q", r.Why, want)
			}
		}
	}
	for want, spoil := range map[string]func(*Request){
		"winding.turns is missing": func(q *Request) { q.Coils[0].Plan.Turns = 0 },
		"winding.grade is missing": func(q *Request) { q.Coils[0].Plan.Grade = 0 },
		"different bobbins": func(q *Request) {
			other := measuredCoil(t)
			other.Plan.HeightM *= 1.1
			q.Coils = append(q.Coils, other)
		},
		"nothing is asked for": func(q *Request) { q.Wish = Wish{} },
		"wired for two":        func(q *Request) { q.Guitar.Wiring = "series" },
	} {
		q := Request{Coils: []Coil{measuredCoil(t)}, Guitar: guitar(t), Wish: Wish{Turns: 7000}}
		spoil(&q)
		if _, err := Plan(q); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one with %q", err, want)
		}
	}
	// A coil whose room is not stated lends its own depth, and that is said.
	c := measuredCoil(t)
	c.Plan.RoomM = 0
	s := planned(t, Request{Coils: []Coil{c}, Guitar: guitar(t), Wish: Wish{Turns: 7000}})
	if s.RoomFrom != "assumed" || !strings.Contains(strings.Join(s.Assumed, "\n"), "the room on the bobbin is not stated") {
		t.Errorf("room %g from %s, %q", s.RoomM, s.RoomFrom, s.Assumed)
	}
}
