// Package invented has coils for the tests of the reports. They are invented: the
// curves come from the circuit with noise, which is enough to look at and to
// count.
package invented

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"time"

	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

// Quantity is a known quantity with the standard uncertainty u.
func Quantity(value, u float64) fit.Quantity {
	return fit.Quantity{Value: value, U: u, U95: 1.96 * u}
}

// coil and its fixture: 2.41 H, 210 pF in all, of which 92 pF are the fixture's, 7.85 kΩ, one shorted
// ring, 1 MΩ of input.
var coil = circuit.Coil{
	InductanceH: 2.41, ResistanceOhm: 7850, CapacitanceF: 210e-12,
	Rings: []circuit.Ring{{Share: 0.12, TimeS: 14e-6}},
}

// Load is a take's name with what was added across the coil.
type Load struct {
	Name  string
	farad float64
	ohm   float64 // 0: none added
}

// ThreeLoads are enough to tell L from C.
var ThreeLoads = []Load{{"bare", 0, 0}, {"plus 220 pF", 220e-12, 0}, {"plus 470 pF", 470e-12, 0}}

// EightLoads are as many as there are styles.
var EightLoads = append([]Load{
	{"plus 100 pF", 100e-12, 0}, {"plus 1 nF", 1e-9, 0}, {"plus 2.2 nF", 2.2e-9, 0},
	{"plus 220 kΩ", 0, 220e3}, {"cable", 330e-12, 0},
}, ThreeLoads...)

const decibels = 8.685889638 // 20/ln 10

// Result is a whole result with points frequencies a take.
func Result(loads []Load, points int) fit.Result {
	random := rand.New(rand.NewPCG(7, 11))
	r := fit.Result{
		Schema: fit.ResultSchema, Program: "coilsweep test", Coil: "Invented coil, five thousand turns",
		Inductance: Quantity(2.41, 0.010), Capacitance: Quantity(210e-12, 1.1e-12), Resistance: Quantity(7850, 31),
		CapacitanceCoil: Quantity(118e-12, 1.9e-12),
		BareResonance:   Quantity(12970, 31), BareQ: Quantity(3.02, 0.03),
		Eddy: []fit.Eddy{{Share: Quantity(0.12, 0.003), Corner: Quantity(11370, 240), Form: "ring"}},
		Model: fit.Model{Name: "one shorted ring", Chi2Reduced: 1.03, DoF: 4786, Tried: []fit.Tried{
			{Name: "no eddy loss", Parameters: 3, BIC: 48210.4, Chi2Reduced: 9.87, RunsZ: -31.2,
				Note: "residuals follow the frequency"},
			{Name: "one shorted ring", Parameters: 5, BIC: 4981.0, Chi2Reduced: 1.03, RunsZ: -0.4},
			{Name: "two shorted rings", Parameters: 7, BIC: 4994.3, Chi2Reduced: 1.03, RunsZ: -0.4, Note: "not better"},
			{Name: "solid cylinder", Parameters: 5, BIC: 5310.9, Chi2Reduced: 1.10, RunsZ: -3.6},
		}},
		Parts: []fit.Part{
			{What: "added C 220 pF", Unit: "F", Nominal: 220e-12, U: 1.27e-12, Fitted: 220.6e-12, Pull: 0.47},
			{What: "added C 470 pF", Unit: "F", Nominal: 470e-12, U: 2.71e-12, Fitted: 479.1e-12, Pull: 3.36,
				Suspect: true},
			{What: "DC resistance", Unit: "ohm", Nominal: 7850, U: 22.7, Fitted: 7852, Pull: 0.09},
		},
		Budget: []fit.Budget{
			{Quantity: "inductance", Shares: []fit.BudgetLine{{Source: "tolerance of added C", Percent: 81.2},
				{Source: "DC resistance", Percent: 12.4}, {Source: "choice of circuit", Percent: 4.9},
				{Source: "noise", Percent: 1.5}}},
			{Quantity: "capacitance", Shares: []fit.BudgetLine{{Source: "tolerance of added C", Percent: 92.0},
				{Source: "DC resistance", Percent: 4.1}, {Source: "noise", Percent: 3.9}}},
		},
		Advice: []fit.Advice{{Text: "A take with 1 nF 1% added would bring U95 of L from 0.020 H to 0.013 H.",
			AddedC: 1e-9, Quantity: "inductance", NowPercent: 0.83, ThenPercent: 0.54}},
		Basis:    []string{"added capacitors: 3 takes", "DC resistance: meter"},
		Warnings: []string{"take plus 470 pF: mains hum at 50 Hz stands 21 dB over the noise; 14 lines were left out"},
		Meter: []fit.MeterResult{
			{What: "L", AtHz: 1000, Mode: "series", Reading: 2.45, U95: 0.03, Expected: Quantity(2.405, 0.010),
				En: new(1.25), Verdict: "differs: the reading lies 45 mH above what the fit expects"},
			{What: "R", AtHz: 100, Mode: "series", Reading: 7861, U95: 40, Expected: Quantity(7853, 31),
				En: new(0.11), Verdict: "agrees"},
		},
	}
	f0, _, _ := coil.Resonance(circuit.Load{ResistanceOhm: 1e6})
	for _, hz := range append(fit.BranchHz(), f0) {
		l, ohm := coil.Branch(hz)
		r.Branch = append(r.Branch, fit.BranchPoint{Hz: hz, Inductance: Quantity(l, 0.004*l),
			Resistance: Quantity(ohm, 0.004*ohm)})
	}
	line := &fit.Line{Slope: Quantity(2.409, 0.011), Intercept: Quantity(5.06e-10, 1.9e-12),
		AxisCrossing: Quantity(-210e-12, 1.2e-12)}
	for i, l := range loads {
		load := circuit.Load{ResistanceOhm: 1e6, CapacitanceF: l.farad}
		t := fit.TakeResult{Name: l.Name, AddedC: l.farad, SNRdB: 71.2 - float64(i), Used: true,
			AudioSHA256: strings.Repeat("3fa9c1d07e5b", 6)[:64], LC: Quantity(coil.LCFrequency(load), 8)}
		if l.ohm > 0 {
			t.AddedR = new(l.ohm)
			load.ResistanceOhm = 1 / (1/l.ohm + 1/load.ResistanceOhm)
		}
		if f0, q, ok := coil.Resonance(load); ok {
			t.Resonance, t.Q = Quantity(f0, 0.002*f0), Quantity(q, 0.008*q)
		} else {
			t.Resonance, t.Q = fit.Unknown("no resonance"), fit.Unknown("no resonance")
		}
		if f, db, ok := coil.Peak(load); ok {
			t.Peak, t.PeakDB = Quantity(f, 0.002*f), Quantity(db, 0.04)
			t.WidthHz = Quantity(f/t.Q.Value, 0.008*f/t.Q.Value)
		} else {
			t.Peak = fit.Unknown("the load damps the coil so much that its response has no peak")
			t.PeakDB, t.WidthHz = t.Peak, t.Peak
		}
		if strings.HasPrefix(l.Name, "plus 470") {
			t.Flags = []string{"hum"}
		}
		t.Curve = curve(random, load, points)
		r.Takes = append(r.Takes, t)
		if l.ohm == 0 {
			w := 2 * math.Pi * coil.LCFrequency(circuit.Load{ResistanceOhm: math.Inf(1), CapacitanceF: l.farad})
			line.Points = append(line.Points, fit.LinePoint{Take: l.Name, AddedC: l.farad, InverseW2: 1 / (w * w),
				UInverseW2: 0.006 / (w * w)})
		}
	}
	r.Line = line
	return r
}

func curve(random *rand.Rand, load circuit.Load, points int) *fit.Curve {
	c := &fit.Curve{}
	plateau := cmplx.Abs(coil.Transfer(complex(0, 1), load))
	for i := range points {
		f := 20 * math.Pow(1000, float64(i)/float64(points-1))
		h := coil.Transfer(complex(0, 2*math.Pi*f), load) / complex(plateau, 0)
		u := 4e-4 * (1 + math.Pow(60/f, 1.5)) // per component
		noise := complex(random.NormFloat64(), random.NormFloat64())
		m := h + complex(u, 0)*noise
		magnitude := cmplx.Abs(m)
		c.FrequencyHz = append(c.FrequencyHz, f)
		c.MagnitudeDB = append(c.MagnitudeDB, decibels*math.Log(magnitude))
		c.PhaseDeg = append(c.PhaseDeg, cmplx.Phase(m)*180/math.Pi)
		c.MagnitudeU95DB = append(c.MagnitudeU95DB, 2*decibels*u/magnitude)
		c.PhaseU95Deg = append(c.PhaseU95Deg, 2*u/magnitude*180/math.Pi)
		c.NoiseFloorDB = append(c.NoiseFloorDB, decibels*math.Log(u*math.Hypot(random.NormFloat64(),
			random.NormFloat64())+1e-7))
		c.FitMagnitudeDB = append(c.FitMagnitudeDB, decibels*math.Log(cmplx.Abs(h)))
		c.FitPhaseDeg = append(c.FitPhaseDeg, cmplx.Phase(h)*180/math.Pi)
		c.FitU95DB = append(c.FitU95DB, 0.02+0.06*cmplx.Abs(h)/10)
		c.FitPhaseU95Deg = append(c.FitPhaseU95Deg, 0.1+0.4*cmplx.Abs(h)/10)
		c.Residual = append(c.Residual, noise)
		h2, h3 := math.NaN(), math.NaN()
		if 2*f < 20000 {
			h2 = -74 + 6*math.Sin(3*math.Log(f)) + random.NormFloat64()
		}
		if 3*f < 20000 {
			h3 = -83 + 4*math.Sin(2*math.Log(f)) + random.NormFloat64()
		}
		c.Harmonic2DB, c.Harmonic3DB = append(c.Harmonic2DB, h2), append(c.Harmonic3DB, h3)
		c.Harmonic2FloorDB = append(c.Harmonic2FloorDB, h2-h2-84) // not known where there is no harmonic
		c.Harmonic3FloorDB = append(c.Harmonic3FloorDB, h3-h3-90)
	}
	return c
}

// HostileNames would do harm where they are not escaped.
var HostileNames = []string{`</script><svg onload=alert(2)>`, "מדידה \u202e" + strings.Repeat("ארוך ", 40),
	strings.Repeat("w", 200), `" onmouseover="alert(3)`}

// Day is when everything was measured.
var Day = time.Date(2026, 11, 25, 14, 30, 0, 0, time.UTC)

// LoneTake is what a single take without further facts gives.
func LoneTake() fit.Result {
	r := Result(ThreeLoads[:1], 20)
	why := "one take alone gives resonance and Q: add a take with a known capacitor, or a meter's L to coil.toml"
	for _, q := range []*fit.Quantity{&r.Inductance, &r.Capacitance, &r.Resistance, &r.CapacitanceCoil} {
		*q = fit.Unknown(why)
	}
	const supposed = "there is no metal in the coil and no dielectric loss, and L is above 1.7 H"
	r.Inductance.Given = &fit.Given{If: supposed, Quantity: fit.Quantity{Value: 2.27, U: 0.032, U95: 0.063}}
	r.Capacitance.Given = &fit.Given{If: supposed,
		Quantity: fit.Quantity{Value: 213e-12, U: 3.1e-12, U95: 6.1e-12}}
	for i := range r.Branch {
		r.Branch[i].Inductance, r.Branch[i].Resistance = fit.Unknown(why), fit.Unknown(why)
	}
	r.BareResonance = fit.Unknown("the capacitance of the fixture is not known: give --fixture-c")
	r.BareQ = r.BareResonance
	r.Line, r.Eddy, r.Meter, r.Parts, r.Budget, r.Advice, r.Warnings = nil, nil, nil, nil, nil, nil, nil
	r.Takes[0].Used = false
	r.Takes[0].Flags = []string{"clipped"}
	return r
}
