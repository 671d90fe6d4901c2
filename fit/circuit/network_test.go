package circuit

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

func atHz(hz float64) complex128 { return complex(0, 2*math.Pi*hz) }

func decibels(x complex128) float64 { return 20 * math.Log10(cmplx.Abs(x)) }

// readTable reads rows of a reference table: comma separated, '#' lines left
// out, the first line left being the header.
func readTable(t *testing.T, path string) [][]string {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	var rows [][]string
	lines := bufio.NewScanner(file)
	for lines.Scan() {
		if line := strings.TrimSpace(lines.Text()); line != "" && line[0] != '#' {
			rows = append(rows, strings.Split(line, ","))
		}
	}
	if err := lines.Err(); err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", path, len(rows), err)
	}
	return rows[1:]
}

func parse(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// Each reference circuit as formula and as network, against ngspice-39 .ac
// (testdata/spice/response.csv, made from the netlists beside it).
func TestTransferAgainstNgspice(t *testing.T) {
	cases := map[string]referenceCase{}
	for _, c := range referenceCases() {
		cases[c.name] = c
	}
	seen := 0
	for _, row := range readTable(t, "../../testdata/spice/response.csv") {
		c, ok := cases[row[0]]
		if !ok {
			t.Fatalf("case %q is not known", row[0])
		}
		hz, wantDB, wantDeg := parse(t, row[1]), parse(t, row[2]), parse(t, row[3])
		response, err := (Harness{Coils: []HarnessCoil{{Coil: c.coil, EMF: 1}},
			CableCapacitanceF: c.load.CapacitanceF, Amplifier: Load{ResistanceOhm: c.load.ResistanceOhm}}).Response()
		if err != nil {
			t.Fatal(err)
		}
		nodal, err := response.Transfer(atHz(hz))
		if err != nil {
			t.Fatal(err)
		}
		formula := c.coil.Transfer(atHz(hz), c.load)
		// The table has 6 decimals of a dB, 5 of a degree.
		if db := decibels(formula); math.Abs(db-wantDB) > 0.6e-6 {
			t.Errorf("%s %g Hz: %.7f dB, want %.7f", c.name, hz, db, wantDB)
		}
		if deg := cmplx.Phase(formula) * 180 / math.Pi; math.Abs(math.Remainder(deg-wantDeg, 360)) > 0.6e-5 {
			t.Errorf("%s %g Hz: %.6f degrees, want %.6f", c.name, hz, deg, wantDeg)
		}
		if d := cmplx.Abs(nodal/formula - 1); d > 1e-10 {
			t.Errorf("%s %g Hz: network and formula differ by %.2g", c.name, hz, d)
		}
		seen++
	}
	if seen < 70 {
		t.Errorf("only %d rows", seen)
	}
}

// Readings of a meter at three bare coils, ngspice-39 .ac
// (testdata/spice/meter.csv, 8 digits).
func TestMeterAgainstNgspice(t *testing.T) {
	cases := referenceCases()
	coils := map[string]Coil{"a": cases[0].coil, "b": cases[2].coil, "c": cases[4].coil}
	for _, row := range readTable(t, "../../testdata/spice/meter.csv") {
		hz := parse(t, row[1])
		m := coils[row[0]].Meter(hz, Open())
		z := coils[row[0]].Impedance(atHz(hz), Open())
		got := []float64{real(z), imag(z), m.SeriesInductanceH, m.SeriesResistanceOhm,
			m.ParallelInductanceH, m.ParallelResistanceOhm, m.QualityFactor, m.DissipationFactor}
		for i, name := range []string{"Re Z", "Im Z", "Ls", "Rs", "Lp", "Rp", "Q", "D"} {
			if want := parse(t, row[2+i]); relative(got[i], want) > 1e-6 {
				t.Errorf("coil %s %g Hz: %s %.9g, want %.9g", row[0], hz, name, got[i], want)
			}
		}
	}
}

// The capacitances of a reading, and both modes as one impedance: Ls =
// Lp/(1 + 1/Q^2), Rs = Rp/(1 + Q^2) and the like for C (any text on impedance
// measurement).
func TestMeterModes(t *testing.T) {
	// 3 kohm in series with 10 nF at 1 kHz: D = w R C.
	w := 2 * math.Pi * 1e3
	m := MeterReadingOf(complex(3e3, -1/(w*10e-9)), 1e3)
	d := w * 3e3 * 10e-9
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"Cs", m.SeriesCapacitanceF, 10e-9},
		{"Rs", m.SeriesResistanceOhm, 3e3},
		{"D", -m.DissipationFactor, d},
		{"Cp", m.ParallelCapacitanceF, 10e-9 / (1 + d*d)},
		{"Rp", m.ParallelResistanceOhm, 3e3 * (1 + 1/(d*d))},
	} {
		if relative(c.got, c.want) > 1e-13 {
			t.Errorf("%s: %g, want %g", c.name, c.got, c.want)
		}
	}
}

// A passive coil has Re Z >= 0 in the right half-plane, whatever its shares
// (positive-real: O. Brune, J. Math. Phys. 10 (1931) 191).
func TestPassive(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for range 3000 {
		coil, load := randomCoil(r, r.IntN(MaxRings+1))
		left := 1.0
		for _, ring := range coil.Rings {
			left -= ring.Share
		}
		coil.Cylinder = Ring{Share: left * r.Float64(), TimeS: math.Pow(10, -7+5*r.Float64())}
		s := complex(0, math.Pow(10, 1+6*r.Float64()))
		if r.IntN(2) == 0 {
			s += complex(math.Pow(10, 6*r.Float64()), 0)
		}
		z := coil.Impedance(s, load)
		if !(real(z) >= -1e-12*cmplx.Abs(z)) {
			t.Errorf("Re Z = %g of %v at s = %v: %+v", real(z), z, s, coil)
		}
	}
}

// solveNgspice is the voltage of a node at the frequencies of ".ac dec".
func solveNgspice(t *testing.T, n *Network, at Node, from, to float64, perDecade int) (hz []float64, v []complex128) {
	t.Helper()
	program, err := exec.LookPath("ngspice")
	if err != nil {
		if testing.Short() {
			t.Skip("ngspice is not installed")
		}
		t.Fatal("ngspice is not installed: apt-get install ngspice, or run the tests with -short")
	}
	var netlist bytes.Buffer
	if err := n.WriteNetlist(&netlist, Netlist{Title: t.Name()}); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	text := strings.TrimSuffix(netlist.String(), ".end\n") + fmt.Sprintf(
		".control\nset numdgt=14\nset wr_singlescale\nac dec %d %g %g\nwrdata out.txt v(%s)\n.endc\n.end\n",
		perDecade, from, to, n.nodes[at])
	if err := os.WriteFile(filepath.Join(dir, "net.cir"), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	run := exec.Command(program, "-b", "net.cir")
	run.Dir = dir
	log, err := run.CombinedOutput()
	data, readErr := os.ReadFile(filepath.Join(dir, "out.txt"))
	if readErr != nil {
		t.Fatalf("ngspice: %v\n%s\n%s", err, log, text)
	}
	for line := range strings.Lines(string(data)) {
		field := strings.Fields(line)
		if len(field) != 3 {
			t.Fatalf("ngspice wrote %q", line)
		}
		hz = append(hz, parse(t, field[0]))
		v = append(v, complex(parse(t, field[1]), parse(t, field[2])))
	}
	if len(hz) < perDecade {
		t.Fatalf("ngspice wrote %d lines", len(hz))
	}
	return hz, v
}

// randomHarness draws a guitar.
func randomHarness(r *rand.Rand) Harness {
	pick := func(values ...float64) float64 { return values[r.IntN(len(values))] }
	coil := func() HarnessCoil {
		c, _ := randomCoil(r, r.IntN(3))
		left := 0.8
		for i := range c.Rings {
			c.Rings[i].Share *= 0.4
			left -= c.Rings[i].Share
		}
		if r.IntN(2) == 0 {
			c.Cylinder = Ring{Share: left * 0.5 * r.Float64(), TimeS: math.Pow(10, -6+3*r.Float64())}
		}
		if r.IntN(2) == 0 {
			c.CoverTimeS = 2e-5 * r.Float64()
		}
		return HarnessCoil{Coil: c, EMF: 0.5 + r.Float64(), Reversed: r.IntN(3) == 0}
	}
	pot := func() Potentiometer {
		tapers := []Taper{Linear, Logarithmic, ReverseLogarithmic}
		return Potentiometer{ResistanceOhm: pick(250e3, 300e3, 500e3, 1e6), Taper: tapers[r.IntN(3)],
			Position: pick(0.3, 0.5, 0.8, 1, 0.05+0.9*r.Float64())}
	}
	h := Harness{
		Coils:             []HarnessCoil{coil()},
		Wiring:            Wiring(r.IntN(4)),
		CableCapacitanceF: 1e-9 * r.Float64(),
		Amplifier:         Load{ResistanceOhm: pick(470e3, 1e6, 10e3, math.Inf(1)), CapacitanceF: pick(0, 50e-12)},
	}
	if h.Wiring != OneCoil {
		h.Coils = append(h.Coils, coil())
		h.Coupling = 0.5*r.Float64() - 0.2
		h.BetweenF, h.GroundF, h.Lay = pick(0, 50e-12*r.Float64()), pick(0, 30e-12*r.Float64()), pick(-1, 0, 1)
		for _, ring := range h.Coils[0].Rings {
			h.Shared = append(h.Shared, 0.1*math.Sqrt(ring.Share)*r.Float64())
		}
		if h.Wiring == InSeries && r.IntN(2) == 0 {
			h.Junction = &Load{ResistanceOhm: pick(4.7e3, math.Inf(1)), CapacitanceF: pick(0, 10e-9)}
		}
	}
	if r.IntN(5) > 0 {
		v := pot()
		h.Volume = &v
		if r.IntN(2) == 0 {
			h.Bleed = &Bleed{CapacitanceF: pick(470e-12, 1e-9), ParallelOhm: pick(0, 150e3), SeriesOhm: pick(0, 130e3)}
		}
	}
	if r.IntN(5) > 0 {
		h.Tone = &Tone{Pot: pot(), CapacitanceF: pick(10e-9, 22e-9, 47e-9), AtOutput: r.IntN(2) == 0,
			OpenAtFull: r.IntN(4) == 0}
		h.Tone.Pot.Position = pick(0, h.Tone.Pot.Position)
	}
	return h
}

// ngspice reads the netlist that the program writes and solves it by its own
// means.
func TestHarnessAgainstNgspice(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	worstDB, worstDeg := 0.0, 0.0
	for i := range 30 {
		h := randomHarness(r)
		n, out, err := h.Network()
		if err != nil {
			t.Fatalf("harness %d: %v", i, err)
		}
		response, err := h.Response()
		if err != nil {
			t.Fatalf("harness %d: %v", i, err)
		}
		hz, want := solveNgspice(t, n, out, 20, 20e3, 15)
		for k := range hz {
			got, err := response.Transfer(atHz(hz[k]))
			if err != nil {
				t.Fatal(err)
			}
			db := math.Abs(decibels(got) - decibels(want[k]))
			deg := math.Abs(cmplx.Phase(got/want[k])) * 180 / math.Pi
			worstDB, worstDeg = max(worstDB, db), max(worstDeg, deg)
			if !(db < 0.001) || !(deg < 0.01) {
				t.Errorf("harness %d at %g Hz: off ngspice by %g dB, %g degrees: %+v", i, hz[k], db, deg, h)
				break
			}
		}
	}
	t.Logf("largest difference from ngspice: %.2g dB, %.2g degrees", worstDB, worstDeg)
}

// The coils of a harness with nothing but a load are those of the formula;
// two equal coils without coupling are one of known L, R, C.
func TestHarnessAgainstFormula(t *testing.T) {
	coil := Coil{InductanceH: 2.4, ResistanceOhm: 3900, CapacitanceF: 80e-12,
		Rings:    []Ring{{0.1, 3e-5}, {0.05, 4e-4}},
		Cylinder: Ring{0.15, 2e-4}, CoverTimeS: 4e-6}
	load := Load{ResistanceOhm: 500e3, CapacitanceF: 600e-12}
	scaled := func(z float64) Coil {
		c := coil
		c.InductanceH *= z
		c.ResistanceOhm *= z
		c.CapacitanceF /= z
		return c
	}
	one := HarnessCoil{Coil: coil, EMF: 1}
	turned := one
	turned.Reversed = true
	for _, c := range []struct {
		name string
		h    Harness
		coil Coil
		gain complex128
	}{
		{"one", Harness{Coils: []HarnessCoil{one}}, coil, 1},
		{"one reversed", Harness{Coils: []HarnessCoil{turned}}, coil, -1},
		{"series", Harness{Coils: []HarnessCoil{one, one}, Wiring: InSeries}, scaled(2), 2},
		{"parallel", Harness{Coils: []HarnessCoil{one, one}, Wiring: InParallel}, scaled(0.5), 1},
		{"split", Harness{Coils: []HarnessCoil{one, one}, Wiring: Split}, coil, 1},
		{"series out of phase", Harness{Coils: []HarnessCoil{one, turned}, Wiring: InSeries}, coil, 0},
	} {
		c.h.CableCapacitanceF = load.CapacitanceF
		c.h.Amplifier.ResistanceOhm = load.ResistanceOhm
		response, err := c.h.Response()
		if err != nil {
			t.Fatal(err)
		}
		for _, hz := range []float64{20, 440, 2000, 3500, 8000, 20e3} {
			got, err := response.Transfer(atHz(hz))
			if err != nil {
				t.Fatal(err)
			}
			want := c.gain * c.coil.Transfer(atHz(hz), load)
			// The cylinder's rings are good to 1e-6 of its share.
			if cmplx.Abs(got-want) > 1e-6*cmplx.Abs(c.coil.Transfer(atHz(hz), load)) {
				t.Errorf("%s at %g Hz: %v, want %v", c.name, hz, got, want)
			}
		}
		if c.gain == 0 {
			continue
		}
		f, q, ok := response.Resonance(100, 20e3)
		wf, wq, _ := c.coil.Resonance(load)
		if !ok || relative(f, wf) > 1e-6 || relative(q, wq) > 1e-6 {
			t.Errorf("%s: resonance %.9g Hz Q %.8g %v, want %.9g Q %.8g", c.name, f, q, ok, wf, wq)
		}
		p, over, ok := response.Peak(100, 20e3)
		wp, wover, _ := c.coil.Peak(load)
		if !ok || relative(p, wp) > 1e-6 || math.Abs(over-wover) > 1e-5 {
			t.Errorf("%s: peak %.9g Hz %.6f dB %v, want %.9g, %.6f", c.name, p, over, ok, wp, wover)
		}
	}
}

// Coupling k makes two equal coils in series L = 2 L1 (1 + k), in parallel
// L1 (1 + k)/2 (E. B. Rosa and F. W. Grover, Bulletin of the Bureau of
// Standards 8 (1912) 1); reversed, 1 - k.
func TestCoupledCoils(t *testing.T) {
	coil := Coil{InductanceH: 2, ResistanceOhm: 4e3}
	for _, c := range []struct {
		wiring   Wiring
		reversed bool
		henry    float64
		ohm      float64
	}{
		{InSeries, false, 4 * 1.3, 8e3},
		{InSeries, true, 4 * 0.7, 8e3},
		{InParallel, false, 1.3, 2e3},
		{InParallel, true, 0.7, 2e3},
	} {
		h := Harness{Coils: []HarnessCoil{{Coil: coil}, {Coil: coil, Reversed: c.reversed}},
			Wiring: c.wiring, Coupling: 0.3, Amplifier: Open()}
		n, out, err := h.Network()
		if err != nil {
			t.Fatal(err)
		}
		n.AddCurrentSource("meter", Ground, out, 1)
		a, err := NewAnalysis(n)
		if err != nil {
			t.Fatal(err)
		}
		if err := a.Solve(atHz(1000)); err != nil {
			t.Fatal(err)
		}
		m := MeterReadingOf(a.Voltage(out), 1000)
		if relative(m.SeriesInductanceH, c.henry) > 1e-12 || relative(m.SeriesResistanceOhm, c.ohm) > 1e-11 {
			t.Errorf("wiring %d reversed %v: %.14g H %.14g ohm, want %g H, %g ohm", c.wiring, c.reversed,
				m.SeriesInductanceH, m.SeriesResistanceOhm, c.henry, c.ohm)
		}
	}
}

// The poles of a network, found without the formula, are those of the coil;
// d1's are roots of its third-order polynomial, computed by NumPy: a pair of
// 3020.688 Hz, Q 3.211904, and a real one of 3407.656 Hz.
func TestPoles(t *testing.T) {
	d1 := referenceCases()[6]
	n, _, err := (Harness{Coils: []HarnessCoil{{Coil: d1.coil, EMF: 1}},
		CableCapacitanceF: d1.load.CapacitanceF, Amplifier: Load{ResistanceOhm: d1.load.ResistanceOhm}}).Network()
	if err != nil {
		t.Fatal(err)
	}
	a, err := NewAnalysis(n)
	if err != nil {
		t.Fatal(err)
	}
	poles, err := a.Poles(1e6)
	if err != nil {
		t.Fatal(err)
	}
	if len(poles) != 3 {
		t.Fatalf("poles %v, want 3", poles)
	}
	for _, s := range poles {
		hz := cmplx.Abs(s) / (2 * math.Pi)
		if math.Abs(imag(s)) < 1 {
			if math.Abs(hz-3407.656) > 0.6e-3 {
				t.Errorf("real pole of %.4f Hz", hz)
			}
			continue
		}
		if q := cmplx.Abs(s) / (-2 * real(s)); math.Abs(hz-3020.688) > 0.6e-3 || math.Abs(q-3.211904) > 0.6e-6 {
			t.Errorf("pair of %.4f Hz, Q %.7f", hz, q)
		}
	}
}

func TestWheatstoneBridge(t *testing.T) {
	// 1 V across a bridge of 1k/2k and 3k/4k with 5k between the middles:
	// solved by hand with Kirchhoff's laws in rational numbers:
	// (1/1k+1/2k+1/5k) x - y/5k = 1/1k, -x/5k + (1/3k+1/4k+1/5k) y = 1/3k
	// -> 1.7x - 0.2y = 1, -0.2x + 47/60 y = 1/3.
	var n Network
	top, x, y := n.Node("top"), n.Node("x"), n.Node("y")
	n.AddVoltageSource("in", top, Ground, 1)
	n.AddResistor("1", top, x, 1e3)
	n.AddResistor("2", x, Ground, 2e3)
	n.AddResistor("3", top, y, 3e3)
	n.AddResistor("4", y, Ground, 4e3)
	n.AddResistor("5", x, y, 5e3)
	a, err := NewAnalysis(&n)
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Solve(0); err != nil {
		t.Fatal(err)
	}
	det := 1.7*47/60 - 0.04
	wantX, wantY := (47.0/60+0.2/3)/det, (1.7/3+0.2)/det
	if cmplx.Abs(a.Voltage(x)-complex(wantX, 0)) > 1e-14 || cmplx.Abs(a.Voltage(y)-complex(wantY, 0)) > 1e-14 {
		t.Errorf("got %v, %v, want %g, %g", a.Voltage(x), a.Voltage(y), wantX, wantY)
	}
	current := -((1-wantX)/1e3 + (1-wantY)/3e3)
	if got := a.solution[len(n.nodes)-1]; cmplx.Abs(got-complex(current, 0)) > 1e-17 {
		t.Errorf("source current %v, want %g", got, current)
	}
}

func TestVoltageSlope(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	for range 20 {
		response, err := randomHarness(r).Response()
		if err != nil {
			t.Fatal(err)
		}
		s := complex(0, 2*math.Pi*math.Pow(10, 2+2*r.Float64()))
		h, slope := response.transferSlope(s)
		step := 1e-4 * s
		above, _ := response.Transfer(s + step)
		below, _ := response.Transfer(s - step)
		central := (above - below) / (2 * step)
		if cmplx.Abs(slope-central) > 1e-6*(cmplx.Abs(slope)+cmplx.Abs(h/s)) {
			t.Errorf("slope %v, central difference %v", slope, central)
		}
	}
}

func TestNetworkMistakes(t *testing.T) {
	for _, c := range []struct {
		name  string
		build func(n *Network)
		want  string
	}{
		{"empty", func(n *Network) {}, "empty"},
		{"negative", func(n *Network) { n.AddResistor("1", n.Node("a"), Ground, -1) }, "resistance of 1 is -1 ohm"},
		{"not a number", func(n *Network) { n.AddCapacitor("1", n.Node("a"), Ground, math.NaN()) }, "capacitance of 1"},
		{"infinite", func(n *Network) { n.AddInductor("1", n.Node("a"), Ground, math.Inf(1)) }, "inductance of 1"},
		{"twice", func(n *Network) {
			n.AddResistor("ab", n.Node("a"), Ground, 1)
			n.AddResistor("AB", n.Node("a"), Ground, 1)
		}, "two parts of kind R are called AB"},
		{"floating", func(n *Network) {
			n.AddResistor("1", n.Node("a"), Ground, 1)
			n.AddResistor("2", n.Node("b"), n.Node("c"), 1)
		}, "node b has no path to ground"},
		{"loop", func(n *Network) {
			n.AddVoltageSource("1", n.Node("a"), Ground, 1)
			n.AddResistor("2", n.Node("a"), Ground, 0)
		}, "R2 closes a loop"},
		{"coupling to nothing", func(n *Network) {
			n.AddInductor("1", n.Node("a"), Ground, 1)
			n.Couple("1", "1", "2", 0.1)
		}, "no inductors 1 and 2"},
		{"coupling too close", func(n *Network) {
			n.AddInductor("1", n.Node("a"), Ground, 1)
			n.AddInductor("2", n.Node("a"), Ground, 1)
			n.Couple("1", "1", "2", 1.1)
		}, "factor 1.1"},
		{"coupling impossible", func(n *Network) {
			for _, l := range []string{"1", "2", "3"} {
				n.AddInductor(l, n.Node("a"), Ground, 1)
			}
			n.Couple("12", "1", "2", -0.9)
			n.Couple("23", "2", "3", -0.9)
			n.Couple("13", "1", "3", -0.9)
		}, "contradict"},
		{"name", func(n *Network) { n.AddResistor("1\n.end", n.Node("a"), Ground, 1) }, "part name"},
		{"node name", func(n *Network) { n.AddResistor("1", n.Node("a b"), Ground, 1) }, "node name"},
		{"no such node", func(n *Network) { n.AddResistor("1", Node(7), Ground, 1) }, "node 7"},
	} {
		var n Network
		c.build(&n)
		_, err := NewAnalysis(&n)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %q", c.name, err, c.want)
		}
	}
	// A loss-free tuned circuit, driven at resonance through a current source.
	var n Network
	a := n.Node("a")
	n.AddCurrentSource("1", Ground, a, 1)
	n.AddInductor("1", a, Ground, 1)
	n.AddCapacitor("1", a, Ground, 1)
	analysis, err := NewAnalysis(&n)
	if err != nil {
		t.Fatal(err)
	}
	if err := analysis.Solve(complex(0, 1)); !errors.Is(err, ErrNoSolution) {
		t.Errorf("at a loss-free resonance: %v, voltage %v", err, analysis.Voltage(a))
	}
}

func TestHarnessMistakes(t *testing.T) {
	good := func() Harness {
		return Harness{Coils: []HarnessCoil{{Coil: Coil{InductanceH: 2, ResistanceOhm: 6e3, CapacitanceF: 1e-10},
			EMF: 1}},
			Amplifier: Load{ResistanceOhm: 1e6}}
	}
	for _, c := range []struct {
		change func(h *Harness)
		want   string
	}{
		{func(h *Harness) {}, ""},
		{func(h *Harness) { h.Wiring = InSeries }, "wants 2"},
		{func(h *Harness) { h.Coils[0].InductanceH = 0 }, "inductance of 0 H"},
		{func(h *Harness) { h.Coils[0].ResistanceOhm = -1 }, "resistance of coil1 is -1 ohm"},
		{func(h *Harness) { h.Coils[0].Rings = []Ring{{0.6, 1e-5}, {0.5, 1e-4}} }, "add up to 1.1"},
		{func(h *Harness) { h.Coils[0].Cylinder = Ring{-0.1, 1e-5} }, "eddy share -0.1"},
		{func(h *Harness) { h.Amplifier = Load{} }, "amplifier input of 0 ohm"},
		{func(h *Harness) { h.CableCapacitanceF = math.NaN() }, "capacitance of cable is NaN"},
		{func(h *Harness) { h.Coils[0].CoverTimeS = -1e-6 }, "cover time of -1e-06"},
		{func(h *Harness) { h.Coils[0].EMF = math.Inf(1) }, "EMF"},
		{func(h *Harness) { h.Bleed = &Bleed{CapacitanceF: 1e-9} }, "without a volume pot"},
		{func(h *Harness) { h.Volume = &Potentiometer{500e3, Linear, 1.2} }, "position 1.2"},
		{func(h *Harness) { h.Tone = &Tone{Pot: Potentiometer{500e3, Taper{}, 1}} }, "taper"},
		{func(h *Harness) {
			h.Coils = append(h.Coils, h.Coils[0])
			h.Wiring, h.Coupling = InSeries, 0.5
			h.Coils[0].Rings = []Ring{{0.9, 1e-5}}
		}, "contradict"},
	} {
		h := good()
		c.change(&h)
		_, err := h.Response()
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("error %v, want %q", err, c.want)
		}
	}
	h := good()
	h.Volume = &Potentiometer{500e3, Logarithmic, 0}
	response, err := h.Response()
	if err != nil {
		t.Fatal(err)
	}
	if v, err := response.Transfer(atHz(1e3)); err != nil || v != 0 {
		t.Errorf("volume at 0: %v, %v", v, err)
	}
	if _, _, ok := response.Peak(100, 1e4); ok {
		t.Error("volume at 0 has a peak")
	}
}

func TestTaper(t *testing.T) {
	for _, taper := range []Taper{Linear, Logarithmic, ReverseLogarithmic, {HalfWay: 0.3}} {
		for _, c := range [][2]float64{{0, 0}, {0.5, taper.HalfWay}, {1, 1}, {-1, 0}, {2, 1}} {
			if got := taper.Ratio(c[0]); math.Abs(got-c[1]) > 1e-14 {
				t.Errorf("%v at %g: %g, want %g", taper, c[0], got, c[1])
			}
		}
		last := 0.0
		for x := 0.01; x <= 1; x += 0.01 {
			if r := taper.Ratio(x); r <= last {
				t.Errorf("%v falls at %g", taper, x)
			} else {
				last = r
			}
		}
	}
	// A logarithmic law gives equal steps in dB once the constant part is
	// small: ratio of successive increments is constant.
	l := Logarithmic
	a, b, c := l.Ratio(0.3)-l.Ratio(0.2), l.Ratio(0.4)-l.Ratio(0.3), l.Ratio(0.5)-l.Ratio(0.4)
	if relative(b/a, c/b) > 1e-12 {
		t.Errorf("increments %g, %g, %g", a, b, c)
	}
	for _, c := range []struct {
		text  string
		taper Taper
		ok    bool
	}{
		{"linear", Linear, true}, {"LOG", Logarithmic, true}, {"audio", Logarithmic, true},
		{"reverse-log", ReverseLogarithmic, true}, {"A", Taper{}, false}, {"b", Taper{}, false},
		{"", Taper{}, false}, {"audio?", Taper{}, false},
	} {
		taper, err := ParseTaper(c.text)
		if taper != c.taper || (err == nil) != c.ok {
			t.Errorf("%q: %v, %v", c.text, taper, err)
		}
	}
	p := Potentiometer{500e3, Logarithmic, 0.5}
	if math.Abs(p.Below()-75e3) > 1e-6 || math.Abs(p.Above()-425e3) > 1e-6 {
		t.Errorf("500 kohm log half way: %g below, %g above", p.Below(), p.Above())
	}
}

func BenchmarkNetworkSolve(b *testing.B) {
	coil, load := benchmarkCoil("rings")
	h := Harness{Coils: []HarnessCoil{{Coil: coil, EMF: 1}, {Coil: coil, EMF: 1}}, Wiring: InSeries, Coupling: 0.2,
		Volume:            &Potentiometer{500e3, Logarithmic, 0.8},
		Tone:              &Tone{Pot: Potentiometer{500e3, Logarithmic, 1}, CapacitanceF: 22e-9},
		CableCapacitanceF: load.CapacitanceF, Amplifier: Load{ResistanceOhm: 1e6}}
	response, err := h.Response()
	if err != nil {
		b.Fatal(err)
	}
	b.Run("solve", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := response.Transfer(complex(0, 2e4)); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("peak", func(b *testing.B) {
		for b.Loop() {
			response.Peak(100, 20e3)
		}
	})
	b.Run("build", func(b *testing.B) {
		for b.Loop() {
			if _, err := h.Response(); err != nil {
				b.Fatal(err)
			}
		}
	})
}
