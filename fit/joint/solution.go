package joint

import (
	"cmp"
	"context"
	"errors"
	"math"
	"runtime"
	"slices"
	"sync/atomic"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"coilsweep/capture/fault"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/leastsquares"
)

// solution is the minimum of one form.
type solution struct {
	joint  *joint
	solver *leastsquares.Solver
	x      []float64
	// sumSquares is that at x, in the u as enlarged.
	sumSquares float64
	// chi2 of the data rows, and with the priors.
	chi2, chi2Priors float64
	dof              int
	// chi2Apart is the chi-square of how the takes differ, dofApart its degrees of
	// freedom: what is common to a group of takes may be the sound card's. The
	// whole chi-square where no takes share a card.
	chi2Apart float64
	dofApart  int
	runsZ     float64
	// correlation is 1 + 2·sum of the residuals' autocorrelations: by how
	// much the variance of an average is larger than it were for white ones.
	correlation float64
	note        string
	// thorough: the search did not end because its steps brought little.
	thorough bool
}

// closer goes on with a search that ended in a flat valley.
func (s *solution) closer() (*solution, error) {
	j := *s.joint
	found, err := (&j).settle(s.x, 0)
	if found != nil {
		found.thorough = true
	}
	return found, err
}

func (s *solution) reduced() float64 { return s.chi2 / float64(s.dof) }

// reducedApart is the reduced chi-square of how the takes differ.
func (s *solution) reducedApart() float64 { return s.chi2Apart / float64(s.dofApart) }

// bic is the Bayesian information criterion (Schwarz 1978) of the solution
// with the variances enlarged by widen², so that a misfit which all forms have
// does not buy more parameters.
func (s *solution) bic(widen2 float64) float64 {
	return s.chi2Priors/widen2 + float64(s.joint.form.Parameters())*math.Log(float64(s.joint.rows()))
}

// rows is the number of data residuals that count.
func (j *joint) rows() int {
	n := 0
	for _, take := range j.weight {
		for _, w := range take {
			if w > 0 {
				n += 2
			}
		}
	}
	return n
}

func (s *solution) coil() circuit.Coil { return s.joint.coilAt(s.x) }

// coilAt is the circuit at the parameters x, in memory of its own.
func (j *joint) coilAt(x []float64) circuit.Coil {
	st := newState(j)
	st.setCoil(x)
	return st.taken()
}

// coilIn is coilAt at the temperature of a take.
func (j *joint) coilIn(take int, x []float64) circuit.Coil {
	st := newState(j)
	st.setTake(take, x)
	return st.taken()
}

func (st *state) taken() circuit.Coil {
	c := st.coil
	c.Rings = append([]circuit.Ring(nil), c.Rings...)
	return c
}

// request is the input of a fit, the same for all models.
type request struct {
	takes      []Take
	parts      partList
	know       knowledge
	sharedGain bool
	// letGo are the facts that the takes contradict, by what they are called.
	letGo []string
	// ownDB is the limit of what the sound card leaves in one take alone.
	ownDB float64
	// free: what the takes of a group have in common says nothing.
	free bool
}

// startVector is the parameter vector of the form at the circuit coil, with
// the parts at their nominal sizes and each take settled to its data.
func (j *joint) startVector(coil circuit.Coil) []float64 {
	x := make([]float64, j.n)
	x[atL], x[atR], x[atC] = math.Log(coil.InductanceH), math.Log(coil.ResistanceOhm), math.Log(coil.CapacitanceF)
	at := j.firstRing
	left := 1.0
	rings := coil.Rings
	if j.form.Cylinder {
		rings = []circuit.Ring{coil.Cylinder}
	}
	for _, r := range rings {
		fraction := min(max(r.Share/left, 1e-4), 0.98)
		x[at], x[at+1] = logit(fraction), math.Log(r.TimeS)
		left *= 1 - fraction
		at += 2
	}
	if j.form.Cover {
		x[at] = math.Log(coil.CoverTimeS)
	}
	if j.form.Loss {
		x[j.firstPart-1] = cmp.Or(coil.CapacitanceLoss, dielectricLoss.mean)
	}
	for i, p := range j.parts.parts {
		x[j.firstPart+i] = math.Log(p.nominal)
		if c := j.lossOf[i]; c >= 0 {
			x[c] = p.loss.mean
		}
	}
	if j.drive >= 0 {
		x[j.drive] = 0.5
	}
	if j.firstEdge > j.firstCorner {
		for i, f := range lowCornersHz {
			x[j.firstCorner+i] = math.Log(2 * math.Pi * f)
		}
	}
	for t := range j.takes {
		j.settleTake(t, x)
	}
	return x
}

// errNoMinimum: none of the starts found a minimum.
var errNoMinimum = errors.New("the fit found no minimum from any start")

// candidate is where a short search ended.
type candidate struct {
	x        []float64
	polarity []float64
	sum      float64
}

// search makes a short search from every start, on all cores, and returns the
// best end; ok is false where all of them failed.
func (q request) search(ctx context.Context, form fit.Form, starts []circuit.Coil,
	settings leastsquares.Settings) (best candidate, ok bool) {
	ends := make([]candidate, len(starts))
	var next atomic.Int64
	fault.Parallel(min(runtime.GOMAXPROCS(0), len(starts)), func() {
		j := newJoint(form, q, starts[0])
		j.weigh(1)
		solver := leastsquares.NewSolver(j.problem())
		for i := int(next.Add(1)) - 1; i < len(starts) && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
			m, err := solver.Minimize(j.startVector(starts[i]), settings)
			if err != nil && !errors.Is(err, leastsquares.ErrIterations) {
				continue
			}
			ends[i] = candidate{slices.Clone(m.P), slices.Clone(j.polarity), m.SumSquares}
		}
	})
	for _, c := range ends {
		if c.x != nil && (best.x == nil || c.sum < best.sum*(1-1e-9)) {
			best = c
		}
	}
	return best, best.x != nil
}

// bluntSteps are those in which the search is brought from the weights of one
// whose every point carries the card's ripple to the noise as measured: at the
// resolution of the noise, chi-square has false minima far from the right one.
var bluntSteps = []float64{0.1, 0.003}

// solve fits form from every start, in short searches through every fourth
// point, and finishes the best with all of them.
func (q request) solve(ctx context.Context, form fit.Form, starts []circuit.Coil) (*solution, error) {
	coarse := q
	coarse.takes = thin(q.takes, 4)
	best, ok := coarse.search(ctx, form, starts, quick)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if !ok {
		return nil, errNoMinimum
	}
	if slices.ContainsFunc(q.takes, func(t Take) bool { return t.rippleU() > 0 }) && len(q.takes) > 1 {
		j := newJoint(form, coarse, starts[0])
		copy(j.polarity, best.polarity)
		solver := leastsquares.NewSolver(j.problem())
		for _, blunt := range append(slices.Clone(bluntSteps), 0) {
			j.weigh(blunt)
			j.adapt(solver, best.x)
			m, err := solver.Minimize(best.x,
				leastsquares.Settings{MaxIterations: 15, Tolerance: 1e-4, Worth: worth, Quick: true})
			if err == nil || errors.Is(err, leastsquares.ErrIterations) {
				best.x = slices.Clone(m.P)
			}
		}
	}
	j := newJoint(form, q, starts[0])
	copy(j.polarity, best.polarity)
	return j.settle(best.x, worth)
}

// quick are the settings of a short search.
var quick = leastsquares.Settings{MaxIterations: 12, Tolerance: 1e-3, Worth: worth, Quick: true}

// worth is the part of a unit of chi-square that a step must bring for a model
// that is compared with others: a parameter more costs some eight.
const worth = 0.1

// adapt weighs the data by the misfit at x, as its uncertainty would be. A model
// that misses the data by far would drag the known parts along a curved valley
// for ever.
func (j *joint) adapt(solver *leastsquares.Solver, x []float64) {
	j.widen = 1
	if reduced := solver.SumSquares(x) / float64(j.rows()); reduced > 2 {
		j.widen = math.Sqrt(reduced)
	}
}

// settle searches to the end from x with all the points; worth is what a step must
// bring.
func (j *joint) settle(x []float64, worth float64) (*solution, error) {
	solver := leastsquares.NewSolver(j.problem())
	for range 4 {
		j.adapt(solver, x)
		settings := leastsquares.Settings{Tolerance: settled, Worth: worth, MaxIterations: 40, Quick: true}
		if j.widen > 3 {
			settings = quick // before the last digit
		}
		s, err := j.finish(solver, x, settings)
		if err != nil {
			return nil, err
		}
		// The start may have been off, not the model.
		if j.widen == 1 || s.chi2 > 0.5*square(j.widen)*float64(j.rows()) {
			return s, nil
		}
		x = s.x
	}
	j.widen = 1
	return j.finish(solver, x, leastsquares.Settings{Tolerance: settled, Worth: worth, MaxIterations: 40, Quick: true})
}

// thin leaves every n-th point of each take, with the weight of n.
func thin(takes []Take, n int) []Take {
	out := slices.Clone(takes)
	for i, t := range takes {
		k := n/2 - 1
		r := t.Response.Select(func(float64) bool { k++; return k%n == 0 })
		for i := range r.Variance {
			r.Variance[i] /= float64(n)
		}
		out[i].Response = r
	}
	return out
}

// settled is the relative change of chi-square at which a search has come to
// its end: of some thousand, some thousandths of a unit, and so some hundredths of
// a standard uncertainty. The chosen form is then searched to the last digit.
const settled = 1e-6

// unsettled is the note of a solution whose search used up its iterations.
const unsettled = "the search did not settle"

// finish searches to the end from x and judges the minimum.
func (j *joint) finish(solver *leastsquares.Solver, x []float64, settings leastsquares.Settings) (*solution, error) {
	m, err := solver.Minimize(x, settings)
	s := &solution{joint: j, solver: solver}
	if errors.Is(err, leastsquares.ErrIterations) {
		s.note = unsettled
	} else if err != nil {
		return nil, err
	}
	s.x = append([]float64(nil), m.P...)
	s.judge(m.SumSquares)
	return s, nil
}

// judge measures the residuals of the solution, in the u as measured.
func (s *solution) judge(sumSquares float64) {
	j := s.joint
	s.sumSquares = sumSquares
	var sequences [][]float64
	var weighted, apart float64
	rowsApart, nuisance := 0, 0
	alone := false // some response shows the card as it is
	st := newState(j)
	for b := range j.groups {
		g := &j.groups[b]
		r := make([]float64, 2*len(g.takes)*len(j.omega[g.takes[0]]))
		st.evaluateGroup(g, s.x, r, nil)
		st.whiten(g, r, nil)
		rows := len(r) / len(g.takes)
		sum := 0.0
		for i := range g.takes {
			re, im := make([]float64, rows/2), make([]float64, rows/2)
			for k := range re {
				re[k], im[k] = r[i*rows+2*k], r[i*rows+2*k+1]
				sum += re[k]*re[k] + im[k]*im[k]
			}
			sequences = append(sequences, re, im)
		}
		weighted += sum
		if g.common() {
			apart += g.differences(r)
			rowsApart += len(r) - rows
			nuisance += 2 * (len(g.takes) - 1)
			continue
		}
		apart += sum
		rowsApart += len(r)
		nuisance += 2 * len(g.takes)
		alone = alone || !j.takes[g.takes[0]].Referenced
	}
	s.chi2 = weighted * j.widen * j.widen
	s.chi2Priors = s.chi2 + (sumSquares - weighted)
	card := j.firstTake - j.firstCorner
	shared := 0 // gains that are one
	if j.sharedGain {
		shared = len(j.takes) - 1
	}
	s.dof = j.rows() - j.form.Parameters() - 2*len(j.takes) + shared - card
	s.chi2Apart = apart * j.widen * j.widen
	s.dofApart = rowsApart - j.form.Parameters() - nuisance + shared
	if alone {
		s.dofApart -= card
	}
	s.runsZ = leastsquares.RunsScore(sequences)
	s.correlation = leastsquares.CorrelationFactor(sequences)
}

// covariance of all parameters at the solution.
func (s *solution) covariance() (*mat.SymDense, error) {
	c := mat.NewSymDense(s.joint.n, nil)
	if err := s.solver.Covariance(c); err != nil {
		return nil, err
	}
	return c, nil
}

// widened enlarges the u of the data by the factor w, by which priors weigh
// more, and searches to the last digit: damped steps until what they promise is
// some millionths of a unit of chi-square, which along a flat valley is as far as
// they come in reasonable time, and undamped ones from there. ownDB is the limit of
// what the card leaves in one take.
func (s *solution) widened(w, ownDB float64) (*solution, error) {
	j := s.joint.reweighed(w, ownDB)
	return j.finish(leastsquares.NewSolver(j.problem()), s.x, leastsquares.Settings{Polish: true, Tolerance: 1e-9})
}

// unstatedInputOhm is the limit of the resistor that an input may have in series, to keep
// radio waves out (common practice), where it is not stated. Some of the fixture's
// capacitance is then behind it, all at most: far below their corner a conductance that
// grows with the square of the frequency, as no part of the model does. unstatedFixtureF
// is that of a fixture that is not stated (typical: 50 to 150 pF).
const (
	unstatedInputOhm = 1e3
	unstatedFixtureF = 100e-12
)

// inputOhm is that limit for the take.
func (t Take) inputOhm() float64 {
	switch r := t.Load.FixtureSeriesR; {
	case t.Ideal:
		return 0
	case r != nil:
		return r.SI + r.Half
	}
	return unstatedInputOhm
}

// behindInput are the parameters that the solution would have if the input had as much as
// it may have, in the mean square: from none to the limit, as far as the takes tell, to
// first order. nil where no input has one, or that is not determined.
func (s *solution) behindInput() []float64 {
	if !slices.ContainsFunc(s.joint.takes, func(t Take) bool { return t.inputOhm() > 0 }) {
		return nil
	}
	// Of residuals r and of what the limit makes of them, e, by r, r + e and r - e.
	var sum, promise [3]float64
	var step [3][]float64
	j := *s.joint
	solver := leastsquares.NewSolver((&j).problem())
	for i, sign := range []float64{0, 1, -1} {
		j.behind = sign
		sum[i], step[i] = solver.Linearize(s.x), make([]float64, len(s.x))
		promise[i] = solver.Promise()
		if solver.Step(step[i]) != nil {
			return nil
		}
	}
	ofE := func(v [3]float64) float64 { return (v[1]+v[2])/2 - v[0] }
	// By what no parameter takes up, and what the limits tell.
	weight := max(0, ofE(sum)-ofE(promise)) + 3
	mean := max(0, (sum[2]-sum[1])/4/weight)
	size := min(1, math.Sqrt(mean*mean+1/weight))
	x := slices.Clone(s.x)
	floats.AddScaled(x, size/2, step[1])
	floats.AddScaled(x, -size/2, step[2])
	return x
}

// reweighed is the same problem with other weights.
func (j *joint) reweighed(widen, ownDB float64) *joint {
	other := *j
	other.widen, other.ownDB, other.groups = widen, ownDB, slices.Clone(j.groups)
	other.weigh(0)
	return &other
}
