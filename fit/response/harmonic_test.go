package response

import (
	"math"
	"math/cmplx"
	"testing"

	"coilsweep/excite"
)

// distorted is one period of x + b x^2 + c x^3, x the sweep: the powers of a
// sine give sin^2 p = 1/2 - 1/2 cos 2p and sin^3 p = 3/4 sin p - 1/4 sin 3p.
// Harmonics fade out below half the rate, as in a converter.
func distorted(s excite.Stimulus, b, c float64) []float64 {
	out := make([]float64, s.PeriodSamples)
	rate := float64(s.RateHz)
	l := float64(s.Cycles) / s.FromHz
	level := math.Pow(10, s.LevelDBFS/20)
	for i := range s.SweepSamples {
		t := float64(i) / rate
		p := 2 * math.Pi * float64(s.Cycles) * math.Exp(t/l)
		hz := s.FromHz * math.Exp(t/l)
		x := sweepAt(s, t)
		a := x / math.Sin(p) // amplitude, fades included
		if math.Abs(math.Sin(p)) < 1e-3 {
			a = level
		}
		out[i] = x + 0.75*c*a*a*x +
			b*a*a*(0.5-0.5*math.Cos(2*p))*smoothStep((0.47*rate-2*hz)/(0.04*rate)) +
			-0.25*c*a*a*a*math.Sin(3*p)*smoothStep((0.47*rate-3*hz)/(0.04*rate))
	}
	return out
}

// TestHarmonics: a polynomial of known coefficients before the coil. The
// second harmonic is b A/2 at -90 degrees, the third c A^2/4 at 180 degrees of
// a sine of amplitude A, times the response at the harmonic over that at the
// excitation (Novak, Lotton and Simon, 2015).
func TestHarmonics(t *testing.T) {
	t.Parallel()
	stim := testStimulus(48000, 4)
	a := math.Pow(10, stim.LevelDBFS/20)
	const b, c = 0.02, 0.05
	g := driven(resonator(4000, 4))
	clean := estimated(t, benchMaterial(g, 2, 0, 1))
	m := benchMaterial(g, 2, 0, 1)
	period := through(distorted(stim, b, c), m.rateHz, g)
	m.coil = [][]float64{period, period}
	r := estimated(t, m)

	linear := 1 + 0.75*c*a*a
	for n, want := range []complex128{complex(0, -b*a/2), complex(-c*a*a/4, 0)} {
		order := float64(n + 2)
		var worstDB, worstDeg, count float64
		for i, f := range r.FrequencyHz {
			got := r.harmonicRatio[n][i]
			if f < 40 || order*f > 17000 {
				continue
			}
			if cmplx.IsNaN(got) {
				t.Fatalf("order %g: nothing at %g Hz", order, f)
			}
			// Only the difference of the delays at n f and f was taken off.
			want := want * g(order*f) / g(f) / complex(linear, 0) * unit(2*math.Pi*(order-1)*f*r.ExtraDelayS)
			q := got / want
			worstDB = max(worstDB, math.Abs(20*math.Log10(cmplx.Abs(q))))
			worstDeg = max(worstDeg, math.Abs(cmplx.Phase(q))*180/math.Pi)
			if size := cmplx.Abs(got); math.Abs(r.Harmonic[n][i]/size-1) > 1e-12 {
				t.Fatalf("order %g: Harmonic %g, size %g", order, r.Harmonic[n][i], size)
			}
			count++
		}
		t.Logf("order %g: %.3f dB, %.3f degrees at most over %g points from 40 Hz on", order, worstDB, worstDeg, count)
		if worstDB > 0.1 || worstDeg > 1 {
			t.Errorf("order %g: %.3f dB and %.3f degrees off, want at most 0.1 and 1", order, worstDB, worstDeg)
		}
		if last := r.Harmonic[n][len(r.H)-1]; !math.IsNaN(last) {
			t.Errorf("order %g at %g Hz: %g, want NaN out of the band", order, r.FrequencyHz[len(r.H)-1], last)
		}
	}

	// The linear response keeps nothing of them: -100 dB is below the noise of
	// any sound card. (In the faded ends of the sweep the cubic term adds less
	// to the fundamental, so they are left out.)
	rest := 0.0
	for i, f := range r.FrequencyHz {
		if f > 40 && f < 19000 {
			rest = max(rest, cmplx.Abs(r.H[i]/clean.H[i]/complex(linear, 0)-1))
		}
	}
	t.Logf("harmonics of %.0f and %.0f dB leave %.0f dB in the linear response", 20*math.Log10(b*a/2),
		20*math.Log10(c*a*a/4), 20*math.Log10(rest))
	if rest > 1e-5 {
		t.Errorf("harmonics leave %.0f dB in the linear response, want at most -100", 20*math.Log10(rest))
	}
}

// The floor of a harmonic is the noise in it: of a recording without distortion the mean
// square of what is found over that of the floor is 1 within 10 %, for 1 and 4 repeats, and
// 0.1 % of the points exceed it by 8.4 dB, as the size of complex noise does.
func TestHarmonicFloor(t *testing.T) {
	t.Parallel()
	h := driven(resonator(4000, 5))
	for _, repeats := range []int{1, 4} {
		for n := range harmonicOrders {
			var square, points, above float64
			for seed := range uint64(8) {
				r := estimated(t, shortMaterial(h, repeats, 3e-3, 7000+uint64(10*repeats)+seed))
				for i, floor := range r.HarmonicFloor[n] {
					if math.IsNaN(floor) != math.IsNaN(r.Harmonic[n][i]) {
						t.Fatalf("order %d, %g Hz: %g over a floor of %g", n+2, r.FrequencyHz[i], r.Harmonic[n][i], floor)
					}
					if over := r.Harmonic[n][i] / floor; over >= 0 {
						square, points = square+over*over, points+1
						if over > 2.63 {
							above++
						}
					}
				}
			}
			t.Logf("%d repeats, order %d: mean square over the floor's %.3f, %.2f %% of %.0f above it by 8.4 dB", repeats,
				n+2, square/points, 100*above/points, points)
			if math.Abs(square/points-1) > 0.1 || above/points > 0.004 {
				t.Errorf("%d repeats, order %d: mean square over the floor's %.3f, %.2f %% above it by 8.4 dB; want 1.0 and 0.1",
					repeats, n+2, square/points, 100*above/points)
			}
		}
	}
}
