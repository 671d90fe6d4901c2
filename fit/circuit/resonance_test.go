package circuit

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// referenceCase is one of the circuits under testdata/spice: EMF in series
// with R and L, coil C and load across the terminals.
type referenceCase struct {
	name string
	coil Coil
	load Load
}

func referenceCases() []referenceCase {
	a := Coil{InductanceH: 2.2, ResistanceOhm: 6000, CapacitanceF: 120e-12}
	b := Coil{InductanceH: 4.4, ResistanceOhm: 8200, CapacitanceF: 100e-12}
	c := Coil{InductanceH: 8, ResistanceOhm: 15000, CapacitanceF: 180e-12}
	d := b
	d.Rings = []Ring{{Share: 0.2, TimeS: 1 / (2 * math.Pi * 3000)}}
	return []referenceCase{
		{"a1", a, Load{ResistanceOhm: 1e6, CapacitanceF: 350e-12}},
		{"a2", a, Load{ResistanceOhm: 250e3, CapacitanceF: 350e-12}},
		{"b1", b, Load{ResistanceOhm: 1e6, CapacitanceF: 600e-12}},
		{"b2", b, Load{ResistanceOhm: 250e3, CapacitanceF: 600e-12}},
		{"c1", c, Load{ResistanceOhm: 1e6, CapacitanceF: 470e-12}},
		{"c2", c, Load{ResistanceOhm: 250e3, CapacitanceF: 470e-12}},
		{"d1", d, Load{ResistanceOhm: 1e6, CapacitanceF: 600e-12}},
	}
}

func relative(got, want float64) float64 { return math.Abs(got/want - 1) }

// The figures were computed by NumPy 1.24 from the closed forms of the
// second-order response (any network textbook; H = 1/[(1 + R/R_l) +
// s(RC + L/R_l) + s^2 LC]) and agree with ngspice-39 .ac of the netlists
// testdata/spice/*.cir to 5e-11 dB; d1's poles are the roots of its third-order
// polynomial, its peak ngspice's. Limits: half a unit of the last digit given.
func TestReferenceCircuits(t *testing.T) {
	want := map[string]struct{ lc, resonance, q, plateauDB, peak, peakDB, over, low, high float64 }{
		"a1": {4949.483, 4964.310, 6.424740, -0.05196, 4934.15, 16.13153, 16.18349, 4530.08, 5307.55},
		"a2": {4949.483, 5008.525, 2.800297, -0.20600, 4846.22, 8.87880, 9.08480, 3830.36, 5683.31},
		"b1": {2867.773, 2879.507, 5.495545, -0.07093, 2855.57, 14.76538, 14.83631, 2579.10, 3107.54},
		"b2": {2867.773, 2914.425, 2.416477, -0.28032, 2786.86, 7.57336, 7.85368, 2080.30, 3347.46},
		"c1": {2207.082, 2223.573, 4.092949, -0.12932, 2190.14, 12.17671, 12.30603, 1896.78, 2448.60},
		"c2": {2207.082, 2272.330, 1.778272, -0.50612, 2084.96, 4.85152, 5.35764, 1249.22, 2670.87},
		"d1": {2867.773, 3020.688, 3.211904, -0.07093, 2951.42, 10.67962, 10.75055, 0, 0},
	}
	for _, r := range referenceCases() {
		w := want[r.name]
		resonance, q, ok := r.coil.Resonance(r.load)
		if !ok {
			t.Fatalf("%s: no resonance", r.name)
		}
		peak, over, ok := r.coil.Peak(r.load)
		if !ok {
			t.Fatalf("%s: no peak", r.name)
		}
		low, high, ok := r.coil.HalfPower(r.load)
		if !ok {
			t.Fatalf("%s: no half-power points", r.name)
		}
		plateauDB := 20 * math.Log10(r.coil.Plateau(r.load))
		checks := []struct {
			what            string
			got, want, half float64
		}{
			{"LC frequency", r.coil.LCFrequency(r.load), w.lc, 0.5e-3},
			{"resonance", resonance, w.resonance, 0.5e-3},
			{"Q", q, w.q, 0.5e-6},
			{"plateau dB", plateauDB, w.plateauDB, 0.5e-5},
			{"peak", peak, w.peak, 0.5e-2},
			{"peak dB", plateauDB + over, w.peakDB, 0.5e-5},
			{"over plateau", over, w.over, 1e-5},
			{"lower half power", low, w.low, 0.5e-2},
			{"upper half power", high, w.high, 0.5e-2},
		}
		for _, c := range checks {
			if c.want != 0 && math.Abs(c.got-c.want) > c.half*1.001 {
				t.Errorf("%s: %s %.8g, want %.8g", r.name, c.what, c.got, c.want)
			}
		}
	}
}

// withQ is a loss-free-L coil at a load without resistance, of f_n = 1 kHz.
func withQ(q float64) Coil {
	w := 2 * math.Pi * 1000
	c := 1e-9
	l := 1 / (w * w * c)
	return Coil{InductanceH: l, ResistanceOhm: w * l / q, CapacitanceF: c}
}

// Peak, height and half-power points of a second-order response against Q:
// f_p = f_n sqrt(1 - 1/(2Q^2)), height Q/sqrt(1 - 1/(4Q^2)), half-power points
// from x^2 - (2 - 1/Q^2)x + 1 - 2/h^2 = 0, computed with NumPy 1.24.
func TestSecondOrderTable(t *testing.T) {
	table := []struct{ q, peak, heightDB, low, high float64 }{
		{1, 0.707107, 1.24939, 0, 1.168771},
		{1.5, 0.881917, 4.03335, 0.386314, 1.185882},
		{2, 0.935414, 6.30089, 0.625202, 1.165814},
		{3, 0.971825, 9.66477, 0.784712, 1.128324},
		{5, 0.989949, 14.02305, 0.883743, 1.085817},
		{7, 0.994885, 16.92418, 0.920491, 1.064090},
		{10, 0.997497, 20.01087, 0.946111, 1.046363},
	}
	for _, row := range table {
		coil := withQ(row.q)
		f, q, ok := coil.Resonance(Open())
		if !ok || relative(f, 1000) > 1e-13 || relative(q, row.q) > 1e-13 {
			t.Errorf("Q %g: resonance %.15g Hz, Q %.15g, %v", row.q, f, q, ok)
		}
		peak, height, ok := coil.Peak(Open())
		if !ok || math.Abs(peak/1000-row.peak) > 0.51e-6 || math.Abs(height-row.heightDB) > 0.51e-5 {
			t.Errorf("Q %g: peak %.7f height %.6f dB, %v", row.q, peak/1000, height, ok)
		}
		low, high, ok := coil.HalfPower(Open())
		if !ok || math.Abs(low/1000-row.low) > 0.51e-6 || math.Abs(high/1000-row.high) > 0.51e-6 {
			t.Errorf("Q %g: half power at %.7f, %.7f, %v", row.q, low/1000, high/1000, ok)
		}
		width, ok := coil.Width(Open())
		if ok != (row.low != 0) || ok && math.Abs(width/1000-(row.high-row.low)) > 1.1e-6 {
			t.Errorf("Q %g: width %.7f, %v", row.q, width/1000, ok)
		}
	}
	if _, _, ok := withQ(0.707).Peak(Open()); ok {
		t.Error("Q 0.707 has a peak")
	}
	if _, _, ok := withQ(0.4999).Resonance(Open()); ok {
		t.Error("Q 0.4999 has a pole pair")
	}
	if _, q, ok := withQ(0.5001).Resonance(Open()); !ok || relative(q, 0.5001) > 1e-9 {
		t.Errorf("Q 0.5001: got %g, %v", q, ok)
	}
}

// A ring of share 0 and a cover of time 0 change nothing, but send the work
// down the general path, which must meet the closed form.
func TestGeneralPathMeetsClosedForm(t *testing.T) {
	for _, q := range []float64{0.55, 0.7, 0.72, 1, 2, 5, 30, 1e3} {
		plain, general := withQ(q), withQ(q)
		general.Rings = []Ring{{Share: 0, TimeS: 1e-5}}
		f, _, _ := plain.Resonance(Open())
		g, gq, ok := general.Resonance(Open())
		if !ok || relative(g, f) > 1e-12 || relative(gq, q) > 1e-11 {
			t.Errorf("Q %g: resonance %.15g, want %.15g; Q %.15g %v", q, g, f, gq, ok)
		}
		p, h, ok := plain.Peak(Open())
		gp, gh, gok := general.Peak(Open())
		if ok != gok || ok && (relative(gp, p) > 1e-11 || math.Abs(gh-h) > 1e-11) {
			t.Errorf("Q %g: peak %.15g %v, want %.15g %v", q, gp, gok, p, ok)
		}
	}
}

// randomCoil draws a coil and load over and beyond the ranges of the trade.
func randomCoil(r *rand.Rand, rings int) (Coil, Load) {
	logUniform := func(low, high float64) float64 {
		return low * math.Pow(high/low, r.Float64())
	}
	c := Coil{
		InductanceH:   logUniform(0.5, 20),
		ResistanceOhm: logUniform(500, 50e3),
		CapacitanceF:  logUniform(20e-12, 300e-12),
	}
	left := 1.0
	for range rings {
		share := left * r.Float64() * 0.7
		left -= share
		c.Rings = append(c.Rings, Ring{Share: share, TimeS: logUniform(1e-6, 1e-2)})
	}
	return c, Load{ResistanceOhm: logUniform(3e3, 10e6), CapacitanceF: logUniform(1e-12, 5e-9)}
}

// Newton's iteration finds a pair wherever the eigenvalues of the companion
// matrix show one, and nowhere else.
func TestResonanceAgainstEigenvalues(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	pairs, none := 0, 0
	for i := range 3000 {
		coil, load := randomCoil(r, 1+i%MaxRings)
		f, q, ok := coil.Resonance(load)
		upper := coil.ringPoles(load)
		if len(upper) > 1 {
			t.Fatalf("more than one pair: %v of %+v %+v", upper, coil, load)
		}
		if ok != (len(upper) == 1) {
			t.Errorf("pair found %v, eigenvalues %v: %+v %+v", ok, upper, coil, load)
			continue
		}
		if !ok {
			none++
			continue
		}
		pairs++
		s := upper[0]
		// The eigenvalues themselves are the less exact ones.
		if relative(2*math.Pi*f, cmplx.Abs(s)) > 1e-6 || math.Abs(1/q+2*real(s)/cmplx.Abs(s)) > 1e-6 {
			t.Errorf("resonance %g Hz Q %g, eigenvalue %v: %+v %+v", f, q, s, coil, load)
		}
	}
	if pairs < 500 || none < 50 {
		t.Errorf("%d pairs and %d overdamped: the draw tests too little", pairs, none)
	}
}

// A solid cylinder's pair is that of its many rings.
func TestCylinderResonance(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	pairs, none := 0, 0
	for range 500 {
		coil, load := randomCoil(r, 0)
		cylinder := Ring{Share: r.Float64(), TimeS: math.Pow(10, -6+3.5*r.Float64())}
		ringed := coil
		ringed.Rings = CylinderRings(cylinder, 24)
		coil.Cylinder = cylinder
		f, q, ok := coil.Resonance(load)
		g, gq, gok := ringed.Resonance(load)
		if ok != gok {
			t.Errorf("cylinder %v, rings %v: %+v %+v", ok, gok, coil, load)
			continue
		}
		if !ok {
			none++
			continue
		}
		pairs++
		if relative(f, g) > 1e-7 || relative(q, gq) > 1e-6 {
			t.Errorf("cylinder %.10g Hz Q %.8g, rings %.10g Hz Q %.8g: %+v %+v", f, q, g, gq, coil, load)
		}
	}
	if pairs < 100 || none < 10 {
		t.Errorf("%d pairs and %d overdamped: the draw tests too little", pairs, none)
	}
}

// Peak and half-power points against a dense search.
func TestPeakAgainstSearch(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	found := 0
	for i := range 300 {
		coil, load := randomCoil(r, i%4)
		if i%3 == 0 {
			coil.Cylinder = Ring{Share: 0.3 * r.Float64(), TimeS: 1e-3 * r.Float64()}
			if len(coil.Rings) > 2 {
				coil.Rings = coil.Rings[:2]
			}
		}
		if i%2 == 0 {
			coil.CoverTimeS = 3e-5 * r.Float64()
		}
		best, at := 0.0, 0.0
		for k := range 8000 {
			hz := 5 * math.Pow(2e5/5, float64(k)/7999)
			if m := cmplx.Abs(coil.Transfer(complex(0, 2*math.Pi*hz), load)); m > best {
				best, at = m, hz
			}
		}
		over := 20 * math.Log10(best/coil.Plateau(load))
		hz, db, ok := coil.Peak(load)
		if over > 0.01 != (ok && db > 0.01) {
			t.Errorf("peak %g Hz %g dB %v, search %g Hz %g dB: %+v %+v", hz, db, ok, at, over, coil, load)
			continue
		}
		if over < 0.01 {
			continue
		}
		found++
		if db < over-1e-12 || db > over+0.02 || relative(hz, at) > 0.02 {
			t.Errorf("peak %g Hz %g dB, search %g Hz %g dB", hz, db, at, over)
		}
		low, high, ok := coil.HalfPower(load)
		if !ok {
			t.Errorf("no half-power points at %g Hz, %g dB", hz, db)
		}
		peak := cmplx.Abs(coil.Transfer(complex(0, 2*math.Pi*hz), load))
		for _, edge := range []float64{low, high} {
			if edge == 0 {
				if db > 10*math.Log10(2) {
					t.Errorf("peak of %g dB without an edge", db)
				}
				continue
			}
			m := cmplx.Abs(coil.Transfer(complex(0, 2*math.Pi*edge), load))
			if relative(m*math.Sqrt2, peak) > 1e-10 {
				t.Errorf("edge %g Hz: %g of the peak", edge, m/peak)
			}
		}
		if !(low < hz && hz < high) {
			t.Errorf("edges %g, %g about %g", low, high, hz)
		}
	}
	if found < 100 {
		t.Errorf("only %d peaks: the draw tests too little", found)
	}
}

// Numerical derivatives of the results must be usable: smooth to 1e-12.
func TestSmooth(t *testing.T) {
	coil := referenceCases()[6].coil
	coil.Cylinder = Ring{Share: 0.1, TimeS: 2e-4}
	coil.CoverTimeS = 3e-6
	load := Load{ResistanceOhm: 1e6, CapacitanceF: 600e-12}
	// Third differences of a smooth function over steps of 1e-5 are about
	// 1e-15; what is left is noise.
	of := map[string]func() float64{
		"resonance": func() float64 { f, _, _ := coil.Resonance(load); return f },
		"q":         func() float64 { _, q, _ := coil.Resonance(load); return q },
		"peak":      func() float64 { f, _, _ := coil.Peak(load); return f },
		"low":       func() float64 { f, _, _ := coil.HalfPower(load); return f },
	}
	limit := map[string]float64{"resonance": 1e-13, "q": 1e-12, "peak": 1e-12, "low": 1e-12}
	base := load.CapacitanceF
	for name, f := range of {
		var v []float64
		for i := range 60 {
			load.CapacitanceF = base * (1 + 1e-5*float64(i))
			v = append(v, f())
		}
		for i := 3; i < len(v); i++ {
			if d := math.Abs(v[i]-3*v[i-1]+3*v[i-2]-v[i-3]) / v[i] / 8; d > limit[name] {
				t.Errorf("%s: third difference %.2g", name, d)
				break
			}
		}
	}
}

func TestResonanceWithoutMeaning(t *testing.T) {
	good := Coil{InductanceH: 2, ResistanceOhm: 6e3, CapacitanceF: 1e-10}
	for _, c := range []struct {
		coil Coil
		load Load
	}{
		{Coil{}, Open()},
		{Coil{InductanceH: 2, ResistanceOhm: 6e3}, Open()},
		{Coil{InductanceH: math.NaN(), ResistanceOhm: 6e3, CapacitanceF: 1e-10}, Open()},
		{good, Load{}},
		{Coil{InductanceH: 2, ResistanceOhm: math.NaN(), CapacitanceF: 1e-10, Rings: []Ring{{0.1, 1e-5}}}, Open()},
		{good, Load{ResistanceOhm: 1e3}},
	} {
		if f, q, ok := c.coil.Resonance(c.load); ok {
			t.Errorf("%+v %+v: resonance %g, Q %g", c.coil, c.load, f, q)
		}
		if f, db, ok := c.coil.Peak(c.load); ok {
			t.Errorf("%+v %+v: peak %g, %g dB", c.coil, c.load, f, db)
		}
	}
	good.ResistanceOhm = 0
	if f, q, ok := good.Resonance(Open()); !ok || !math.IsInf(q, 1) || relative(f, good.LCFrequency(Open())) > 1e-15 {
		t.Errorf("loss-free: %g, %g, %v", f, q, ok)
	}
}

func TestNoAllocation(t *testing.T) {
	coil, load := benchmarkCoil("cylinder")
	var g Gradient
	for name, f := range map[string]func(){
		"Resonance":        func() { coil.Resonance(load) },
		"Peak":             func() { coil.Peak(load) },
		"HalfPower":        func() { coil.HalfPower(load) },
		"TransferGradient": func() { coil.TransferGradient(At(complex(0, 2e4)), load, &g) },
	} {
		if n := testing.AllocsPerRun(20, f); n != 0 {
			t.Errorf("%s allocates %g times", name, n)
		}
	}
}

func benchmarkCoil(form string) (Coil, Load) {
	c := Coil{InductanceH: 2.4, ResistanceOhm: 7850, CapacitanceF: 110e-12}
	switch form {
	case "rings":
		c.Rings = []Ring{{0.12, 4e-5}, {0.05, 3e-4}}
	case "cylinder":
		c.Cylinder = Ring{Share: 0.2, TimeS: 3e-4}
		c.CoverTimeS = 4e-6
	}
	return c, Load{ResistanceOhm: 1e6, CapacitanceF: 470e-12}
}

func BenchmarkResonance(b *testing.B) {
	for _, form := range []string{"loss-free", "rings", "cylinder"} {
		b.Run(form, func(b *testing.B) {
			coil, load := benchmarkCoil(form)
			b.ReportAllocs()
			for b.Loop() {
				coil.Resonance(load)
			}
		})
	}
}

func BenchmarkPeak(b *testing.B) {
	for _, form := range []string{"loss-free", "rings", "cylinder"} {
		b.Run(form, func(b *testing.B) {
			coil, load := benchmarkCoil(form)
			for b.Loop() {
				coil.Peak(load)
			}
		})
	}
}

func ExampleCoil_Resonance() {
	coil := Coil{InductanceH: 2.2, ResistanceOhm: 6000, CapacitanceF: 120e-12}
	hz, q, ok := coil.Resonance(Load{ResistanceOhm: 1e6, CapacitanceF: 350e-12})
	fmt.Printf("%.1f Hz, Q %.3f, %v\n", hz, q, ok)
	// Output: 4964.3 Hz, Q 6.425, true
}
