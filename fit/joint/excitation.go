package joint

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"coilsweep/capture"
	"coilsweep/excite"
	"coilsweep/fit/design"
	"coilsweep/fit/response"

	"gonum.org/v1/gonum/mat"
)

// Excitation is the best shape of a sweep for a coil that an earlier take, the
// scout, has shown, and the expected benefit.
type Excitation struct {
	// Shape goes over the band of the sweep it was asked for.
	Shape []excite.Knot
	// ResonanceHz is what the shape was made for.
	ResonanceHz float64
	// ResonanceVariance and QVariance are the variances, from noise alone,
	// that are expected of the shaped sweep over those of the exponential one
	// of the same length and level.
	ResonanceVariance, QVariance float64
}

// A scout may be wrong, and the load may differ from the stated one. So a part of
// the time stays divided as in the exponential sweep, and the rest is meant for a
// resonance that is the scout's only with some probability; else it may lie
// anywhere within a factor. So a resonance that is ±40 % off is still found no
// worse than by the exponential sweep.
const (
	plainShare      = 0.2
	lowShare        = 0.5 // at most, at the low end
	scoutWrong      = 0.4
	scoutLow        = 0.6
	scoutHigh       = 1.75
	wrongScenarios  = 9
	leastShapedBand = 2 // octaves
)

// Excitation shapes the sweep of next, a plain stimulus, for a take with load,
// after the take called scout (among those fitted) with its stimulus. Next need
// not have the scout's length, level or band.
//
// The information of each frequency on the circuit is that of the scout's
// points: their noise as it was measured there, in proportion to the time that
// the sweep took there. Of interest is the shape of the response, in the
// coordinates ln L, ln R and the losses, capacitance and load held (their
// split does not show in one take); gain, delay and the sound card's edges are
// unknown beside them.
//
// A distortion's harmonics have no one lead in such a sweep, and are not
// measured; in sweeps of 2.4 s and more they stay before the gates, in shorter
// ones the second reaches into those below some 300 Hz. On the simulated bench
// harmonics of -90 dB change the response by some -90 dB below 100 Hz and by less
// than -100 dB above (-100 dB and -106 dB with the exponential sweep).
//
// It is an error where the coil does not resonate, or where the load differs
// from the scout's and L is not known.
func (f *Fitted) Excitation(scout string, played, next excite.Stimulus, load capture.Load) (Excitation, error) {
	i := slices.IndexFunc(f.a.request.takes, func(t Take) bool { return t.Name == scout })
	if i < 0 {
		return Excitation{}, fmt.Errorf("take %q is not usable: no sweep can be shaped after it", scout)
	}
	if math.Log2(next.ToHz/next.FromHz) < leastShapedBand {
		return Excitation{}, fmt.Errorf("a sweep from %g to %g Hz is too narrow to be shaped: give it %d octaves",
			next.FromHz, next.ToHz, leastShapedBand)
	}
	j, x, err := f.takeToCome(i, load)
	if err != nil {
		return Excitation{}, err
	}
	hz := j.at(derived{name: nameResonance}, x)
	if math.IsNaN(hz) {
		return Excitation{}, errors.New("the coil does not resonate with this load: a plain sweep is best")
	}

	s := newShaper(j, x, played, next)
	truths := []design.Truth{s.truth(x, 1-scoutWrong)}
	for k := range wrongScenarios {
		factor := scoutLow * math.Pow(scoutHigh/scoutLow, float64(k)/(wrongScenarios-1))
		moved := slices.Clone(x)
		moved[atL] -= 2 * math.Log(factor)
		truths = append(truths, s.truth(moved, scoutWrong/wrongScenarios))
	}
	base, fixed := s.fixed(next)
	shares, err := design.Shares(truths, len(s.interest), base, fixed)
	if err != nil {
		return Excitation{}, err
	}
	e := Excitation{ResonanceHz: hz}
	knots := make([]excite.Knot, len(shares))
	for k, share := range shares {
		knots[k] = excite.Knot{FrequencyHz: s.knotHz[k], Weight: share / s.plain[k]}
	}
	e.Shape = design.Straightened(knots)
	for _, q := range []struct {
		name string
		dst  *float64
	}{{nameResonance, &e.ResonanceVariance}, {nameQ, &e.QVariance}} {
		shaped, err := s.variance(q.name, x, truths[0].Total(shares))
		if err != nil {
			return Excitation{}, err
		}
		plain, err := s.variance(q.name, x, truths[0].Total(s.plain))
		if err != nil {
			return Excitation{}, err
		}
		*q.dst = shaped / plain
	}
	return e, nil
}

// takeToCome is the joint problem of one take with load, with the noise of the
// used take i, at the fitted circuit.
func (f *Fitted) takeToCome(i int, load capture.Load) (*joint, []float64, error) {
	a := f.a
	scout := a.request.takes[i]
	best := a.best.joint
	coil := a.best.coil()
	was := best.loadOf(i, a.best.x)
	t := scout
	t.Load = load
	t.Ideal = true // noise alone: more time does not take the sound card's ripple down
	takes := []Take{t}
	j := newJoint(best.form, request{takes: takes, parts: gatherParts(takes), know: a.request.know}, coil)
	x := j.startVector(coil)
	will := j.loadOf(0, x)
	if load.FixtureC != nil && scout.Load.FixtureC != nil {
		coil.CapacitanceF += will.fixtureC - was.firstFixtureC
	} else {
		coil.CapacitanceF += was.fixtureC - was.firstFixtureC
	}
	if !(coil.CapacitanceF > 0) {
		return nil, nil, errors.New("the fixture's stated capacitance is larger than all that the earlier take " +
			"shows: check it")
	}
	x[atC] = math.Log(coil.CapacitanceF)
	if change := math.Abs(will.addedF() - was.addedF()); change > 0.01*(coil.CapacitanceF+was.addedF()) &&
		!a.main(derived{name: nameInductance}).Known() {
		return nil, nil, fmt.Errorf("take %q alone does not tell where the resonance goes with another capacitance: "+
			"shape the sweep after a take with the same load", scout.Name)
	}
	// The gain is the scout's, whatever the response has become.
	x[j.gain(0)], x[j.delay(0)] = a.best.x[best.gain(i)], a.best.x[best.delay(i)]
	return j, x, nil
}

// shaper works out the information of one take's frequencies.
type shaper struct {
	j        *joint
	points   []int     // of the response, within the band
	factor   []float64 // of their information at weight 1
	knotHz   []float64
	plain    []float64 // shares of the exponential sweep
	low      []int     // for each point the knot below it ...
	part     []float64 // ... and the part of the way to the next
	interest []int     // columns of the take's block
	nuisance []int
	problem  func(b int, x, r []float64, jacobian *mat.Dense)
}

func newShaper(j *joint, x []float64, played, next excite.Stimulus) *shaper {
	s := &shaper{j: j, problem: j.problem().Evaluate}
	s.knotHz = design.Knots(next.FromHz, next.ToHz, j.at(derived{name: nameResonance}, x))
	n := len(s.knotHz)
	u := make([]float64, n)
	for i, hz := range s.knotHz {
		u[i] = math.Log(hz)
	}
	span := u[n-1] - u[0]
	s.plain = make([]float64, n)
	for i := range n - 1 {
		s.plain[i] += (u[i+1] - u[i]) / 2 / span
		s.plain[i+1] += (u[i+1] - u[i]) / 2 / span
	}

	course := played.Course()
	amplitude := next.Amplitude() / played.Amplitude()
	energy := amplitude * amplitude * float64(next.Repeats) / float64(
		played.Repeats) * next.SweepRateS() / played.SweepRateS()
	k := 0
	for i, hz := range j.takes[0].Response.FrequencyHz {
		if hz < next.FromHz || hz > next.ToHz {
			continue
		}
		for k < n-2 && hz > s.knotHz[k+1] {
			k++
		}
		s.points = append(s.points, i)
		s.factor = append(s.factor, energy/course.Weight(hz))
		s.low = append(s.low, k)
		s.part = append(s.part, (math.Log(hz)-u[k])/(u[k+1]-u[k]))
	}

	for c, column := range j.groups[0].columns {
		switch {
		case column < j.firstPart && column != atC:
			s.interest = append(s.interest, c)
		case column >= j.firstCorner:
			s.nuisance = append(s.nuisance, c)
		}
	}
	return s
}

// fixed is the part of the time that is spent whatever the coil, and how it is
// divided: a part of the plain sweep, but at low frequencies, where the gates of
// the response are long, as much of it as keeps the second harmonic clear of
// them (a sweep of 2.4 s or more), or half of it.
func (s *shaper) fixed(next excite.Stimulus) (base []float64, fixed float64) {
	base = make([]float64, len(s.plain))
	for k, hz := range s.knotHz {
		clear := response.GateLeadS(hz) / (next.SweepRateS() * math.Ln2)
		base[k] = s.plain[k] * max(plainShare, min(clear, lowShare))
		fixed += base[k]
	}
	for k := range base {
		base[k] /= fixed
	}
	return base, fixed
}

// truth is the information of each knot at the circuit x.
func (s *shaper) truth(x []float64, probability float64) design.Truth {
	j := s.j
	local := append(slices.Clone(s.interest), s.nuisance...)
	n := len(local)
	rows := 2 * len(j.omega[0])
	jacobian := mat.NewDense(rows, len(j.groups[0].columns), nil)
	s.problem(0, x, make([]float64, rows), jacobian)
	t := design.Truth{Probability: probability, Prior: mat.NewSymDense(n, nil)}
	for range s.knotHz {
		t.Information = append(t.Information, mat.NewSymDense(n, nil))
	}
	row := make([]float64, n)
	for i, p := range s.points {
		for part := range 2 {
			for k, c := range local {
				row[k] = jacobian.At(2*p+part, c)
			}
			// A share of all the time, at one knot, is a weight there of the
			// share over the plain one.
			v := mat.NewVecDense(n, row)
			below, above := s.low[i], s.low[i]+1
			t.Information[below].SymRankOne(t.Information[below], s.factor[i]*(1-s.part[i])/s.plain[below], v)
			t.Information[above].SymRankOne(t.Information[above], s.factor[i]*s.part[i]/s.plain[above], v)
		}
	}
	at := map[int]int{}
	for k, c := range local[len(s.interest):] {
		at[j.groups[0].columns[c]] = len(s.interest) + k
	}
	for i := range j.priors {
		p := &j.priors[i]
		if k, ok := at[p.columns[0]]; ok && p.columns[1] < 0 {
			t.Prior.SetSym(k, k, t.Prior.At(k, k)+p.factors[0]*p.factors[0]/(p.u*p.u))
		}
	}
	return t
}

// variance is that of the logarithm of a quantity.
func (s *shaper) variance(name string, x []float64, information *mat.SymDense) (float64, error) {
	var c mat.Cholesky
	if !c.Factorize(information) {
		return 0, design.ErrSingular
	}
	gradient := mat.NewVecDense(information.SymmetricDim(), nil)
	moved := slices.Clone(x)
	for k, local := range s.interest {
		const h = 1e-4
		column := s.j.groups[0].columns[local]
		moved[column] = x[column] + h
		up := s.j.at(derived{name: name}, moved)
		moved[column] = x[column] - h
		down := s.j.at(derived{name: name}, moved)
		moved[column] = x[column]
		gradient.SetVec(k, math.Log(up/down)/(2*h))
	}
	var solved mat.VecDense
	if err := c.SolveVecTo(&solved, gradient); err != nil && solved.Len() == 0 {
		return 0, err
	}
	v := mat.Dot(gradient, &solved)
	if math.IsNaN(v) {
		return 0, errors.New("the coil hardly resonates with this load: a plain sweep is best")
	}
	return v, nil
}
