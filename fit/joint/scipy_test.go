package joint

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/leastsquares"
	"coilsweep/fit/response"
)

var (
	updateReferences = flag.Bool("update", false, "write what SciPy and ngspice say anew")
	dumpTo           = flag.String("dump", "", "folder to write the problems into that SciPy is given")
)

const scipyDir = "../../testdata/scipy"

// parityProblem is a joint problem for both programs, with one start.
type parityProblem struct {
	name  string
	joint *joint
	start []float64
}

// ringedCoil has the eddy branch of testdata/spice/d1.cir.
func ringedCoil() trueCoil {
	c := trueCoil{henry: 4.4, ohm: 8200, farad: 100e-12}
	c.ring(0.2, 3000)
	return c
}

// fourTakes are takes with parts a little off what they are said to be: points
// on a logarithmic grid, white noise 70 dB below the plateau.
func fourTakes(coil trueCoil, points int, referenced bool) []Take {
	const trueLoad, trueFixture, noise = 1.004e6, 66e-12, 3e-4
	random := rand.New(rand.NewPCG(5, 1))
	var takes []Take
	for i, added := range []struct {
		stated  string
		true    float64
		gain    float64
		delayUs float64
	}{{"", 0, -0.2, 13}, {"220p 1%", 221.3e-12, -0.2, 13}, {"470p 1%", 466.9e-12, -0.21, 13},
		{"1n 1%", 1.003e-9, -0.2, 4}} {
		t := Take{Name: fmt.Sprintf("take%d", i+1), Referenced: referenced, Ideal: true,
			Response: &response.Response{VarianceDoF: 100, SNRdB: 70}}
		c, r := must(quantity.ParseCapacitance("65p 5%")), must(quantity.ParseResistance("1M 1%"))
		t.Load.FixtureC, t.Load.FixtureR = &c, &r
		if added.stated != "" {
			c := must(quantity.ParseCapacitance(added.stated))
			t.Load.AddedC = &c
		}
		for k := range points {
			hz := 25 * math.Pow(19500.0/25, float64(k)/float64(points-1))
			h := complex(added.gain, 0) * coil.voltage(hz, trueLoad, trueFixture+added.true) *
				cmplx.Exp(complex(0, -2*math.Pi*hz*added.delayUs*1e-6))
			if !referenced {
				// High-passes of output and input at 1.2 and 3 Hz, and a
				// low-pass far above.
				h *= complex(0, hz) / complex(1.2, hz) * (complex(0, hz) / complex(3, hz)) / complex(1, hz/90e3)
			}
			u := noise * math.Abs(added.gain)
			h += complex(u/math.Sqrt2*random.NormFloat64(), u/math.Sqrt2*random.NormFloat64())
			t.Response.FrequencyHz = append(t.Response.FrequencyHz, hz)
			t.Response.H = append(t.Response.H, h)
			t.Response.Variance = append(t.Response.Variance, u*u)
		}
		takes = append(takes, t)
	}
	return takes
}

// solidCoil has a solid cylinder of share 0.2 and time constant 1 ms as a
// chain of rings: poles at the zeros of J0 squared, shares 4 over them
// (expansion of the quotient of Bessel functions; M. Abramowitz and I. A.
// Stegun, 1964, 9.5).
func solidCoil() trueCoil {
	c := trueCoil{henry: 4.4, ohm: 8200, farad: 100e-12}
	for n := range 40 {
		zero := (float64(n) + 0.75) * math.Pi
		for range 5 {
			zero += math.J0(zero) / math.J1(zero)
		}
		c.ring(0.2*4/(zero*zero), zero*zero/(2*math.Pi*1e-3))
	}
	return c
}

func newParityProblem(name string, form fit.Form, takes []Take, know knowledge) parityProblem {
	parts := gatherParts(takes)
	coil := startCoils(takes, parts, know)[0]
	j := newJoint(form, request{takes: takes, parts: parts, know: know}, coil)
	loss := circuit.Ring{Share: 0.1, TimeS: 1 / (2 * math.Pi * 4000)}
	for range form.Rings {
		coil.Rings = append(coil.Rings, loss)
		loss.TimeS /= 4
	}
	if form.Cylinder {
		coil.Cylinder = circuit.Ring{Share: 0.1, TimeS: 5e-4}
	}
	coil.CoverTimeS = 1 / (2 * math.Pi * coverCornerHz)
	return parityProblem{name, j, j.startVector(coil)}
}

// oneModel is the problem that speed is compared on.
func oneModel() parityProblem {
	return newParityProblem("one_ring", fit.Form{Rings: 1}, fourTakes(ringedCoil(), 800, false), knowledge{})
}

func parityProblems() []parityProblem {
	covered := demoCoil()
	covered.coverHz = 25000
	// Another fixture, an added resistor, a meter whose scale is in all parts.
	b := bench{coil: covered, snrDB: 60, seed: 6}
	mixed := b.takes(
		load{fixtureC: "65p 5%", fixtureR: "1M 1%"},
		load{fixtureC: "65p 5%", fixtureR: "1M 1%", addedC: "330p 1%", addedR: "220k 1%"},
		load{fixtureC: "130p 5%", fixtureR: "1M 1%", addedC: "470p 1%"})
	resistance := &part{nominal: 7870, u: 0.003}
	return []parityProblem{
		oneModel(),
		newParityProblem("loss_free", fit.Form{}, fourTakes(trueCoil{henry: 2.2, ohm: 6000, farad: 120e-12}, 200, true),
			knowledge{}),
		newParityProblem("two_rings_cover", fit.Form{Rings: 2, Cover: true}, mixed,
			knowledge{resistance: resistance, scaleU: 0.004}),
		newParityProblem("cylinder", fit.Form{Cylinder: true}, fourTakes(solidCoil(), 200, true), knowledge{
			inductance: &part{nominal: 4.85, u: 0.01}, meter: &meterInductance{hz: 1000, parallel: true}}),
	}
}

// names of the parameters, for a program that does not know their order.
func (p parityProblem) names() []string {
	j := p.joint
	names := make([]string, j.n)
	names[atL], names[atR], names[atC] = "ln L", "ln R", "ln C"
	at := j.firstRing
	for i := range j.form.Rings {
		names[at], names[at+1] = fmt.Sprintf("piece %d", i+1), fmt.Sprintf("ln t %d", i+1)
		at += 2
	}
	if j.form.Cylinder {
		names[at], names[at+1] = "piece cylinder", "ln t cylinder"
		at += 2
	}
	if j.form.Cover {
		names[at] = "ln t cover"
	}
	for i := range j.parts.parts {
		names[j.firstPart+i] = fmt.Sprintf("ln part %d", i)
		if c := j.lossOf[i]; c >= 0 {
			names[c] = fmt.Sprintf("loss %d", i)
		}
	}
	for i := j.firstDrift; i < j.scale; i++ {
		names[i] = fmt.Sprintf("drift %d", i-j.firstDrift)
	}
	if j.firstCorner > j.scale {
		names[j.scale] = "scale"
	}
	for i := j.firstCorner; i < j.firstEdge; i++ {
		names[i] = fmt.Sprintf("ln corner %d", i-j.firstCorner+1)
	}
	for i := j.firstEdge; i < j.firstTake; i++ {
		names[i] = fmt.Sprintf("edge %d", i-j.firstEdge+1)
	}
	for i := range j.takes {
		names[j.gain(i)], names[j.delay(i)] = fmt.Sprintf("ln gain %d", i), fmt.Sprintf("delay %d", i)
	}
	return names
}

func (p parityProblem) dump() []byte {
	type object = map[string]any
	j, names := p.joint, p.names()
	var takes, priors []object
	for i, t := range j.takes {
		var re, im []float64
		for _, h := range t.Response.H {
			re, im = append(re, real(h)), append(im, imag(h))
		}
		at := j.parts.ofTake[i]
		takes = append(takes, object{
			"frequency_hz": t.Response.FrequencyHz, "re": re, "im": im, "variance": t.Response.Variance,
			"referenced": t.Referenced, "polarity": j.polarity[i],
			"load": at.load, "added_r": at.addedR, "added_c": at.addedC, "fixture_c": at.fixtureC,
		})
	}
	for _, prior := range j.priors {
		terms := object{}
		for k, c := range prior.columns {
			if c >= 0 {
				terms[names[c]] = prior.factors[k]
			}
		}
		o := object{"terms": terms, "mean": prior.mean, "u": prior.u}
		if m := prior.meter; m != nil {
			o["meter"] = object{"hz": m.hz, "parallel": m.parallel}
		}
		priors = append(priors, o)
	}
	return must(json.Marshal(object{
		"rings": j.form.Rings, "cylinder": j.form.Cylinder, "cover": j.form.Cover,
		"takes": takes, "priors": priors, "parameters": names, "start": p.start,
	}))
}

// scipyMinimum is the output of testdata/scipy/joint.py.
type scipyMinimum struct {
	MadeWith   string             `json:"made_with"`
	SumSquares float64            `json:"sum_squares"`
	Value      map[string]float64 `json:"value"`
	Parameters []string           `json:"parameters"`
	Covariance [][]float64        `json:"covariance"`
}

// pythonWithSciPy is a Python that has SciPy; "" where there is none.
func pythonWithSciPy() string {
	for _, python := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(python, "-c", "import scipy").Run() == nil {
			return python
		}
	}
	return ""
}

// The same data and priors, with the model written a second time in NumPy and
// minimised by SciPy's least_squares (MINPACK): the same minimum. The reference
// files are SciPy's own output.
func TestAgainstSciPy(t *testing.T) {
	python := ""
	if !testing.Short() {
		if python = pythonWithSciPy(); python == "" {
			t.Error("there is no python3 with SciPy: run 'make deps', or the tests with -short")
		}
	}
	for _, p := range parityProblems() {
		t.Run(p.name, func(t *testing.T) {
			if *dumpTo != "" {
				if err := os.WriteFile(filepath.Join(*dumpTo, p.name+".json"), p.dump(), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			file := filepath.Join(scipyDir, p.name+".json")
			if python != "" {
				problem := filepath.Join(t.TempDir(), "problem.json")
				if err := os.WriteFile(problem, p.dump(), 0o644); err != nil {
					t.Fatal(err)
				}
				var stderr bytes.Buffer
				command := exec.CommandContext(t.Context(), python, filepath.Join(scipyDir, "joint.py"), "fit", problem)
				command.Stderr = &stderr
				out, err := command.Output()
				if err != nil {
					t.Fatalf("joint.py: %v\n%s", err, stderr.Bytes())
				}
				if *updateReferences {
					if err := os.WriteFile(file, out, 0o644); err != nil {
						t.Fatal(err)
					}
				}
				p.compare(t, "SciPy now", out)
			}
			kept, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			p.compare(t, "the kept reference (-update writes it anew)", kept)
		})
	}
}

func (p parityProblem) compare(t *testing.T, who string, out []byte) {
	t.Helper()
	var want scipyMinimum
	if err := json.Unmarshal(out, &want); err != nil {
		t.Fatal(err)
	}
	j, names := p.joint, p.names()
	s, err := j.finish(leastsquares.NewSolver(j.problem()), p.start, leastsquares.Settings{Polish: true})
	if err != nil || s.note != "" {
		t.Fatal(err, s.note)
	}
	if strings.Join(want.Parameters, ",") != strings.Join(names, ",") {
		t.Fatalf("%s: parameters are %v, here %v", who, want.Parameters, names)
	}
	var worst, worstC float64
	var worstAt string
	value := func(name string, got float64) {
		d := math.Abs(got/want.Value[name] - 1)
		worst = max(worst, d)
		if !(d < 1e-6) {
			t.Errorf("%s: %s is %.9g, here %.9g", who, name, want.Value[name], got)
		}
	}
	for i, name := range names[:j.firstCorner] {
		if strings.HasPrefix(name, "ln ") {
			value(name, math.Exp(s.x[i]))
		}
	}
	coil := s.coil()
	for k, r := range coil.Rings {
		value(fmt.Sprintf("share %d", k+1), r.Share)
	}
	if j.form.Cylinder {
		value("piece cylinder", coil.Cylinder.Share)
	}
	c := must(s.covariance())
	for i, name := range names {
		for k := range i + 1 {
			d := math.Abs(c.At(i, k)-want.Covariance[i][k]) / math.Sqrt(want.Covariance[i][i]*want.Covariance[k][k])
			if !(d <= worstC) {
				worstC, worstAt = d, fmt.Sprintf("%s and %s is %.6g, here %.6g", name, names[k], want.Covariance[i][k],
					c.At(i, k))
			}
		}
	}
	if !(worstC < 1e-4) {
		t.Errorf("%s: covariance of %s", who, worstAt)
	}
	sum := s.solver.Linearize(s.x)
	t.Logf("%s: parameters within %.1e, covariance within %.1e, sum of squares %.10g and %.10g", who, worst, worstC,
		want.SumSquares, sum)
}

// A search allocates nothing once its Solver is there, so no iteration does.
func TestSearchAllocatesNothing(t *testing.T) {
	for _, p := range parityProblems() {
		solver := leastsquares.NewSolver(p.joint.problem())
		var m leastsquares.Minimum
		allocations := testing.AllocsPerRun(2, func() { m, _ = solver.Minimize(p.start, leastsquares.Settings{}) })
		if allocations != 0 || m.Iterations < 3 {
			t.Errorf("%s: %g allocations in %d iterations", p.name, allocations, m.Iterations)
		}
	}
}

// One model to the last digit: 4 takes of 800 points. testdata/scipy/bench.sh
// sets it beside SciPy.
func BenchmarkOneModel(b *testing.B) {
	p := oneModel()
	solver := leastsquares.NewSolver(p.joint.problem())
	b.ReportAllocs()
	for b.Loop() {
		m, err := solver.Minimize(p.start, leastsquares.Settings{})
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(m.Iterations), "iterations")
	}
}

// The whole ladder with restarts on the same takes.
func BenchmarkLadder(b *testing.B) {
	takes := fourTakes(ringedCoil(), 800, false)
	for b.Loop() {
		if _, err := Analyse(b.Context(), capture.Coil{}, takes, fit.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
