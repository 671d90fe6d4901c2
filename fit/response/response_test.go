package response

import (
	"encoding/csv"
	"math"
	"math/cmplx"
	"os"
	"strconv"
	"testing"

	"coilsweep/excite"
)

// coilCircuit is one of testdata/spice/*.cir as a state space: the currents
// through the inductances and the voltage across the terminals.
type coilCircuit struct {
	name             string
	l, r, c, load    float64
	eddyL, eddyR, l1 float64 // branch in series with l1 where eddyL is not 0
}

var circuits = []coilCircuit{
	{name: "a1", l: 2.2, r: 6000, c: 470e-12, load: 1e6},
	{name: "a2", l: 2.2, r: 6000, c: 470e-12, load: 250e3},
	{name: "b1", l: 4.4, r: 8200, c: 700e-12, load: 1e6},
	{name: "b2", l: 4.4, r: 8200, c: 700e-12, load: 250e3},
	{name: "c1", l: 8, r: 15000, c: 650e-12, load: 1e6},
	{name: "c2", l: 8, r: 15000, c: 650e-12, load: 250e3},
	{name: "d1", l1: 3.52, r: 8200, c: 700e-12, load: 1e6, eddyL: 0.88, eddyR: 16587.60920945411},
}

func (c coilCircuit) system(stepS float64) stateSpace {
	if c.eddyL == 0 {
		return discretise([][]float64{
			{-c.r / c.l, -1 / c.l},
			{1 / c.c, -1 / (c.c * c.load)},
		}, []float64{1 / c.l, 0}, []float64{0, 1}, stepS)
	}
	return discretise([][]float64{
		{-(c.r + c.eddyR) / c.l1, c.eddyR / c.l1, -1 / c.l1},
		{c.eddyR / c.eddyL, -c.eddyR / c.eddyL, 0},
		{1 / c.c, 0, -1 / (c.c * c.load)},
	}, []float64{1 / c.l1, 0, 0}, []float64{0, 0, 1}, stepS)
}

// TestAgainstSpice steps the circuits in time, driven by a current that is the
// sweep, and compares the estimate with what ngspice computes of the same
// netlists (testdata/README.md). Gain and delay are known: nothing is fitted.
func TestAgainstSpice(t *testing.T) {
	t.Parallel()
	const over = 8 // steps a sample; the current runs straight between steps
	stim := testStimulus(48000, 4)
	stepS := 1 / (over * 48000.0)
	emf := make([]float64, stim.PeriodSamples*over)
	for i := range emf {
		// e = di/dt / (2 pi 1 kHz) over the step that ends at sample i.
		emf[i] = (sweepAt(stim, float64(i)*stepS) - sweepAt(stim, float64(i-1)*stepS)) / stepS / (2 * math.Pi * 1000)
	}
	table := spiceTable(t)
	for _, c := range circuits {
		if testing.Short() && c.name != "d1" {
			continue
		}
		period := c.system(stepS).run(emf, over)
		m := benchMaterial(driven(resonator(1000, 1)), 0, 0, 1)
		m.coil = [][]float64{period, period}
		r := estimated(t, m)
		var worstDB, worstDeg float64
		for _, row := range table[c.name] {
			if row.hz > r.FrequencyHz[len(r.H)-1] {
				continue
			}
			h := r.at(row.hz)
			// A current of straight pieces has the spectrum of its samples
			// times sinc^2.
			x := math.Pi * row.hz * stepS
			h *= complex(math.Pow(x/math.Sin(x), 2), 0)
			db := 20*math.Log10(cmplx.Abs(h)) - row.db
			deg := math.Remainder(cmplx.Phase(h)*180/math.Pi-row.deg, 360)
			worstDB, worstDeg = max(worstDB, math.Abs(db)), max(worstDeg, math.Abs(deg))
		}
		t.Logf("%s: %.5f dB, %.4f degrees off ngspice at most", c.name, worstDB, worstDeg)
		if worstDB > 0.002 || worstDeg > 0.02 {
			t.Errorf("%s: %.5f dB and %.4f degrees off ngspice, want at most 0.002 and 0.02", c.name, worstDB, worstDeg)
		}
	}
}

// run steps the system and keeps every over-th output.
func (s stateSpace) run(u []float64, over int) []float64 {
	n := len(s.out)
	x, next := make([]float64, n), make([]float64, n)
	phi := make([]float64, 0, n*n)
	for i := range n {
		phi = append(phi, s.phi.RawRowView(i)...)
	}
	y := make([]float64, 0, len(u)/over)
	for k, v := range u {
		for i := range n {
			sum := s.gamma[i] * v
			for j, a := range x {
				sum += phi[i*n+j] * a
			}
			next[i] = sum
		}
		x, next = next, x
		if k%over == 0 {
			sum := 0.0
			for i, c := range s.out {
				sum += c * x[i]
			}
			y = append(y, sum)
		}
	}
	return y
}

// at interpolates H, its delay put back, by a cubic through four points.
func (r *Response) at(hz float64) complex128 {
	i := 1
	for i < len(r.H)-3 && r.FrequencyHz[i+1] < hz {
		i++
	}
	var sum complex128
	for j := i - 1; j <= i+2; j++ {
		w := 1.0
		for k := i - 1; k <= i+2; k++ {
			if k != j {
				w *= (hz - r.FrequencyHz[k]) / (r.FrequencyHz[j] - r.FrequencyHz[k])
			}
		}
		sum += complex(w, 0) * r.H[j] * cmplx.Rect(1, -2*math.Pi*r.FrequencyHz[j]*r.ExtraDelayS)
	}
	return sum
}

type spiceRow struct{ hz, db, deg float64 }

func spiceTable(t *testing.T) map[string][]spiceRow {
	f, err := os.Open("../../testdata/spice/response.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	reader := csv.NewReader(f)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]spiceRow{}
	for _, row := range rows[1:] {
		var v [3]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(row[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		out[row[0]] = append(out[row[0]], spiceRow{v[0], v[1], v[2]})
	}
	return out
}

// TestResonanceNotSmeared: the closed form of a pole pair (a resonance of
// Q = 30 is sharper than any loaded coil's) is met within 0.002 dB and 0.03
// degrees from the first point (25 Hz) to the last (19.5 kHz).
func TestResonanceNotSmeared(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ hz, q float64 }{{1000, 0.6}, {2000, 10}, {4000, 30}, {9000, 30}, {15000, 10}} {
		h := resonator(c.hz, c.q)
		r := estimated(t, benchMaterial(driven(h), 2, 0, 1))
		errors := absolute(r, h)
		db, deg := worst(r, errors, 0, 20000)
		sum, n := 0.0, 0.0
		for _, e := range errors {
			sum += square(e)
			n++
		}
		t.Logf("%g Hz, Q %g: worst %.5f dB, %.5f degrees; rms %.1e", c.hz, c.q, db, deg, math.Sqrt(sum/n))
		if db > 0.002 || deg > 0.03 {
			t.Errorf("%g Hz, Q %g: %.5f dB, %.5f degrees off, want at most 0.002 and 0.03", c.hz, c.q, db, deg)
		}
	}
}

// TestLowestOctave says how gating affects the lowest octave. With the default
// stimulus the first point lies at 25 Hz, and from there on a sound card's
// high-pass corners, whose decay outlasts the gate, are met within 0.01 dB and
// 0.1 degrees.
func TestLowestOctave(t *testing.T) {
	t.Parallel()
	for _, corners := range [][]float64{{1}, {1.8, 2.6}, {5, 5}, {10, 10}} {
		h := func(hz float64) complex128 {
			a := resonator(4000, 3)(hz)
			for _, f := range corners {
				a *= complex(0, hz) / complex(f, hz)
			}
			return a
		}
		r := estimated(t, benchMaterial(driven(h), 2, 0, 1))
		db, deg := worst(r, absolute(r, h), 0, 60)
		t.Logf("corners %v Hz: %.5f dB, %.5f degrees from %.1f Hz to 60 Hz", corners, db, deg, r.FrequencyHz[0])
		if r.FrequencyHz[0] > 26 {
			t.Errorf("corners %v Hz: first point at %.1f Hz, want 25", corners, r.FrequencyHz[0])
		}
		if db > 0.01 || deg > 0.1 {
			t.Errorf("corners %v Hz: %.5f dB, %.5f degrees off below 60 Hz, want at most 0.01 and 0.1", corners, db,
				deg)
		}
	}
}

// TestGrid: ascending, about 80 points an octave, none closer than the gates
// resolve, nothing outside the stimulus.
func TestGrid(t *testing.T) {
	t.Parallel()
	for _, rate := range []float64{44100, 48000, 96000, 192000} {
		longest := excite.TransformFrom(int(0.6 * rate))
		last, points := 0.0, 0
		for _, b := range bands(rate, 20, 20000, longest) {
			spacing := b.spacingHz(rate)
			for k := b.first; k <= b.last; k++ {
				f := float64(k) * spacing
				if f < 20*(1-1e-9) || f > 20000*(1+1e-9) {
					t.Errorf("%g Hz: point at %g Hz", rate, f)
				}
				if last > 0 && f-last < 0.5*spacing {
					t.Errorf("%g Hz: points at %g and %g Hz, a gate resolves %g Hz", rate, last, f, spacing)
				}
				if last > 0 && f-last > max(1.7*spacing, f*0.02) {
					t.Errorf("%g Hz: hole from %g to %g Hz", rate, last, f)
				}
				last = f
				points++
			}
		}
		if points < 600 || points > 800 {
			t.Errorf("%g Hz: %d points, want 600 to 800", rate, points)
		}
	}
}

// TestOtherStimuli: short and long sweeps, other bands and rates, one repeat
// with and without room for its noise: a pole pair is met within 0.01 dB and
// 0.1 degrees from 2.5 times the lowest frequency to 0.9 of the highest.
func TestOtherStimuli(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		change  func(*excite.Request)
		repeats int
	}{
		{func(r *excite.Request) { r.SweepS, r.GapS = 1, 0.3 }, 1},
		{func(r *excite.Request) { r.SweepS, r.GapS = 0.4, 0.2 }, 2},
		{func(r *excite.Request) { r.FromHz, r.ToHz, r.SweepS = 100, 12000, 0.8 }, 2},
		{func(r *excite.Request) { r.RateHz, r.FromHz = 44100, 50 }, 2},
		{func(r *excite.Request) { r.RateHz, r.ToHz, r.SweepS = 96000, 40000, 1.2 }, 2},
		{func(r *excite.Request) { r.FromHz, r.SweepS = 5, 6 }, 1},
	} {
		request := excite.DefaultRequest()
		c.change(&request)
		stim, err := excite.Design(request)
		if err != nil {
			t.Fatal(err)
		}
		h := resonator(4000, 6)
		r := estimated(t, materialOf(stim, stim.Sweep(), driven(h), c.repeats, 0, 1))
		db, deg := worst(r, absolute(r, h), 2.5*stim.FromHz, 0.9*stim.ToHz)
		n := len(r.H)
		t.Logf("%g to %g Hz in %.2f s: %d points from %.1f to %.0f Hz, %.5f dB, %.5f degrees", stim.FromHz, stim.ToHz,
			float64(stim.SweepSamples)/float64(stim.RateHz), n, r.FrequencyHz[0], r.FrequencyHz[n-1], db, deg)
		if db > 0.01 || deg > 0.1 {
			t.Errorf("%+v: %.5f dB, %.5f degrees off, want at most 0.01 and 0.1", request, db, deg)
		}
		if r.FrequencyHz[0] > 2.5*stim.FromHz || r.FrequencyHz[n-1] < 0.9*stim.ToHz {
			t.Errorf("%+v: points from %g to %g Hz only", request, r.FrequencyHz[0], r.FrequencyHz[n-1])
		}
	}
}
