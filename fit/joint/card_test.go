package joint

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/response"
)

// soundCards are responses within the band, drawn anew for each bench: of a card
// without ripple; with that of filters of minimum phase, smooth over log f; with
// the equal ripple of a linear-phase filter; with an echo; and with a roll-off of
// second order in each direction. The ripple is within 0.01 dB.
var soundCards = map[string]func(random *rand.Rand) func(hz float64) complex128{
	"plain": func(*rand.Rand) func(float64) complex128 { return func(float64) complex128 { return 1 } },
	"shelves": func(random *rand.Rand) func(float64) complex128 {
		var corner, step [6]float64
		for i := range corner {
			corner[i] = 40 * math.Pow(400, (float64(i)+random.Float64())/6)
			step[i] = rippled * (2*random.Float64() - 1)
		}
		return func(hz float64) complex128 {
			h := complex(1, 0)
			for i, f := range corner {
				h *= 1 + complex(step[i], 0)/complex(1, hz/f)
			}
			return h
		}
	},
	"cosine": func(random *rand.Rand) func(float64) complex128 {
		delay := (20 + 40*random.Float64()) / 48000
		return func(hz float64) complex128 { return complex(1+rippled*math.Cos(2*math.Pi*hz*delay), 0) }
	},
	"echo": func(random *rand.Rand) func(float64) complex128 {
		delay := (20 + 40*random.Float64()) / 48000
		return func(hz float64) complex128 { return 1 + cmplx.Rect(rippled, -2*math.Pi*hz*delay) }
	},
	"roll-off": func(*rand.Rand) func(float64) complex128 {
		return func(hz float64) complex128 {
			s := complex(0, hz/rollOffHz)
			h := 1 / (1 + s*math.Sqrt2 + s*s)
			return h * h
		}
	},
}

// rippled is 0.01 dB; a Butterworth filter of second order with its corner at
// rollOffHz is 0.5 dB down at 20 kHz: (20/34)^4 = 10^0.05 - 1.
const (
	rippled   = 0.0011519
	rollOffHz = 20000 / 0.5910
)

// denseGrid is the grid of a take of the default stimulus: 80 points an octave,
// 1.7 Hz apart at least.
func denseGrid() []float64 {
	var f []float64
	for hz := 25.0; hz < 19400; hz += max(1.7, hz*(math.Exp2(1.0/80)-1)) {
		f = append(f, hz)
	}
	return f
}

// cardedBench is three takes through a sound card, with parts and noise drawn.
type cardedBench struct {
	coil   trueCoil
	takes  []Take
	loads  []func(s complex128) complex128 // admittances, in truth
	ohm    []float64                       // of the coil in each take
	farads []float64                       // all of it in each take
	farad  float64                         // in the first
	direct capture.Coil
}

// disturbance is what else differs from take to take: the dissipation factor of the
// added capacitors, and the drift of the coil in kelvin from one to the next.
type disturbance struct {
	loss, kelvin float64
	// edges: every part and reading is as far off as its limit allows. quiet: all are as
	// stated, and there is no noise.
	edges, quiet bool
}

func drawCarded(coil trueCoil, card string, seed uint64, disturbed disturbance) cardedBench {
	return drawWorld(coil, card, seed, disturbed, takesWith("", "220p 1%", "470p 1%"), false)
}

// statedTake is what is stated of a take, and in what it is wrong.
type statedTake struct {
	addedC             string
	fixtureC, fixtureR string
	// wrongC and wrongR are by which factors added C and fixture R are others than
	// stated, beside what their tolerances allow; 0: they are not.
	wrongC, wrongR float64
	moreC          float64                      // farads across the coil that nobody knows of
	other          func(coil trueCoil) trueCoil // the coil of this take; nil: the same
}

// takesWith are takes with these added capacitors and the usual fixture.
func takesWith(added ...string) []statedTake {
	var takes []statedTake
	for _, c := range added {
		takes = append(takes, statedTake{addedC: c, fixtureC: "65p 5%", fixtureR: "1M 1%"})
	}
	return takes
}

func drawWorld(coil trueCoil, card string, seed uint64, disturbed disturbance, stated []statedTake,
	referenced bool) cardedBench {
	random := rand.New(rand.NewPCG(seed, 41))
	within := func(nominal, limit float64) float64 {
		part := 2*random.Float64() - 1
		if disturbed.edges {
			part = math.Copysign(1, part)
		}
		if disturbed.quiet {
			part = 0
		}
		return nominal * (1 + limit*part)
	}
	b := cardedBench{coil: coil}
	channel := soundCards[card](random)
	loadError, trueFixture := within(1, 0.01), within(65e-12, 0.05)
	b.farad = coil.farad + trueFixture
	for i, state := range stated {
		t := Take{Name: fmt.Sprintf("take%d", i+1), Referenced: referenced,
			Response: &response.Response{VarianceDoF: 100, SNRdB: cardSNRdB}}
		fixtureC, fixtureR := must(quantity.ParseCapacitance(state.fixtureC)), must(quantity.ParseResistance(state.fixtureR))
		t.Load.FixtureC, t.Load.FixtureR = &fixtureC, &fixtureR
		trueLoad := fixtureR.SI * loadError * cmp.Or(state.wrongR, 1)
		added := 0.0
		if state.addedC != "" {
			c := must(quantity.ParseCapacitance(state.addedC))
			t.Load.AddedC = &c
			added = within(c.SI, 0.01) * cmp.Or(state.wrongC, 1)
		}
		load := func(s complex128) complex128 {
			return complex(1/trueLoad, 0) + s*complex(trueFixture+state.moreC, 0) +
				lossyCapacitor(s, added, disturbed.loss)
		}
		now := coil
		if state.other != nil {
			now = state.other(coil)
		}
		now.ohm *= 1 + 0.0039*disturbed.kelvin*float64(i-1)
		b.loads, b.ohm = append(b.loads, load), append(b.ohm, now.ohm)
		b.farads = append(b.farads, b.farad+added)
		for _, hz := range denseGrid() {
			s := complex(0, 2*math.Pi*hz)
			h := now.voltageAcross(s, load(s))
			if !referenced {
				h *= channel(hz)
			}
			noise := random
			if disturbed.quiet {
				noise = nil
			}
			throughCard(t.Response, hz, h, referenced, noise)
		}
		b.takes = append(b.takes, t)
	}
	dcr := must(quantity.ParseResistance("8k@20C 0.5%"))
	dcr.SI = within(coil.ohm, 0.005)
	dcr.Half = 0.005 * dcr.SI
	celsius := 20.0
	b.direct = capture.Coil{DCR: &dcr, CelsiusAtTakes: &celsius}
	return b
}

// cardSNRdB is the plateau over the noise of one point at 1 kHz.
const cardSNRdB = 71.0

// throughCard adds a point to r: h as an input records it, with noise unless random is nil; with a reference
// the input's corners cancel out.
func throughCard(r *response.Response, hz float64, h complex128, referenced bool, random *rand.Rand) {
	const gain = 0.3
	h *= gain
	if !referenced {
		h *= complex(0, hz) / complex(1.3, hz) * (complex(0, hz) / complex(3.2, hz))
	}
	h *= cmplx.Rect(1, -2*math.Pi*hz*1.7e-5)
	u := gain * math.Pow(10, -cardSNRdB/20) * math.Sqrt(1000/hz) // as in bench
	u = math.Hypot(u, 1e-5*cmplx.Abs(h))
	if random != nil {
		h += complex(u/math.Sqrt2*random.NormFloat64(), u/math.Sqrt2*random.NormFloat64())
	}
	r.FrequencyHz, r.H, r.Variance = append(r.FrequencyHz, hz), append(r.H, h), append(r.Variance, u*u)
}

// spiceFixtureF is what netlists have across the coil, beside 1 MΩ.
const spiceFixtureF = 70e-12

// cardedTakes are loads of ngspice with fixture and added capacitors in farad through a
// sound card, and the DC resistance of a coil that has ohm; what is written on the
// parts is drawn within their tolerance.
func cardedTakes(loads []spiceLoad, fixtureF float64, added []float64, ohm float64, grid []float64, card string,
	seed uint64) (takes []Take, direct capture.Coil) {
	random := rand.New(rand.NewPCG(seed, 43))
	stated := func(truth, limit float64) float64 { return truth / (1 + limit*(2*random.Float64()-1)) }
	channel := soundCards[card](random)
	fixtureC := must(quantity.ParseCapacitance(fmt.Sprintf("%.5gp 5%%", stated(fixtureF, 0.05)*1e12)))
	fixtureR := must(quantity.ParseResistance(fmt.Sprintf("%.6gk 1%%", stated(1e6, 0.01)/1e3)))
	for i := range loads {
		l := &loads[i]
		t := Take{Name: fmt.Sprintf("take%d", i+1),
			Response: &response.Response{VarianceDoF: 100, SNRdB: cardSNRdB}}
		t.Load.FixtureC, t.Load.FixtureR = &fixtureC, &fixtureR
		if added[i] > 0 {
			c := must(quantity.ParseCapacitance(fmt.Sprintf("%.5gp 1%%", stated(added[i], 0.01)*1e12)))
			t.Load.AddedC = &c
		}
		for _, hz := range grid {
			if hz > l.hz[0] && hz < l.hz[len(l.hz)-1] {
				throughCard(t.Response, hz, l.at(hz)*channel(hz), false, random)
			}
		}
		takes = append(takes, t)
	}
	dcr := must(quantity.ParseResistance(fmt.Sprintf("%.6g@20C 0.5%%", stated(ohm, 0.005))))
	celsius := 20.0
	return takes, capture.Coil{DCR: &dcr, CelsiusAtTakes: &celsius}
}

// truth of a take.
func (b cardedBench) truth(take int) map[string]float64 {
	coil := b.coil
	coil.ohm = b.ohm[take]
	truth := coil.seen(b.loads[take], 1/(2*math.Pi*math.Sqrt(coil.henry*b.farads[take])))
	truth["lc"] = 1 / (2 * math.Pi * math.Sqrt(coil.henry*b.farads[take]))
	return truth
}

// seen is what a take shows of the coil of elements with a load, near a frequency:
// pole pair, peak of its voltage, and half-power width.
func (c trueCoil) seen(load func(s complex128) complex128, nearHz float64) map[string]float64 {
	uncovered := c
	uncovered.coverHz = 0
	// Where 1/v is zero, by the secant.
	f := func(s complex128) complex128 { return 1 / uncovered.voltageAcross(s, load(s)) }
	last, s := complex(0, 2*math.Pi*nearHz), complex(-0.05, 1.02)*complex(2*math.Pi*nearHz, 0)
	for range 60 {
		d := f(s) - f(last)
		if d == 0 {
			break
		}
		last, s = s, s-f(s)*(s-last)/d
	}
	hz := cmplx.Abs(s) / (2 * math.Pi)
	size := func(f float64) float64 {
		s := complex(0, 2*math.Pi*f)
		return cmplx.Abs(c.voltageAcross(s, load(s)))
	}
	low, high := 0.3*hz, 2*hz
	for range 120 {
		a, z := low+(high-low)/3, high-(high-low)/3
		if size(a) < size(z) {
			low = a
		} else {
			high = z
		}
	}
	half := func(away float64) float64 {
		near := low
		for range 60 {
			if middle := (near + away) / 2; size(middle) > size(low)/math.Sqrt2 {
				near = middle
			} else {
				away = middle
			}
		}
		return near
	}
	return map[string]float64{
		"resonance": hz, "q": cmplx.Abs(s) / (-2 * real(s)), "peak": low,
		"peak_db": 20 * math.Log10(size(low)/size(0.01)), "width": half(4*low) - half(0.2*low),
	}
}

// branch is the winding branch at a frequency, by elimination of the loops' meshes.
func (c trueCoil) branch(hz float64) (henry, ohm float64) {
	s := complex(0, 2*math.Pi*hz)
	z := complex(c.ohm, 0) + s*complex(c.henry, 0)
	for _, e := range c.rings {
		m := s * complex(e.mutual, 0)
		z -= m * m / (complex(e.ohm, 0) + s*complex(e.henry, 0))
	}
	return imag(z) / imag(s), real(z)
}

// Five sound cards, of which only limits are known: U95 covers what the takes
// show. Where share and corner of a loop are told, they are right.
func TestSoundCards(t *testing.T) {
	n := seeds(t, 2)
	disturbed := map[string]disturbance{"lossy capacitors, drift": {loss: 0.005, kelvin: 0.3}}
	worlds := map[string]func(random *rand.Rand) trueCoil{
		"lossy capacitors, drift": func(*rand.Rand) trueCoil { return ringedCoil() },
		"one loop":                fastLoop,
		"two loops with cover": func(*rand.Rand) trueCoil {
			c := demoCoil()
			c.coverHz = 25000
			return c
		},
	}
	for name, world := range worlds {
		t.Run(name, func(t *testing.T) { soundCardWorld(t, n, name, world, disturbed[name]) })
	}
}

// fastLoop is a coil with one loop that is hard to tell from a solid core.
func fastLoop(random *rand.Rand) trueCoil {
	c := trueCoil{henry: 4.4, ohm: 8200, farad: 100e-12}
	c.ring(0.16+0.13*random.Float64(), 10000+5000*random.Float64())
	return c
}

// A fast loop is told as often as the takes can tell it from a solid core, which has as
// many parameters. Of two such models with even odds no rule tells more, at that rate of
// errors, than the ratio of their likelihoods (J. Neyman and E. S. Pearson, Phil. Trans. R.
// Soc. A 231 (1933) 289): twice its logarithm is normal, with mean d and variance 4d, d
// the chi-square that the wrong one leaves of takes without noise.
func TestFastLoopTold(t *testing.T) {
	n := seeds(t, 4)
	three, stable := takesWith("", "220p 1%", "470p 1%"), takesWith("", "220p 1% C0G", "470p 1% C0G")
	for _, bench := range []struct {
		name       string
		takes      []statedTake
		referenced bool
		sweeps     int // times as many; above 1 only reckoned
	}{{"three takes", three, false, 1}, {"capacitors of a stated dielectric", stable, false, 1},
		{"four times the sweeps", three, false, 4}, {"a reference", three, true, 1}} {
		normal := func(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }
		var lock sync.Mutex
		var best, expected, variance float64
		right, told, wrong := 0, 0, 0
		parallel(n, func(i int) {
			coil := fastLoop(rand.New(rand.NewPCG(seed(i), 3)))
			d := solidForLoop(coil, seed(i), bench.takes, bench.referenced, bench.sweeps)
			p := normal((d - 2*math.Log(sureOfForm/(1-sureOfForm))) / (2 * math.Sqrt(d)))
			var r *fit.Result
			if bench.sweeps == 1 {
				b := drawWorld(coil, "plain", seed(i), disturbance{}, bench.takes, bench.referenced)
				r = must(Analyse(context.Background(), b.direct, b.takes, fit.Options{}))
			}
			lock.Lock()
			defer lock.Unlock()
			best, expected, variance = best+normal(math.Sqrt(d)/2), expected+p, variance+p*(1-p)
			if r != nil && len(r.Eddy) > 0 {
				why := r.Eddy[0].Share.Why
				if strings.Contains(why, "tell apart") && strings.Contains(why, "with a reference") == bench.referenced {
					t.Errorf("%s, draw %d: %q", bench.name, i, why)
				}
			}
			switch {
			case r == nil || len(r.Eddy) == 0:
			case len(r.Eddy) == 1 && r.Eddy[0].Form == "ring":
				right++
				if r.Eddy[0].Share.Known() {
					told++
				}
			case r.Eddy[0].Share.Known():
				wrong++
			}
		})
		t.Logf("%s: of %d draws the takes tell %.1f (%.1f of 8), one loop likelier in %.1f", bench.name, n, expected,
			8*expected/float64(n), best)
		if bench.sweeps > 1 {
			continue
		}
		t.Logf("%s: told %d, one loop likelier in %d, told wrongly %d", bench.name, told, right, wrong)
		if math.Abs(float64(told)-expected) > 3*math.Sqrt(variance)+1 || float64(wrong) > 1+0.05*float64(n) {
			t.Errorf("%s: told %d, %d wrongly, of %d; the takes tell %.1f", bench.name, told, wrong, n, expected)
		}
	}
}

// solidForLoop is the chi-square that a solid core leaves of takes of coil without noise.
func solidForLoop(coil trueCoil, seed uint64, stated []statedTake, referenced bool, sweeps int) float64 {
	b := drawWorld(coil, "plain", seed, disturbance{quiet: true}, stated, referenced)
	for _, t := range b.takes {
		floats.Scale(1/float64(sweeps), t.Response.Variance)
	}
	a := &analysis{request: request{takes: b.takes, parts: gatherParts(b.takes)}}
	if err := a.know(b.direct); err != nil {
		panic(err)
	}
	chi2 := func(form fit.Form, starts ...circuit.Coil) float64 {
		return must(a.request.solve(context.Background(), form, starts)).chi2Priors
	}
	e := coil.rings[0]
	truth := circuit.Coil{InductanceH: coil.henry, ResistanceOhm: coil.ohm, CapacitanceF: b.farad,
		Rings: []circuit.Ring{{Share: e.mutual * e.mutual / (coil.henry * e.henry), TimeS: e.henry / e.ohm}}}
	var solid []circuit.Coil
	for _, loss := range newLosses {
		c := truth
		c.Rings, c.Cylinder = nil, loss
		solid = append(solid, c)
	}
	return max(0, chi2(fit.Form{Cylinder: true}, solid...)-chi2(fit.Form{Rings: 1}, truth))
}

// How far the resonance scatters about the truth with each of the sound cards, of which
// the fit knows the limit only: it comes from how the takes differ, and what the card
// does to all of them hardly moves it.
func TestResonanceWithSoundCards(t *testing.T) {
	n := seeds(t, 5)
	const wantedPPM = 6.5
	for _, card := range slices.Sorted(maps.Keys(soundCards)) {
		ppm, u := make([]float64, n), make([]float64, n)
		parallel(n, func(i int) {
			b := drawCarded(ringedCoil(), card, seed(1000+i), disturbance{})
			got := must(Analyse(context.Background(), b.direct, b.takes, fit.Options{})).Takes[0].Resonance
			ppm[i], u[i] = 1e6*(got.Value/b.truth(0)["resonance"]-1), 1e6*got.U/got.Value
		})
		sd := stat.StdDev(ppm, nil)
		t.Logf("%s: standard deviation of the resonance %.2f ppm over %d draws, mean %.2f, u %.1f ppm", card, sd, n,
			stat.Mean(ppm, nil), stat.Mean(u, nil))
		// A standard deviation of n draws scatters by 1/sqrt(2n) of itself.
		if limit := wantedPPM * (1 + 3/math.Sqrt(2*float64(n))); !(sd <= limit) {
			t.Errorf("%s: %.2f ppm, wanted %g and no more than %.3g with so few draws", card, sd, wantedPPM, limit)
		}
	}
}

// soundCardWorld counts over cards and draws how often U95 covers.
func soundCardWorld(t *testing.T, n int, name string, world func(random *rand.Rand) trueCoil, disturbed disturbance) {
	t.Helper()
	counts := map[string]*[3]int{} // asked, known, covered
	forms := map[string]int{}
	var chi2, chi2n float64
	for card := range soundCards {
		var lock sync.Mutex
		parallel(n, func(i int) {
			b := drawCarded(world(rand.New(rand.NewPCG(seed(i), 3))), card, seed(i), disturbed)
			r := must(Analyse(context.Background(), b.direct, b.takes, fit.Options{}))
			lock.Lock()
			defer lock.Unlock()
			forms[r.Model.Name]++
			chi2 += r.Model.Chi2Reduced
			chi2n++
			count := func(what string, q fit.Quantity, truth float64) {
				if counts[what] == nil {
					counts[what] = &[3]int{}
				}
				c := counts[what]
				c[0]++
				known, covered := covers(q, truth)
				if known {
					c[1]++
				}
				if covered {
					c[2]++
				} else if known {
					t.Logf("%s, %s, draw %d, %s: %s %.6g ± %.2g, true %.6g", name, card, i, r.Model.Name, what, q.Value,
						q.U95, truth)
				}
			}
			count("L", r.Inductance, b.coil.henry)
			count("C", r.Capacitance, b.farad)
			count("R", r.Resistance, b.coil.ohm)
			for k, take := range r.Takes {
				truth := b.truth(k)
				count("resonance", take.Resonance, truth["resonance"])
				count("q", take.Q, truth["q"])
				count("peak", take.Peak, truth["peak"])
				count("peak_db", take.PeakDB, truth["peak_db"])
				count("lc", take.LC, truth["lc"])
				count("width", take.WidthHz, truth["width"])
			}
			count("C of the coil", r.CapacitanceCoil, b.coil.farad)
			alone := b.coil.seen(func(complex128) complex128 { return 0 }, r.BareResonance.Value)
			count("resonance of the coil alone", r.BareResonance, alone["resonance"])
			count("Q of the coil alone", r.BareQ, alone["q"])
			for i, p := range r.Branch {
				henry, ohm := b.coil.branch(p.Hz)
				count(fmt.Sprintf("L of the winding %d", i), p.Inductance, henry)
				count(fmt.Sprintf("R of the winding %d", i), p.Resistance, ohm)
			}
			if name == "one loop" && len(r.Eddy) == 1 {
				e := b.coil.rings[0]
				count("share", r.Eddy[0].Share, e.mutual*e.mutual/(b.coil.henry*e.henry))
				count("corner", r.Eddy[0].Corner, e.ohm/e.henry/(2*math.Pi))
			}
			for _, w := range r.Warnings {
				t.Logf("%s, %s, draw %d: %s", name, card, i, w)
			}
		})
	}
	t.Logf("%s: %v, mean reduced chi-square %.4f", name, forms, chi2/chi2n)
	if mean := chi2 / chi2n; mean < 0.95 || mean > 1.08 {
		t.Errorf("%s: reduced chi-square of the differences %.3g, want 0.95 to 1.08", name, mean)
	}
	for _, what := range slices.Sorted(maps.Keys(counts)) {
		c := counts[what]
		t.Logf("%s: %s asked %d, known %d, covered %d", name, what, c[0], c[1], c[2])
		switch what {
		case "share", "corner":
			if float64(c[2]) < 0.9*float64(c[1]) {
				t.Errorf("%s: %s told in %d of %d, covered in %d", name, what, c[1], c[0], c[2])
			}
			continue
		}
		if least := 0.95 - margin(0.03, 3, float64(c[0])); c[1] < c[0] || float64(c[2]) < least*float64(c[0]) {
			t.Errorf("%s: %s known in %d of %d, covered in %d", name, what, c[1], c[0], c[2])
		}
	}
}

// Whitened residuals have the sum of squares that the covariance of noise and
// common factor asks for, worked out from that covariance as it is; how the takes
// differ does not feel a factor common to all.
func TestWhitening(t *testing.T) {
	b := drawCarded(demoCoil(), "shelves", 5, disturbance{})
	q := request{takes: b.takes, parts: gatherParts(b.takes), ownDB: 0.001}
	start := startCoils(q.takes, q.parts, q.know)[0]
	j := newJoint(fit.Form{}, q, start)
	x := j.startVector(start)
	g, s := &j.groups[0], newState(j)
	r := make([]float64, 3*2*len(j.omega[0]))
	s.evaluateGroup(g, x, r, nil)
	inTurn := slices.Clone(r)
	s.whiten(g, r, nil)
	s.whitenInTurn(g, inTurn, nil)
	rows := len(r) / 3
	plain := make([][]float64, 3)
	for i := range plain {
		plain[i] = make([]float64, rows)
		s.evaluate(i, x, plain[i], nil, 0, nil)
	}
	u := 0.01 * math.Ln10 / 20 / math.Sqrt(3)
	for _, k := range []int{0, 200, 400, 600} {
		c, raw, got, turned := mat.NewDense(6, 6, nil), mat.NewVecDense(6, nil), 0.0, 0.0
		for i := range 3 {
			hi := b.takes[i].Response.H[k]
			raw.SetVec(2*i, plain[i][2*k]/j.weight[i][k])
			raw.SetVec(2*i+1, plain[i][2*k+1]/j.weight[i][k])
			for l := range 3 {
				// E c c* = 80 u² with independent components: h_i h_l* as a matrix
				// of rotation and size.
				z := hi * cmplx.Conj(b.takes[l].Response.H[k]) * complex(80*u*u/2, 0)
				c.Set(2*i, 2*l, real(z))
				c.Set(2*i, 2*l+1, -imag(z))
				c.Set(2*i+1, 2*l, imag(z))
				c.Set(2*i+1, 2*l+1, real(z))
			}
			own := 0.1 * u
			noise := (b.takes[i].Response.Variance[k] + 30*own*own*real(hi*cmplx.Conj(hi))) / 2
			c.Set(2*i, 2*i, c.At(2*i, 2*i)+noise)
			c.Set(2*i+1, 2*i+1, c.At(2*i+1, 2*i+1)+noise)
			for at := i*rows + 2*k; at < i*rows+2*k+2; at++ {
				got += r[at] * r[at]
				turned += inTurn[at] * inTurn[at]
			}
		}
		var solved mat.VecDense
		if err := solved.SolveVec(c, raw); err != nil {
			t.Fatal(err)
		}
		want := mat.Dot(&solved, raw)
		if math.Abs(got/want-1) > 1e-9 || math.Abs(turned/want-1) > 1e-9 {
			t.Errorf("point %d: sum of squares %g, of takes in turn %g, by the covariance %g", k, got, turned, want)
		}
	}
	before := g.differences(r)
	for _, take := range []int{0, 1, 2} {
		for k := range rows / 2 {
			// What a factor of 0.1 % would leave, whitened: along v.
			v := g.ripple[take][k] / complex(math.Sqrt(1+g.square[k]), 0) * complex(0.3, 0.8)
			r[take*rows+2*k] += real(v)
			r[take*rows+2*k+1] += imag(v)
		}
	}
	if after := g.differences(r); math.Abs(after/before-1) > 1e-9 {
		t.Errorf("a factor common to all takes moves chi-square of the differences from %g to %g", before, after)
	}
}

// The reduced chi-square of the differences is 1 where nothing but noise differs,
// whatever the card, and so is the scatter of the residuals in every octave.
func TestChiSquareOfDifferences(t *testing.T) {
	n := seeds(t, 3)
	var sum float64
	count := 0
	for card := range soundCards {
		var lock sync.Mutex
		parallel(n, func(i int) {
			b := drawCarded(ringedCoil(), card, seed(100+i), disturbance{})
			r := must(Analyse(context.Background(), b.direct, b.takes, fit.Options{Forms: []fit.Form{{Rings: 1}}}))
			lock.Lock()
			defer lock.Unlock()
			sum += r.Model.Chi2Reduced
			count++
			if scatter := math.Sqrt(2 / float64(r.Model.DoF)); math.Abs(r.Model.Chi2Reduced-1) > 4*scatter {
				t.Errorf("%s, draw %d: reduced chi-square %.3f ± %.3f", card, i, r.Model.Chi2Reduced, scatter)
			}
			for _, take := range r.Takes {
				var squares, points [10]float64
				for k, hz := range take.Curve.FrequencyHz {
					octave := int(math.Log2(hz / 20))
					squares[octave] += square(cmplx.Abs(take.Curve.Residual[k])) / 2
					points[octave]++
				}
				for octave, n := range points {
					if mean := squares[octave] / n; n > 3 && math.Abs(mean-1) > 5/math.Sqrt(n) {
						t.Errorf("%s, draw %d, %s: mean square of the residuals from %g Hz is %.3f of %g points", card, i,
							take.Name, 20*math.Exp2(float64(octave)), mean, n)
					}
				}
			}
		})
	}
	t.Logf("mean of %d: %.4f", count, sum/float64(count))
}

// The sound card's share in a budget is what another draw of its ripple does to the
// result: much to a take alone, and with two loads less the better they differ.
func TestCardShare(t *testing.T) {
	form := fit.Options{Forms: []fit.Form{{Rings: 1}}}
	for _, c := range []struct {
		takes       []int
		least, most float64 // of u² of the resonance
	}{{[]int{0}, 0.5, 1}, {[]int{0, 2}, 0.001, 0.1}} {
		b := drawCarded(ringedCoil(), "plain", 5, disturbance{})
		var takes []Take
		for _, k := range c.takes {
			takes = append(takes, b.takes[k])
			takes[len(takes)-1].Card.RippleTakeDB = 1e-9 // what the takes have in common
		}
		f := must(Fit(t.Context(), b.direct, takes, form))
		f.a.card = f.a.best.information()
		d := derived{name: nameResonance}
		e := f.a.estimate(d)
		share := e.shares[sourceCard] / (e.u*e.u - e.shares[sourceClock])
		if share < c.least || share > c.most {
			t.Errorf("takes %v: the card has %.3g of u² but for the clock's", c.takes, share)
		}
		const draws = 60
		random := rand.New(rand.NewPCG(4, 2))
		var sum, squares float64
		for range draws {
			j := *f.a.best.joint
			j.takes = slices.Clone(j.takes)
			s := math.Sqrt(ripplePoints/2) * takes[0].rippleU()
			factor := make([]complex128, len(takes[0].Response.H))
			for k := range factor {
				factor[k] = 1 + complex(s*random.NormFloat64(), s*random.NormFloat64())
			}
			for i := range j.takes {
				r := *j.takes[i].Response
				r.H = slices.Clone(r.H)
				for k := range r.H {
					r.H[k] *= factor[k]
				}
				j.takes[i].Response = &r
			}
			m := must((&j).settle(f.a.best.x, 0))
			moved := j.at(d, m.x) - e.value
			sum, squares = sum+moved, squares+moved*moved
		}
		drawn := (squares - sum*sum/draws) / (draws - 1)
		if ratio := e.shares[sourceCard] / drawn; ratio < 0.6 || ratio > 1.6 {
			t.Errorf("takes %v: by the budget u is %.3g Hz from the card, of %d draws %.3g", c.takes,
				math.Sqrt(e.shares[sourceCard]), draws, math.Sqrt(drawn))
		}
	}
}
