package joint

import (
	"bufio"
	"bytes"
	"encoding/csv"
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

	"gonum.org/v1/gonum/interp"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/response"
)

const spiceDir = "../../testdata/spice"

// spiceCoil is a coil of which testdata/spice/fit_NAME.cir is the netlist, with
// the values that are in it.
type spiceCoil struct {
	name              string
	henry, ohm, farad float64 // farad with the fixture
	form              string
}

var spiceCoils = []spiceCoil{
	{"lossfree", 2.2, 6.1e3, 120e-12 + 70e-12, "loss-free"},
	{"ringed", 3.1, 7.2e3, 105e-12 + 70e-12, "two rings"},
	{"strong", 6.2, 9.4e3, 95e-12 + 70e-12, "two rings"},
}

// spiceAdded are the added capacitors of the netlists as they are marked; what
// they are in truth is in the tables.
var spiceAdded = []string{"", "100p 1%", "220p 1%", "470p 1%", "1n 1%"}

// spiceLoad is ngspice's output for a coil with one load: voltage per volt of EMF
// over frequency, and the pole pair.
type spiceLoad struct {
	added string
	hz    []float64
	v     []complex128
	pole  complex128
	// re and im are 1/v between the points over the logarithm of the frequency: that
	// has no peak.
	re, im interp.NotAKnotCubic
}

// spline makes at ready.
func (l *spiceLoad) spline(t testing.TB) {
	t.Helper()
	var x, re, im []float64
	for k, v := range l.v {
		x, re, im = append(x, math.Log(l.hz[k])), append(re, real(1/v)), append(im, imag(1/v))
	}
	if err := errors.Join(l.re.Fit(x, re), l.im.Fit(x, im)); err != nil {
		t.Fatal(err)
	}
}

// at is v at hz, between the points.
func (l *spiceLoad) at(hz float64) complex128 {
	x := math.Log(hz)
	return 1 / complex(l.re.Predict(x), l.im.Predict(x))
}

func (l spiceLoad) resonance() (hz, q float64) {
	w := cmplx.Abs(l.pole)
	return w / (2 * math.Pi), w / (-2 * real(l.pole))
}

// readSpice reads fit_NAME.csv: rows added_f,hz,re,im with hz empty for a pole
// pair, of which the slowest counts.
func readSpice(t testing.TB, data []byte) []spiceLoad {
	t.Helper()
	r := csv.NewReader(bytes.NewReader(data))
	r.Comment = '#'
	rows := must(r.ReadAll())
	var loads []spiceLoad
	number := func(text string) float64 { return must(strconv.ParseFloat(text, 64)) }
	for _, row := range rows[1:] {
		if len(loads) == 0 || loads[len(loads)-1].added != row[0] {
			loads = append(loads, spiceLoad{added: row[0]})
		}
		l := &loads[len(loads)-1]
		value := complex(number(row[2]), number(row[3]))
		if row[1] == "" {
			if l.pole == 0 || cmplx.Abs(value) < cmplx.Abs(l.pole) {
				l.pole = value
			}
			continue
		}
		l.hz, l.v = append(l.hz, number(row[1])), append(l.v, value)
	}
	return loads
}

// tabulate turns ngspice's output for fit_NAME.cir into the table that is kept.
func tabulate(t *testing.T, printed []byte) string {
	t.Helper()
	var out strings.Builder
	out.WriteString("# what ngspice prints of the netlist: voltage per volt of EMF (.ac), and in the\n" +
		"# row without frequency the pole pair in 1/s (.pz)\nadded_f,hz,re,im\n")
	added := ""
	lines := bufio.NewScanner(bytes.NewReader(printed))
	for lines.Scan() {
		field := strings.Fields(lines.Text())
		switch {
		case len(field) == 2 && field[0] == "added":
			added = field[1]
		case len(field) == 4 && field[0][0] >= '0' && field[0][0] <= '9':
			fmt.Fprintf(&out, "%s,%s,%s,%s\n", added, field[1], field[2], field[3])
		case len(field) == 3 && strings.HasPrefix(field[0], "pole("):
			re, im, _ := strings.Cut(field[2], ",")
			if !strings.HasPrefix(im, "-") && strings.Trim(im, "0.e+") != "" {
				fmt.Fprintf(&out, "%s,,%s,%s\n", added, re, im)
			}
		}
	}
	return out.String()
}

// The tables are ngspice's output for the netlists beside them.
func TestTablesOfNgspice(t *testing.T) {
	program, err := exec.LookPath("ngspice")
	if err != nil {
		if testing.Short() {
			t.Skip("ngspice is not installed")
		}
		t.Fatal("ngspice is not installed: run 'make deps', or the tests with -short")
	}
	loads := map[string]int{"loss": 12, "pair": 12, "pairplate": 4, "input": 6, "ladder": 6}
	for _, c := range spiceCoils {
		loads[c.name] = len(spiceAdded)
	}
	for name, count := range loads {
		printed, err := exec.CommandContext(t.Context(), program, "-b",
			filepath.Join(spiceDir, "fit_"+name+".cir")).Output()
		if err != nil {
			t.Fatalf("ngspice: %v", err)
		}
		table := tabulate(t, printed)
		file := filepath.Join(spiceDir, "fit_"+name+".csv")
		if *updateReferences {
			if err := os.WriteFile(file, []byte(table), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		fresh, kept := readSpice(t, []byte(table)), readSpice(t, must(os.ReadFile(file)))
		if len(kept) != count || len(fresh) != count {
			t.Fatalf("%s: %d loads, ngspice prints %d, want %d", name, len(kept), len(fresh), count)
		}
		for i, l := range kept {
			if len(fresh[i].v) != len(l.v) || cmplx.Abs(fresh[i].pole-l.pole) > 1e-8*cmplx.Abs(l.pole) {
				t.Fatalf("%s: ngspice prints another load %s: %d points, pole %v, not %d and %v",
					name, l.added, len(fresh[i].v), fresh[i].pole, len(l.v), l.pole)
			}
			for k, v := range l.v {
				if cmplx.Abs(fresh[i].v[k]-v) > 1e-8*cmplx.Abs(v) || fresh[i].hz[k] != l.hz[k] {
					t.Errorf("%s, %s F, %g Hz: ngspice prints %v, kept is %v", name, l.added, l.hz[k], fresh[i].v[k],
						v)
				}
			}
		}
	}
}

// takes are what a recorder makes of the loads: unknown gain, polarity and
// delay, noise as of a default take, 70 dB below the plateau at 1 kHz. The
// capacitors are what they are, within 1 % of their marking.
func (c spiceCoil) takes(loads []spiceLoad, seed uint64) []Take {
	const gain, delayS, snrDB = -0.2, 2.1e-5, 70
	noise := math.Abs(gain) * math.Pow(10, -snrDB/20.0)
	random := rand.New(rand.NewPCG(seed, hash(c.name)))
	fixtureC, fixtureR := must(quantity.ParseCapacitance("70p 5%")), must(quantity.ParseResistance("1M 1%"))
	var takes []Take
	for i, l := range loads {
		t := Take{Name: fmt.Sprintf("take %d", i+1), Referenced: true, Ideal: true,
			Response: &response.Response{FrequencyHz: l.hz, VarianceDoF: 100, SNRdB: snrDB}}
		t.Load.FixtureC, t.Load.FixtureR = &fixtureC, &fixtureR
		if spiceAdded[i] != "" {
			added := must(quantity.ParseCapacitance(spiceAdded[i]))
			t.Load.AddedC = &added
		}
		for k, hz := range l.hz {
			u := noise * math.Sqrt(1000/hz)
			h := l.v[k]*cmplx.Rect(1, -2*math.Pi*hz*delayS)*gain +
				complex(u/math.Sqrt2*random.NormFloat64(), u/math.Sqrt2*random.NormFloat64())
			t.Response.H, t.Response.Variance = append(t.Response.H, h), append(t.Response.Variance, u*u)
		}
		takes = append(takes, t)
	}
	return takes
}

// Coils of ngspice, loss-free and with rings as mutual inductors, on a bare
// load and four marked capacitors: the resonance within 0.05 %, L (at low
// frequency), C and R within the capacitors' tolerance, whatever the rings
// take away at resonance.
func TestCoilsOfNgspice(t *testing.T) {
	for _, c := range spiceCoils {
		t.Run(c.name, func(t *testing.T) {
			loads := readSpice(t, must(os.ReadFile(filepath.Join(spiceDir, "fit_"+c.name+".csv"))))
			seeds := uint64(3)
			if testing.Short() {
				seeds = 1
			}
			for seed := range seeds {
				r, err := Analyse(t.Context(), capture.Coil{Name: c.name}, c.takes(loads, seed), fit.Options{})
				if err != nil {
					t.Fatal(err)
				}
				if len(r.Warnings) != 0 || math.Abs(r.Model.Chi2Reduced-1) > 0.15 {
					t.Errorf("%s, reduced chi-square %.3f, warnings %q", r.Model.Name, r.Model.Chi2Reduced, r.Warnings)
				}
				if r.Model.Name != c.form {
					t.Errorf("fitted as %s, want %s", r.Model.Name, c.form)
				}
				within := func(what string, q fit.Quantity, truth, limit float64) {
					t.Helper()
					if d := q.Value/truth - 1; !q.Known() || !(math.Abs(d) <= limit) {
						t.Errorf("%s is %.6g ± %.2g (%s), truly %.6g: off by %.3f %%", what, q.Value, q.U95, q.Why,
							truth, 100*d)
					} else {
						t.Logf("%s %.6g ± %.2g, truly %.6g: %+.4f %%", what, q.Value, q.U95, truth, 100*d)
					}
				}
				within("L", r.Inductance, c.henry, 0.01)
				within("C", r.Capacitance, c.farad, 0.01)
				within("R", r.Resistance, c.ohm, 0.01)
				for i, take := range r.Takes {
					hz, q := loads[i].resonance()
					within(take.Name+": resonance", take.Resonance, hz, 0.0005)
					within(take.Name+": Q", take.Q, q, 0.005)
				}
			}
		})
	}
}
