package response

import (
	"context"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"sync"
	"testing"

	"coilsweep/excite"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mat"
)

// testStimulus is the default one at another rate and number of repeats.
func testStimulus(rateHz, repeats int) excite.Stimulus {
	r := excite.DefaultRequest()
	r.RateHz, r.Repeats = rateHz, repeats
	s, err := excite.Design(r)
	if err != nil {
		panic(err)
	}
	return s
}

// sweepAt is the sweep at t seconds after its start: Novak, Lotton and Simon
// (2015), with raised-cosine ends.
func sweepAt(s excite.Stimulus, t float64) float64 {
	rate := float64(s.RateHz)
	length := float64(s.SweepSamples-1) / rate
	if t < 0 || t > length {
		return 0
	}
	l := float64(s.Cycles) / s.FromHz
	a := math.Pow(10, s.LevelDBFS/20)
	if in := float64(s.FadeInSamples) / rate; t < in {
		a *= 0.5 - 0.5*math.Cos(math.Pi*t/in)
	}
	if out := float64(s.FadeOutSamples) / rate; t > length-out {
		a *= 0.5 - 0.5*math.Cos(math.Pi*(length-t)/out)
	}
	return a * math.Sin(2*math.Pi*float64(s.Cycles)*math.Exp(t/l))
}

var periodOnce = sync.OnceValue(func() []float64 { return testStimulus(48000, 4).Sweep() })

// testPeriod is one period of testStimulus at 48 kHz. Not to be written to.
func testPeriod() []float64 { return periodOnce() }

// through is the steady periodic answer of a filter to one period.
func through(period []float64, rateHz float64, h func(hz float64) complex128) []float64 {
	plan := fourier.NewFFT(len(period))
	c := plan.Coefficients(nil, period)
	for l := range c {
		c[l] *= h(float64(l) * rateHz / float64(len(period)))
	}
	if len(period)%2 == 0 {
		c[len(c)-1] = complex(real(c[len(c)-1]), 0)
	}
	c[0] = complex(real(c[0]), 0)
	out := plan.Sequence(nil, c)
	for i := range out {
		out[i] /= float64(len(period))
	}
	return out
}

// resonator has the pole pair f, q and unit gain at DC.
func resonator(f, q float64) func(hz float64) complex128 {
	return func(hz float64) complex128 {
		x := hz / f
		return 1 / complex(1-x*x, x/q)
	}
}

// driven is the answer to a current-driven exciter: e = s i, 1 at 1 kHz.
func driven(h func(float64) complex128) func(float64) complex128 {
	return func(hz float64) complex128 { return complex(0, hz/1000) * h(hz) }
}

// benchMaterial makes material from a filter and the default stimulus: repeats
// periods, with white noise.
func benchMaterial(h func(hz float64) complex128, repeats int, noise float64, seed uint64) *material {
	return materialOf(testStimulus(48000, 4), testPeriod(), h, repeats, noise, seed)
}

// shortMaterial is benchMaterial with sweeps of 1.2 s: quicker where only
// noise is looked at.
func shortMaterial(h func(hz float64) complex128, repeats int, noise float64, seed uint64) *material {
	stim, period := shortOnce()
	return materialOf(stim, period, h, repeats, noise, seed)
}

var shortOnce = sync.OnceValues(func() (excite.Stimulus, []float64) {
	r := excite.DefaultRequest()
	r.SweepS, r.GapS = 1.2, 0.3
	s, err := excite.Design(r)
	if err != nil {
		panic(err)
	}
	return s, s.Sweep()
})

func materialOf(stim excite.Stimulus, period []float64, h func(hz float64) complex128, repeats int, noise float64,
	seed uint64) *material {
	rng := rand.New(rand.NewPCG(seed, 1))
	m := &material{rateHz: float64(stim.RateHz), fromHz: stim.FromHz, toHz: stim.ToHz, course: stim.Course(),
		shaped: len(stim.Shape) > 0, slope: func(hz float64) complex128 { return complex(0, hz/1000) }}
	var err error
	if m.masked, err = newMasked(period, m.rateHz, m.fromHz, m.toHz, m.course.Weight); err != nil {
		panic(err)
	}
	clean := through(period, m.rateHz, h)
	for range repeats {
		m.coil = append(m.coil, noisy(clean, noise, rng))
	}
	m.coilSilence = noisy(make([]float64, stim.LeadInSamples), noise, rng)
	return m
}

func noisy(x []float64, noise float64, rng *rand.Rand) []float64 {
	out := make([]float64, len(x))
	for i := range x {
		out[i] = x[i]
		if noise != 0 {
			out[i] += noise * rng.NormFloat64()
		}
	}
	return out
}

// stateSpace simulates dx/dt = A x + B u, u constant over a step, y = C x.
type stateSpace struct {
	phi   *mat.Dense
	gamma []float64
	out   []float64
}

// discretise is exact: the exponential of [A B; 0 0] T (C. F. Van Loan, IEEE
// Trans. AC 23(3), 1978).
func discretise(a [][]float64, b, out []float64, stepS float64) stateSpace {
	n := len(b)
	m := mat.NewDense(n+1, n+1, nil)
	for i := range a {
		for j := range a[i] {
			m.Set(i, j, a[i][j]*stepS)
		}
		m.Set(i, n, b[i]*stepS)
	}
	var e mat.Dense
	e.Exp(m)
	s := stateSpace{phi: mat.NewDense(n, n, nil), out: out}
	for i := range n {
		for j := range n {
			s.phi.Set(i, j, e.At(i, j))
		}
		s.gamma = append(s.gamma, e.At(i, n))
	}
	return s
}

// matched takes a real gain and a delay off r against want, by weighted least
// squares over fromHz … toHz, and gives the relative errors left (NaN outside).
func matched(r *Response, want func(hz float64) complex128, fromHz, toHz float64) []complex128 {
	out := make([]complex128, len(r.H))
	var sw, swt float64
	turn, gain, count := 0.0, 0.0, 0.0
	last := 0.0
	phase := make([]float64, len(r.H))
	for i, f := range r.FrequencyHz {
		out[i] = r.H[i] / want(f)
		phase[i] = cmplx.Phase(out[i]) + turn
		if i > 0 {
			for ; phase[i]-last > math.Pi; phase[i] -= 2 * math.Pi {
				turn -= 2 * math.Pi
			}
			for ; phase[i]-last < -math.Pi; phase[i] += 2 * math.Pi {
				turn += 2 * math.Pi
			}
		}
		last = phase[i]
	}
	half := math.Round(phase[0]/math.Pi) * math.Pi // polarity
	for i, f := range r.FrequencyHz {
		if f >= fromHz && f <= toHz {
			w := square(r.H[i]) / r.Variance[i]
			sw += w * f * f
			swt += w * f * (phase[i] - half)
			gain += w * math.Log(cmplx.Abs(out[i]))
			count += w
		}
	}
	for i, f := range r.FrequencyHz {
		if f < fromHz || f > toHz {
			out[i] = cmplx.NaN()
			continue
		}
		out[i] = out[i]*cmplx.Rect(math.Exp(-gain/count), -half-f*swt/sw) - 1
	}
	return out
}

// absolute gives the relative errors of r, whose gain and delay are known to
// be 1 and 0.
func absolute(r *Response, want func(hz float64) complex128) []complex128 {
	out := make([]complex128, len(r.H))
	for i, f := range r.FrequencyHz {
		out[i] = r.H[i]*cmplx.Rect(1, -2*math.Pi*f*r.ExtraDelayS)/want(f) - 1
	}
	return out
}

// worst is the largest error within fromHz … toHz in dB and in degrees.
func worst(r *Response, errors []complex128, fromHz, toHz float64) (db, deg float64) {
	for i, f := range r.FrequencyHz {
		if f >= fromHz && f <= toHz {
			db = max(db, math.Abs(20*math.Log10(cmplx.Abs(1+errors[i]))))
			deg = max(deg, math.Abs(cmplx.Phase(1+errors[i]))*180/math.Pi)
		}
	}
	return db, deg
}

func estimated(t testing.TB, m *material) *Response {
	t.Helper()
	r, err := m.estimate(context.Background(), new(Estimator))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// unit is exp(j x).
func unit(x float64) complex128 { return cmplx.Rect(1, x) }
