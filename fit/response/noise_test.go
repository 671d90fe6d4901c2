package response

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// spread collects the deviations of noisy estimates from the noise-free one.
type spread struct {
	squares, variance, chi2, floor float64
	cross, auto                    float64 // of neighbours
	along, across                  float64 // the part in the direction of the point, and that across it
	points                         float64
	inverseDoF                     float64
	snrDB                          float64
	takes                          float64
}

// add takes in the points of r from … to; shape is the noise floor that they
// are weighed by, so that all points weigh alike.
func (s *spread) add(r, clean *Response, shape []float64, from, to float64) {
	var last complex128
	for i, f := range r.FrequencyHz {
		d := r.H[i] - clean.H[i]
		e := d / complex(math.Sqrt(r.Variance[i]), 0)
		if f < from || f > to {
			continue
		}
		k := 1 / (shape[i] * shape[i])
		s.squares += square(d) * k
		s.variance += r.Variance[i] * k
		s.floor += r.NoiseFloor[i] * r.NoiseFloor[i] * k
		s.chi2 += square(e)
		s.cross += real(e)*real(last) + imag(e)*imag(last)
		s.auto += square(e)
		s.points++
		turned := e * cmplx.Conj(clean.H[i]) / complex(cmplx.Abs(clean.H[i]), 0)
		s.along += 2 * real(turned) * real(turned)
		s.across += 2 * imag(turned) * imag(turned)
		last = e
	}
	s.inverseDoF += 1 / r.VarianceDoF
	s.snrDB += r.SNRdB
	s.takes++
}

// longFloor is the shape of white noise's floor, from ten seconds of it.
func longFloor(t *testing.T, h func(float64) complex128) []float64 {
	m := shortMaterial(driven(h), 2, 0, 1)
	m.coilSilence = noisy(make([]float64, 10*48000), 1, rand.New(rand.NewPCG(5, 5)))
	return estimated(t, m).NoiseFloor
}

// TestNoise: the variance given is that of the points. White noise, 1, 2 and
// 4 repeats; the ratio of the noise given to the true one, and chi-square
// a point, are 1.00 within 5 % on average over the band, and within four
// standard deviations of the test (plus those 5 %) in each third of it. Each component,
// of magnitude and of phase, has half of the variance.
func TestNoise(t *testing.T) {
	t.Parallel()
	h := resonator(4000, 5)
	clean := estimated(t, shortMaterial(driven(h), 2, 0, 1))
	shape := longFloor(t, h)
	for _, repeats := range []int{1, 2, 4} {
		var all spread
		var part [3]spread
		edges := [4]float64{20, 200, 2000, 20000}
		for seed := range uint64(8) {
			r := estimated(t, shortMaterial(driven(h), repeats, 3e-3, uint64(1000*repeats)+seed))
			if len(r.HumLinesHz) > 0 {
				t.Errorf("%d repeats: lines %v Hz left out of plain noise", repeats, r.HumLinesHz)
			}
			all.add(r, clean, shape, 20, 20000)
			for i := range part {
				part[i].add(r, clean, shape, edges[i], edges[i+1])
			}
		}
		ratio := all.variance / all.squares
		// E(1/s^2) of a variance with nu degrees of freedom is nu/(nu-2).
		nu := all.takes / all.inverseDoF
		chi2 := all.chi2 / all.points / (nu / (nu - 2))
		neighbours := all.cross / all.auto
		t.Logf("%d repeats: noise given/true %.3f, chi-square a point %.3f, correlation of neighbours %+.3f, "+
			"silence/true %.3f, dof %.0f",
			repeats, ratio, chi2, neighbours, all.floor/all.squares, nu)
		if math.Abs(ratio-1) > 0.05 || math.Abs(chi2-1) > 0.05 {
			t.Errorf("%d repeats: noise given/true %.3f, chi-square %.3f, want 1.00 within 0.05", repeats, ratio, chi2)
		}
		along, across := all.along/all.points/(nu/(nu-2)), all.across/all.points/(nu/(nu-2))
		t.Logf("%d repeats: along the point %.3f, across it %.3f of half the variance", repeats, along, across)
		if limit := 0.05 + 4*math.Sqrt(2/all.points); math.Abs(along-1) > limit || math.Abs(across-1) > limit {
			t.Errorf("%d repeats: along the point %.3f, across it %.3f of half the variance, want 1.00 within %.2f", repeats,
				along, across, limit)
		}
		if math.Abs(neighbours) > 0.05 {
			t.Errorf("%d repeats: neighbouring points correlate by %.3f, want below 0.05", repeats, neighbours)
		}
		for i, p := range part {
			if got, limit := p.variance/p.squares, 0.05+4/math.Sqrt(p.points); math.Abs(got-1) > limit {
				t.Errorf("%d repeats, %g to %g Hz: noise given/true %.3f, want 1.00 within %.2f", repeats, edges[i],
					edges[i+1], got, limit)
			}
		}
		if got := all.floor / all.squares; math.Abs(got-1) > 0.08 {
			t.Errorf("%d repeats: noise floor of the silence/true %.3f, want 1.00 within 0.08", repeats, got)
		}
	}
}

// TestColouredNoise: noise with a hump at the coil's resonance, as that of its
// resistance has, is followed.
func TestColouredNoise(t *testing.T) {
	t.Parallel()
	h := resonator(4000, 5)
	clean := estimated(t, shortMaterial(driven(h), 2, 0, 1))
	shape := longFloor(t, h)
	var all, hump spread
	for seed := range uint64(3) {
		m := shortMaterial(driven(h), 4, 0, seed)
		rng := rand.New(rand.NewPCG(seed, 2))
		for k := range m.coil {
			for i, x := range through(noisy(make([]float64, m.masked.samples), 3e-3, rng), m.rateHz, h) {
				m.coil[k][i] += x
			}
		}
		m.coilSilence = through(noisy(make([]float64, 28800), 3e-3, rng), m.rateHz, h)
		r := estimated(t, m)
		all.add(r, clean, shape, 20, 20000)
		hump.add(r, clean, shape, 3000, 5000)
	}
	nu := all.takes / all.inverseDoF
	a, b := all.chi2/all.points/(nu/(nu-2)), hump.chi2/hump.points
	t.Logf("chi-square a point %.3f; from 3 to 5 kHz %.3f", a, b)
	if math.Abs(a-1) > 0.05 || math.Abs(b-1) > 0.05+4/math.Sqrt(hump.points) {
		t.Errorf("chi-square a point %.3f, from 3 to 5 kHz %.3f, want 1", a, b)
	}
}

// TestSNRAgainstRepeats: each doubling of the repeats gains 3.0 ± 0.3 dB.
func TestSNRAgainstRepeats(t *testing.T) {
	t.Parallel()
	h := resonator(4000, 5)
	clean := estimated(t, shortMaterial(driven(h), 2, 0, 1))
	shape := longFloor(t, h)
	var given, true_ []float64
	for _, repeats := range []int{2, 4, 8, 16} {
		var s spread
		sum := 0.0
		for seed := range uint64(2) {
			r := estimated(t, shortMaterial(driven(h), repeats, 3e-3, 100+seed))
			s.add(r, clean, shape, 20, 20000)
			for i := range r.H {
				sum += square(r.H[i]-clean.H[i]) / square(clean.H[i]) * (clean.FrequencyHz[i] / 1000)
			}
		}
		given = append(given, s.snrDB/s.takes)
		true_ = append(true_, -10*math.Log10(sum))
	}
	for i := 1; i < len(given); i++ {
		t.Logf("doubling %d: SNRdB %+.2f dB, true %+.2f dB", i, given[i]-given[i-1], true_[i]-true_[i-1])
	}
	slope := (given[3] - given[0]) / 3
	if math.Abs(slope-3.0) > 0.3 {
		t.Errorf("SNRdB gains %.2f dB a doubling of the repeats, want 3.0 ± 0.3", slope)
	}
	if slope := (true_[3] - true_[0]) / 3; math.Abs(slope-3.0) > 0.3 {
		t.Errorf("the signal-to-noise ratio gains %.2f dB a doubling of the repeats, want 3.0 ± 0.3", slope)
	}
}

// TestWander: repeats that differ in gain and delay (an exciter that warms up,
// two clocks) are brought together, and what does not wander is left alone.
func TestWander(t *testing.T) {
	t.Parallel()
	h := resonator(4000, 5)
	clean := estimated(t, shortMaterial(driven(h), 2, 0, 1))
	shape := longFloor(t, h)
	gains, delays := []float64{1, 0.999, 0.997, 0.996}, []float64{0, 2e-7, 5e-7, -3e-7}
	var s spread
	for seed := range uint64(3) {
		m := shortMaterial(driven(h), 4, 1e-3, seed)
		for k := range m.coil {
			m.coil[k] = through(m.coil[k], m.rateHz, func(hz float64) complex128 {
				return complex(gains[k], 0) * unit(-2*math.Pi*hz*delays[k])
			})
		}
		r := estimated(t, m)
		for k := range gains {
			if math.Abs(r.RepeatGain[k]-gains[k]) > 1e-4 || math.Abs(r.RepeatDelayS[k]-delays[k]) > 3e-8 {
				t.Errorf("repeat %d: gain %.5f, delay %.2e s, want %.5f and %.2e", k, r.RepeatGain[k],
					r.RepeatDelayS[k], gains[k], delays[k])
			}
		}
		s.add(r, clean, shape, 20, 20000)
	}
	if got := s.chi2 / s.points; math.Abs(got-1) > 0.1 {
		t.Errorf("chi-square a point %.3f, want 1.0 within 0.1", got)
	}
	r := estimated(t, shortMaterial(driven(h), 4, 3e-3, 9))
	for k := range r.RepeatGain {
		if r.RepeatGain[k] != 1 || r.RepeatDelayS[k] != 0 {
			t.Errorf("repeat %d does not wander, but gain %g and delay %g s were taken off", k, r.RepeatGain[k],
				r.RepeatDelayS[k])
		}
	}
}
