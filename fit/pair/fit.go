package pair

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/mat"

	"coilsweep/capture"
	"coilsweep/fit/circuit"
	"coilsweep/fit/leastsquares"
)

// fitted is the model at its minimum.
type fitted struct {
	*model
	x          []float64
	covariance *mat.SymDense
	sumSquares float64
	chi2, dof  float64 // of the points, without what their neighbours share
	unsettled  bool    // the search used up its iterations
}

const (
	mostLoops = 3
	// leastOwnU is what a sound card leaves in one take: a limit of 0.001 dB.
	leastOwnU = 0.001 * math.Ln10 / 20 / 1.7320508
	// poor is the reduced chi-square above which U95 is widened.
	poor = 1.15
)

// blunt are the steps of the search: what no circuit explains is taken as large first,
// so that it does not end in a false minimum.
var blunt = []float64{0.03, 0.003, 3e-4}

var errNoFit = &capture.UnfitError{What: "no pair of coils was found that explains the takes: check in pair.toml " +
	"what was connected in each take and where the exciter was"}

// fruitless tells whether a search ended without a pair.
func fruitless(err error) bool {
	return errors.Is(err, leastsquares.ErrSingular) || errors.Is(err, leastsquares.ErrDomain)
}

// searchDensity is how many points an octave a search needs.
const searchDensity = 16

// search fits with the number of loops that the takes call for.
func search(ctx context.Context, q Request) (*fitted, error) {
	var best, first *fitted
	bestBIC := math.Inf(1)
	for _, loops := range []int{1, 0, 2, 3} {
		if loops == 3 && best != nil && (best.loops < 2 || best.chi2 < poor*best.dof) {
			break // two are enough
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		f, err := searchWith(q, loops, first)
		if fruitless(err) {
			continue
		} else if err != nil {
			return nil, err
		}
		if loops == 1 || loops == 2 {
			first = f
		}
		points := 0.0
		for _, g := range f.groups {
			points += float64(2 * (len(g.takes) - 1) * len(g.omega))
		}
		if bic := f.sumSquares + float64(4*loops)*math.Log(points); bic < bestBIC {
			best, bestBIC = f, bic
		}
	}
	if best == nil {
		return nil, errNoFit
	}
	// Once more, with all points.
	whole, err := newModel(q, best.loops, 0)
	if err != nil {
		return nil, err
	}
	f := &fitted{model: whole, x: best.x}
	f.ownU = leastOwnU
	for p := range f.groups {
		f.normalise(&f.groups[p], slices.Clone(f.x))
	}
	err = f.settle(leastsquares.NewSolver(f.problem()))
	if err == nil {
		err = f.widen()
	}
	if fruitless(err) {
		return nil, errNoFit
	}
	return f, err
}

// searchWith searches with so many loops, from where another search with fewer or more
// ended; nil: from the start.
func searchWith(q Request, loops int, from *fitted) (*fitted, error) {
	m, err := newModel(q, loops, searchDensity)
	if err != nil {
		return nil, err
	}
	solver := leastsquares.NewSolver(m.problem())
	var best []float64
	least := math.Inf(1)
	// The sign of the coupling is what the search could get stuck at.
	for _, k := range []float64{0.05, -0.05} {
		x, steps := m.start(k), blunt
		if from != nil {
			m.adopt(x, from)
			steps = blunt[1:]
		}
		for _, u := range steps {
			m.ownU = u
			m.weigh(x)
			found, err := solver.Minimize(x, leastsquares.Settings{MaxIterations: 25, Tolerance: 1e-4, Quick: true})
			if err != nil && !errors.Is(err, leastsquares.ErrIterations) {
				return nil, err
			}
			x = slices.Clone(found.P)
			if u == blunt[len(blunt)-1] && found.SumSquares < least {
				best, least = x, found.SumSquares
			}
		}
		if from != nil {
			break
		}
	}
	f := &fitted{model: m, x: best}
	m.ownU = leastOwnU
	return f, f.settle(solver)
}

// adopt takes the parameters of another number of loops into x.
func (m *model) adopt(x []float64, from *fitted) {
	copy(x, from.x[:fixedColumns])
	for i := range m.coil {
		copy(x[m.coil[i]:], from.x[from.coil[i]:from.coil[i]+3+2*min(m.loops, from.loops)])
	}
	copy(x[m.coil[1]+3+2*m.loops:], from.x[from.coil[1]+3+2*from.loops:])
}

// settle finds the minimum near x, and the covariance there.
func (f *fitted) settle(solver *leastsquares.Solver) error {
	f.weigh(f.x)
	found, err := solver.Minimize(f.x, leastsquares.Settings{MaxIterations: 60, Tolerance: 1e-6})
	if err != nil && !errors.Is(err, leastsquares.ErrIterations) {
		return err
	}
	f.x, f.sumSquares, f.unsettled = slices.Clone(found.P), found.SumSquares, err != nil
	f.covariance = mat.NewSymDense(f.n, nil)
	if err := solver.Covariance(f.covariance); err != nil {
		return fmt.Errorf("pair: %w", err)
	}
	f.chi2, f.dof = f.spread(f.ownU)
	return nil
}

// spread is the sum of squares of the points with ownU for single ones, and its degrees of
// freedom.
func (f *fitted) spread(ownU float64) (chi2, dof float64) {
	dof = -float64(f.n - len(f.priors))
	for b := range f.groups {
		g := &f.groups[b]
		r := make([]float64, 2*len(g.takes)*len(g.omega))
		alike, own := g.alike, f.ownU
		g.alike, f.ownU = 1, ownU
		f.evaluate(g, f.x, r, nil)
		g.alike, f.ownU = alike, own
		for _, v := range r {
			chi2 += v * v
		}
		dof += float64(2 * (len(g.takes) - 1) * len(g.omega))
	}
	return chi2, dof
}

// misfitOctaves is over how many octaves what a wrong circuit leaves is taken as alike: with
// two loops for metal of five, inductances were off by 1.5 times their U95 with one octave.
const misfitOctaves = 3

// widen enlarges what no circuit explains until the points scatter as they should.
func (f *fitted) widen() error {
	for round := range 3 {
		if f.chi2 < poor*f.dof {
			return nil
		}
		for b := range f.groups {
			if round == 0 {
				f.groups[b].alike *= misfitOctaves
			}
		}
		low, high := f.ownU, 1.0
		for range 50 {
			middle := math.Sqrt(low * high)
			if chi2, dof := f.spread(middle); chi2 > dof {
				low = middle
			} else {
				high = middle
			}
		}
		f.ownU = high
		if err := f.settle(leastsquares.NewSolver(f.problem())); err != nil {
			return err
		}
	}
	return nil
}

// start is where the search begins, with the coupling k.
func (m *model) start(k float64) []float64 {
	x := make([]float64, m.n)
	for _, p := range m.priors {
		x[p.column] = p.mean
	}
	x[atCoupling] = k
	for i, c := range m.request.Start {
		at := m.coil[i]
		x[at], x[at+1] = math.Log(c.InductanceH), math.Log(c.ResistanceOhm)
		x[at+2] = math.Log(max(0.85*c.CapacitanceF-usualGroundF/2, 0.3*c.CapacitanceF))
	}
	for p, place := range m.places {
		at := m.place + ofPlace*p
		x[at] = map[Place]float64{OverBoth: 1, OverFirst: 0.1, OverSecond: 10}[place]
		if ratio, ok := m.plateaus(p); ok {
			x[at] = ratio
		}
		m.normalise(&m.groups[p], x)
	}
	return x
}

// plateaus is the second coil's signal alone over the first's at a place, at low
// frequency.
func (m *model) plateaus(place int) (ratio float64, ok bool) {
	g := &m.groups[place]
	var of [2]complex128
	for i, t := range g.takes {
		take := m.request.Takes[t]
		w := take.Connection.Wiring
		if w > circuit.SecondAlone || of[w] != 0 || take.LevelChanged {
			continue
		}
		n := 0
		for k, omega := range g.omega {
			if hz := omega / (2 * math.Pi); hz > 100 && hz < 500 {
				of[w] += g.h[i][k]
				n++
			}
		}
	}
	if of[0] == 0 || of[1] == 0 {
		return 0, false
	}
	ratio = cmplx.Abs(of[1]) / cmplx.Abs(of[0])
	if real(of[1]/of[0]) < 0 {
		ratio = -ratio
	}
	return ratio, true
}

// normalise divides a group's responses by what the first of them is over the model, which
// they may all have in common, and starts each take's delay.
func (m *model) normalise(g *group, x []float64) {
	at := make([]complex128, len(g.omega))
	m.respond(g.takes[0], x, at, nil)
	first := slices.Clone(g.h[0])
	for i := range g.h {
		for k := range at {
			g.h[i][k] *= at[k] / first[k]
		}
	}
	for i, t := range g.takes {
		m.respond(t, x, at, nil)
		var slope, weight float64
		for k, w := range g.omega {
			if hz := w / (2 * math.Pi); hz < 300 || hz > 2000 {
				continue
			}
			slope += w * cmplx.Phase(at[k]/g.h[i][k])
			weight += w * w
		}
		if weight > 0 {
			x[m.take+perTake*t+1] = slope / weight * 1e6
		}
	}
}
