package pair

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"flag"
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

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
)

const spiceDir = "../../testdata/spice"

var update = flag.Bool("update", false, "write what ngspice says anew")

// ladders is a pair of testdata/spice/pair_N.cir with the values that are in it.
type ladders struct {
	henry, ohm             [2]float64
	coupling, between, emf float64
	shorted                bool
	plate                  float64 // share of the plate below both
	metal                  float64
}

var worlds = []ladders{
	{[2]float64{2.05, 2.2}, [2]float64{3.95e3, 4.2e3}, 0.06, 28e-12, 0.985, false, 0, 14e-12},
	{[2]float64{2.6, 2.25}, [2]float64{4.6e3, 4.1e3}, -0.09, 16e-12, -0.93, true, 0, 22e-12},
	{[2]float64{1.5, 1.53}, [2]float64{3.1e3, 3.2e3}, 0.035, 40e-12, 1.004, false, 0.02, 9e-12},
}

// spiceTake is a take's voltage per volt of EMF as ngspice prints it.
type spiceTake struct {
	folder, name string
	hz           []float64
	v            []complex128
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func readTakes(data []byte) (takes []spiceTake) {
	r := csv.NewReader(bytes.NewReader(data))
	r.Comment = '#'
	number := func(text string) float64 { return must(strconv.ParseFloat(text, 64)) }
	for _, row := range must(r.ReadAll())[1:] {
		folder, name, _ := strings.Cut(row[0], "/")
		if n := len(takes); n == 0 || takes[n-1].folder != folder || takes[n-1].name != name {
			takes = append(takes, spiceTake{folder: folder, name: name})
		}
		t := &takes[len(takes)-1]
		t.hz, t.v = append(t.hz, number(row[1])), append(t.v, complex(number(row[2]), number(row[3])))
	}
	return takes
}

func tabulate(printed []byte) string {
	var out strings.Builder
	out.WriteString("# what ngspice prints of the netlist (.ac): voltage per volt of the first coil's EMF\n" +
		"take,hz,re,im\n")
	take := ""
	lines := bufio.NewScanner(bytes.NewReader(printed))
	for lines.Scan() {
		field := strings.Fields(lines.Text())
		switch {
		case len(field) > 1 && field[0] == "take":
			take = strings.Join(field[1:], " ")
		case len(field) == 4 && field[0][0] >= '0' && field[0][0] <= '9':
			fmt.Fprintf(&out, "%s,%s,%s,%s\n", take, field[1], field[2], field[3])
		}
	}
	return out.String()
}

// The tables are ngspice's output for the netlists beside them.
func TestTablesOfPairs(t *testing.T) {
	program, err := exec.LookPath("ngspice")
	if err != nil {
		if testing.Short() {
			t.Skip("ngspice is not installed")
		}
		t.Fatal("ngspice is not installed: run 'make deps', or the tests with -short")
	}
	for i := range worlds {
		name := filepath.Join(spiceDir, fmt.Sprintf("pair_%d", i+1))
		table := tabulate(must(exec.CommandContext(t.Context(), program, "-b", name+".cir").Output()))
		if *update {
			if err := os.WriteFile(name+".csv", []byte(table), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		fresh, kept := readTakes([]byte(table)), readTakes(must(os.ReadFile(name+".csv")))
		if len(kept) != 12 || len(fresh) != 12 {
			t.Fatalf("%s: %d takes, ngspice prints %d, want 12", name, len(kept), len(fresh))
		}
		for k, take := range kept {
			for p, v := range take.v {
				if cmplx.Abs(fresh[k].v[p]-v) > 1e-8*cmplx.Abs(v) {
					t.Fatalf("%s, %s: ngspice prints %v, kept is %v", name, take.name, fresh[k].v[p], v)
				}
			}
		}
	}
}

// draw is the request of a world whose parts are within their tolerances of what is
// stated, with noise 70 dB below the plateau of one coil at 1 kHz, through a sound card
// with a polarity and a roll-off of its own.
func (w ladders) draw(takes []spiceTake, seed uint64, use func(spiceTake) bool) Request {
	random := rand.New(rand.NewPCG(seed, 16))
	stated := func(truth, limit float64) float64 { return truth / (1 + limit*(2*random.Float64()-1)) }
	farad := func(truth, limit float64) *quantity.Capacitance {
		c := must(quantity.ParseCapacitance(fmt.Sprintf("%.6gp %g%%", stated(truth, limit)*1e12, 100*limit)))
		return &c
	}
	fixtureC, added := farad(70e-12, 0.05), farad(466.9e-12, 0.01)
	fixtureR := must(quantity.ParseResistance(fmt.Sprintf("%.6gk 1%%", stated(1e6, 0.01)/1e3)))
	celsius := 20.0
	q := Request{Name: "pair"}
	for i := range q.Coils {
		dcr := must(quantity.ParseResistance(fmt.Sprintf("%.6g@20C 0.5%%", stated(w.ohm[i], 0.005))))
		q.Coils[i] = capture.Coil{Name: []string{"screws", "slugs"}[i], DCR: &dcr, CelsiusAtTakes: &celsius}
		q.Start[i] = circuit.Coil{InductanceH: w.henry[i] * 1.04, ResistanceOhm: w.ohm[i], CapacitanceF: 130e-12}
	}
	cornerHz, gain := 30e3+20e3*random.Float64(), -0.2
	for _, s := range takes {
		if s.folder == "guitar" || use != nil && !use(s) {
			continue
		}
		c := circuit.PairConnection{Reversed: strings.HasSuffix(s.name, "reversed"), Shorted: w.shorted}
		switch {
		case s.folder == "second":
			c.Wiring = circuit.SecondAlone
		case strings.HasPrefix(s.name, "series"):
			c.Wiring = circuit.PairInSeries
		case strings.HasPrefix(s.name, "parallel"):
			c.Wiring = circuit.PairInParallel
		}
		t := Take{Take: joint.Take{Name: s.name, Response: &response.Response{VarianceDoF: 100}}, Folder: s.folder,
			Connection: c, Place: OverBoth}
		t.Load.FixtureC, t.Load.FixtureR = fixtureC, &fixtureR
		if s.name == "loaded" {
			t.Load.AddedC = added
		}
		delay, level := 2e-5*random.Float64(), math.Exp(0.0005*random.NormFloat64())
		noise := math.Abs(gain) * math.Pow(10, -70.0/20)
		for k, hz := range s.hz {
			u := noise * math.Sqrt(1000/hz)
			card := complex(gain*level, 0) / complex(1, hz/cornerHz)
			h := s.v[k]*card*cmplx.Rect(1, -2*math.Pi*hz*delay) +
				complex(u/math.Sqrt2*random.NormFloat64(), u/math.Sqrt2*random.NormFloat64())
			r := t.Response
			r.FrequencyHz, r.H, r.Variance = append(r.FrequencyHz, hz), append(r.H, h), append(r.Variance, u*u)
		}
		q.Takes = append(q.Takes, t)
	}
	return q
}

// Pairs of ngspice, two coupled ladders with capacitances along them, which is not the
// circuit of the fit: U95 covers coupling, mutual inductance, the capacitance between, L and
// R of the halves, and their balance.
func TestPairsOfNgspice(t *testing.T) {
	n := 2
	if s := os.Getenv("COILSWEEP_SEEDS"); s != "" {
		n = must(strconv.Atoi(s))
	} else if testing.Short() {
		n = 1
	}
	covered, asked := map[string]int{}, map[string]int{}
	for number, w := range worlds {
		takes := readTakes(must(os.ReadFile(filepath.Join(spiceDir, fmt.Sprintf("pair_%d.csv", number+1)))))
		for i := range n {
			r, err := Fit(context.Background(), w.draw(takes, uint64(i), nil))
			if err != nil {
				t.Fatalf("pair %d, draw %d: %v", number+1, i, err)
			}
			count := func(what string, q fit.Quantity, truth float64) {
				if !q.Known() {
					t.Errorf("pair %d, draw %d: %s is not known: %s", number+1, i, what, q.Why)
					return
				}
				asked[what]++
				if math.Abs(q.Value-truth) <= q.U95 {
					covered[what]++
				}
				if i < 3 || math.Abs(q.Value-truth) > q.U95 {
					t.Logf("pair %d, draw %d, %s: %.6g ± %.2g, truly %.6g", number+1, i, what, q.Value, q.U95, truth)
				}
			}
			t.Logf("pair %d, draw %d: %+v, metal %v", number+1, i, r.Model, r.Ground)
			m := w.coupling * math.Sqrt(w.henry[0]*w.henry[1])
			count("coupling", r.Coupling, w.coupling)
			count("M", r.Mutual, m)
			count("C between", r.Between, w.between)
			count("turns × area", r.Balance.TurnsArea, math.Abs(w.emf))
			count("R ratio", r.Balance.Resistance, w.ohm[1]/w.ohm[0])
			count("L ratio", r.Balance.Inductance, w.henry[1]/w.henry[0])
			for k, h := range r.Halves {
				count("L", h.Inductance, w.henry[k])
				count("R", h.Resistance, w.ohm[k])
			}
			count("L in series", r.Connected[0].Inductance, w.henry[0]+w.henry[1]+2*m)
			if r.HumCancels == nil || *r.HumCancels != (w.emf > 0) {
				t.Errorf("pair %d, draw %d: hum cancels with leads swapped: %v", number+1, i, r.HumCancels)
			}
		}
	}
	for what, c := range asked {
		t.Logf("%s covered in %d of %d", what, covered[what], c)
		if least := leastOf(c, 0.95, 0.001); covered[what] < least {
			t.Errorf("%s covered in %d of %d: chance allows %d", what, covered[what], c, least)
		}
	}
}

// leastOf is how few of n may succeed, each with probability p, before chance is less
// than risk.
func leastOf(n int, p, risk float64) int {
	term, sum := math.Pow(1-p, float64(n)), 0.0
	for k := range n + 1 {
		if sum += term; sum > risk {
			return k
		}
		term *= float64(n-k) / float64(k+1) * p / (1 - p)
	}
	return n
}
