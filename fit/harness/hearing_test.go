package harness

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
)

// closed is the magnitude of a coil of L, R and C with all capacitance c across a load,
// by the formula of the second order.
func closed(l, r, c, load, hz float64) float64 {
	s := complex(0, 2*math.Pi*hz)
	return 1 / cmplx.Abs(complex(1+r/load, 0)+s*complex(r*c+l/load, 0)+s*s*complex(l*c, 0))
}

// flat is a recording with the same power at all frequencies, heard alike but for
// those above 5 kHz.
func flat() (w []Weight) {
	for hz := 30.0; hz < 18e3; hz *= math.Pow(2, 1.0/24) {
		loudness := 1.0
		if hz > 5e3 {
			loudness = 2
		}
		w = append(w, Weight{hz, 1, loudness})
	}
	return w
}

// octavesOf are the differences that two responses make, by their definition.
func octavesOf(recording []Weight, a, b func(hz float64) float64) (octaves [9]float64) {
	sum := func(gain func(float64) float64, fromHz, toHz float64, loud bool) (power float64) {
		for _, w := range recording {
			if w.Hz >= fromHz && w.Hz < toHz {
				p := w.Power * gain(w.Hz) * gain(w.Hz)
				if loud {
					p *= w.Loudness
				}
				power += p
			}
		}
		return power
	}
	db := func(from, to float64, loud bool) float64 {
		return 10 * math.Log10(sum(b, from, to, loud)/sum(a, from, to, loud))
	}
	edge := math.Pow(10, 0.15) // IEC 61260-1: half an octave
	for i := range octaves {
		centre := 1000 * math.Pow(10, 0.3*float64(i-4))
		octaves[i] = db(centre/edge, centre*edge, false) - db(0, 40e3, true)
	}
	return octaves
}

// The octaves of two coils, of one coil against the recording, and with the response of
// a third coil taken out, against the closed form; and their uncertainty against its
// derivative by the only part with a tolerance, which both coils have in common.
func TestDiffer(t *testing.T) {
	const cable, load = 350e-12, 1e6
	coils := []Coil{measured(t, "a", 2.2, 6000, 120e-12), measured(t, "b", 4.4, 8200, 100e-12),
		measured(t, "r", 3, 7000, 110e-12)}
	of := func(l, r, c float64) func(cable float64) func(float64) float64 {
		return func(cable float64) func(float64) float64 {
			return func(hz float64) float64 { return closed(l, r, c+cable, load, hz) }
		}
	}
	a, b, r := of(2.2, 6000, 120e-12), of(4.4, 8200, 100e-12), of(3, 7000, 110e-12)
	h := Harness{Cable: &Cable{Capacitance: farad(t, "350p 10%")},
		Amplifier: Amplifier{Resistance: ohm(t, "1M 0.0001%")}}
	recording := flat()
	asItIs := func(float64) func(float64) float64 { return func(float64) float64 { return 1 } }
	without := func(x, r func(float64) func(float64) float64) func(float64) func(float64) float64 {
		return func(cable float64) func(float64) float64 {
			return func(hz float64) float64 { return x(cable)(hz) / r(cable)(hz) }
		}
	}
	for _, tt := range []struct {
		name         string
		pathA, pathB Path
		a, b         func(float64) func(float64) float64
	}{
		{"two coils", Path{0, -1}, Path{1, -1}, a, b},
		{"the recording and a coil", Path{-1, -1}, Path{0, -1}, asItIs, a},
		{"recorded with another coil", Path{0, 2}, Path{1, 2}, without(a, r), without(b, r)},
		{"recorded with the first", Path{0, 0}, Path{1, 0}, asItIs, without(b, a)},
	} {
		heard, err := h.Differ(coils, tt.pathA, tt.pathB, recording)
		if err != nil {
			t.Fatal(err)
		}
		want := octavesOf(recording, tt.a(cable), tt.b(cable))
		const step = 1e-3
		up := octavesOf(recording, tt.a(cable*(1+step)), tt.b(cable*(1+step)))
		down := octavesOf(recording, tt.a(cable*(1-step)), tt.b(cable*(1-step)))
		for i, o := range heard.Octaves {
			u := math.Abs(up[i]-down[i]) / (2 * step) * 0.1 / math.Sqrt(3)
			d := o.Difference
			if !d.Known() || math.Abs(d.Value-want[i]) > 1e-3 || math.Abs(d.U-u) > 0.02*u+1e-3 {
				t.Errorf("%s at %g Hz: %+v, want %.4f dB with u %.4f dB", tt.name, o.CentreHz, d, want[i], u)
			}
		}
	}
	if _, err := h.Differ(coils, Path{-1, -1}, Path{1, 1}, recording); err == nil ||
		!strings.Contains(err.Error(), "both sounds are the same") {
		t.Errorf("a coil against itself: %v", err)
	}

	// Where the recording has nothing, nothing is said.
	var bass []Weight
	for _, w := range recording {
		if w.Hz < 700 {
			bass = append(bass, w)
		}
	}
	heard, err := h.Differ(coils, Path{0, -1}, Path{1, -1}, bass)
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range heard.Octaves {
		if o.Difference.Known() != (o.CentreHz < 700) {
			t.Errorf("%g Hz: %+v", o.CentreHz, o.Difference)
		}
	}
	for _, o := range heard.Told() {
		if math.Abs(o.Difference.Value) <= o.Difference.U95 {
			t.Errorf("told: %+v", o)
		}
	}
}

// The gain at the peak is what ngspice-39 has for testdata/spice/a1.cir.
func TestGains(t *testing.T) {
	coils := []Coil{measured(t, "a1", 2.2, 6000, 120e-12)}
	h := Harness{Cable: &Cable{Capacitance: farad(t, "350p")}, Amplifier: Amplifier{Resistance: ohm(t, "1M")}}
	gains, err := h.Gains(coils, Path{0, -1}, []float64{0, 4934.15})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{-0.05196, 16.18349 - 0.05196} {
		if got := 20 * math.Log10(gains[i]); math.Abs(got-want) > 1e-4 {
			t.Errorf("gain %d: %.5f dB, want %.5f dB", i, got, want)
		}
	}
	h.Wiring = "series"
	if _, err := h.Gains(coils, Path{0, -1}, []float64{1000}); err == nil {
		t.Error("one coil in a guitar of two")
	}
}

// drawn is a coil as measured is, with noise u on the response, added capacitors that are
// within 1 % of what they are said to be, and a fixture of 50 pF within 10 %.
func drawn(t testing.TB, l, r, c, u float64, within func(float64) float64, random *rand.Rand) Coil {
	t.Helper()
	const load = 1e6
	fixture := 50e-12 * within(0.1)
	var takes []joint.Take
	for _, added := range []float64{0, 470e-12, 1e-9} {
		take := joint.Take{Name: "take", Ideal: true, Response: &response.Response{SNRdB: 50, VarianceDoF: 100}}
		take.Load.FixtureC, take.Load.FixtureR = farad(t, "50p 10%"), ohm(t, "1M 0.01%")
		total := c + fixture
		if added > 0 {
			take.Load.AddedC = farad(t, strconv.FormatFloat(added, 'e', -1, 64)+"F 1%")
			total += added * within(0.01)
		}
		for hz := 30.0; hz < 19e3; hz *= 1.02 {
			s := complex(0, 2*math.Pi*hz)
			v := 1 / (complex(1+r/load, 0) + s*complex(r*total+l/load, 0) + s*s*complex(l*total, 0))
			size := u * cmplx.Abs(v)
			take.Response.FrequencyHz = append(take.Response.FrequencyHz, hz)
			take.Response.H = append(take.Response.H, v+complex(random.NormFloat64(), random.NormFloat64())*
				complex(size/math.Sqrt2, 0))
			take.Response.Variance = append(take.Response.Variance, size*size)
		}
		takes = append(takes, take)
	}
	fitted, err := joint.Fit(t.Context(), capture.Coil{Name: "drawn"}, takes, fit.Options{Forms: []fit.Form{{}}})
	if err != nil {
		t.Fatal(err)
	}
	return Coil{Name: "drawn", Fitted: fitted}
}

// U95 of the octaves holds the truth as often as it says, and no more often than errors
// of this kind explain: pairs of coils whose added capacitors, cable and input are drawn
// within their tolerances, and measured with noise, against the closed form with the true
// parts.
func TestOctaveCoverage(t *testing.T) {
	if testing.Short() {
		t.Skip("a statistical test")
	}
	const trials, u = 40, 3e-3
	random := rand.New(rand.NewPCG(1770, 5))
	within := func(limit float64) float64 { return 1 + limit*(2*random.Float64()-1) }
	recording := flat()
	h := Harness{Cable: &Cable{Capacitance: farad(t, "350p 10%")}, Amplifier: Amplifier{Resistance: ohm(t, "1M 5%")}}
	inside, squares, n := 0, 0.0, 0
	for range trials {
		var coils []Coil
		var truth [2]func(float64) float64
		cable, load := 350e-12*within(0.1), 1e6*within(0.05)
		for i := range truth {
			l, r, c := 2.5*within(0.4), 7000*within(0.2), 110e-12*within(0.2)
			truth[i] = func(hz float64) float64 { return closed(l, r, c+cable, load, hz) }
			coils = append(coils, drawn(t, l, r, c, u, within, random))
		}
		heard, err := h.Differ(coils, Path{0, -1}, Path{1, -1}, recording)
		if err != nil {
			t.Fatal(err)
		}
		want := octavesOf(recording, truth[0], truth[1])
		for i, o := range heard.Octaves {
			d := o.Difference
			if !d.Known() {
				t.Fatalf("%g Hz: %+v", o.CentreHz, d)
			}
			if math.Abs(d.Value-want[i]) <= d.U95 {
				inside++
			}
			squares += (d.Value - want[i]) * (d.Value - want[i]) / (d.U * d.U)
			n++
		}
	}
	share, ratio := float64(inside)/float64(n), math.Sqrt(squares/float64(n))
	t.Logf("U95 holds the truth in %.1f %% of %d octaves; the errors are %.2f u in the mean", 100*share, n, ratio)
	// The octaves of a pair move together, as if they were two: three standard deviations
	// of a share of 95 % and of a root mean square of 1.
	const independent = 2 * trials
	if share < 0.95-3*math.Sqrt(0.95*0.05/independent) || math.Abs(ratio-1) > 3*math.Sqrt(1.0/(2*independent)) {
		t.Errorf("U95 holds the truth in %.1f %% of octaves, the errors are %.2f u", 100*share, ratio)
	}
}
