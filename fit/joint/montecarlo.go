package joint

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"

	"coilsweep/capture/fault"
	"coilsweep/fit"
	"coilsweep/fit/leastsquares"
	"coilsweep/fit/response"
)

// monteCarlo repeats the fit of the chosen form trials times on all cores.
// progress, if not nil, is called with the number done, one call at a time.
func (a *analysis) monteCarlo(ctx context.Context, trials int, seed uint64, progress func(done int)) (*fit.MonteCarlo,
	error) {
	type wanted struct {
		name string
		d    derived
	}
	quantities := []wanted{
		{"inductance_h", derived{name: nameInductance}},
		{"capacitance_f", derived{name: nameCapacitance}},
		{"resistance_ohm", derived{name: nameResistance}},
	}
	if a.request.parts.fixtureKnown {
		quantities = append(quantities, wanted{"capacitance_coil_f", derived{name: nameCapacitanceCoil}})
	}
	for i, t := range a.best.joint.takes {
		quantities = append(quantities,
			wanted{"resonance_hz of " + t.Name, derived{name: nameResonance, index: i}},
			wanted{"q of " + t.Name, derived{name: nameQ, index: i}})
	}
	values := make([][]float64, len(quantities))
	for i := range values {
		values[i] = make([]float64, trials)
	}
	var lock sync.Mutex
	next, done, failed := 0, 0, 0
	fault.Parallel(runtime.GOMAXPROCS(0), func() {
		r := a.newRepeater()
		for {
			lock.Lock()
			trial := next
			next++
			lock.Unlock()
			if trial >= trials || ctx.Err() != nil {
				return
			}
			random := rand.New(rand.NewPCG(seed, uint64(trial)))
			clock := 1 + a.clockU()*math.Sqrt(3)*(2*random.Float64()-1)
			x, err := r.draw(random)
			for i, q := range quantities {
				values[i][trial] = math.NaN()
				if err == nil {
					values[i][trial] = r.joint.at(q.d, x)
				}
				if q.d.isFrequency() {
					values[i][trial] *= clock
				}
			}
			lock.Lock()
			done++
			if err != nil {
				failed++
			}
			if progress != nil {
				progress(done)
			}
			lock.Unlock()
		}
	})
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	m := &fit.MonteCarlo{Trials: trials, Failed: failed}
	for i, q := range quantities {
		m.Quantities = append(m.Quantities, distribution(q.name, values[i]))
	}
	return m, nil
}

// distribution of values; NaN are left out.
func distribution(name string, values []float64) fit.MonteCarloQuantity {
	v := slices.DeleteFunc(slices.Clone(values), math.IsNaN)
	q := fit.MonteCarloQuantity{Name: name, Known: len(v)}
	if len(v) < 2 {
		return q
	}
	slices.Sort(v)
	for _, x := range v {
		q.Mean += x / float64(len(v))
	}
	for _, x := range v {
		q.U += (x - q.Mean) * (x - q.Mean) / float64(len(v)-1)
	}
	q.U = math.Sqrt(q.U)
	quantile := func(p float64) float64 {
		at := p * float64(len(v)-1)
		i := min(int(at), len(v)-2)
		return v[i] + (at-float64(i))*(v[i+1]-v[i])
	}
	q.Low, q.High = quantile(0.025), quantile(0.975)
	return q
}

// repeater repeats the fit with data and parts drawn anew.
type repeater struct {
	start    []float64
	joint    *joint
	solver   *leastsquares.Solver
	measured [][]complex128
	means    []float64
	groups   []group // as measured
}

func (a *analysis) newRepeater() *repeater {
	j := *a.best.joint
	j.takes = slices.Clone(j.takes)
	j.priors = slices.Clone(j.priors)
	j.groups = slices.Clone(j.groups)
	r := &repeater{start: a.best.x, joint: &j}
	for i, t := range j.takes {
		r.measured = append(r.measured, t.Response.H)
		j.takes[i].Response = &response.Response{
			FrequencyHz: t.Response.FrequencyHz, Variance: t.Response.Variance,
			H: slices.Clone(t.Response.H)}
	}
	r.groups = slices.Clone(j.groups)
	for _, p := range j.priors {
		r.means = append(r.means, p.mean)
	}
	r.solver = leastsquares.NewSolver(j.problem())
	return r
}

// draw repeats the fit once. The parameters are valid until the next draw.
func (r *repeater) draw(random *rand.Rand) ([]float64, error) {
	j := r.joint
	for t, measured := range r.measured {
		h := j.takes[t].Response.H
		for i := range h {
			u := j.widen / j.weight[t][i]
			h[i] = measured[i] + complex(u*random.NormFloat64(), u*random.NormFloat64())
		}
	}
	for n := range j.groups {
		g := &j.groups[n]
		if !g.common() {
			continue
		}
		for k := range g.square {
			c := complex(j.widen*random.NormFloat64(), j.widen*random.NormFloat64())
			for i, t := range g.takes {
				j.takes[t].Response.H[k] += c * g.ripple[i][k] / complex(j.weight[t][k], 0)
			}
		}
	}
	for i := range j.priors {
		p := &j.priors[i]
		p.mean = r.means[i]
		if p.source == sourceWeak || p.source == sourceCard && p.u > 1 {
			continue // the corners of a card may lie anywhere within decades
		}
		if p.limit {
			p.mean += p.u * math.Sqrt(3) * (2*random.Float64() - 1)
		} else {
			p.mean += p.u * random.NormFloat64()
		}
	}
	last := leastsquares.Settings{Tolerance: settled, MaxIterations: 60, Quick: true}
	m, err := r.solver.Minimize(r.start, last)
	if err == nil {
		return m.P, nil
	}
	x := slices.Clone(r.start)
	weight := j.weight
	for _, blunt := range bluntSteps {
		j.weigh(blunt)
		m, _ = r.solver.Minimize(x, leastsquares.Settings{MaxIterations: 15, Tolerance: 1e-4, Quick: true})
		copy(x, m.P)
	}
	j.weight = weight
	copy(j.groups, r.groups)
	m, err = r.solver.Minimize(x, last)
	return m.P, err
}
