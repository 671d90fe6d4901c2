package invented

import (
	"fmt"
	"math"
	"testing"
	"time"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/fit/batch"
	"coilsweep/fit/comparison"
	"coilsweep/fit/evaluation"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Coils are n coils that differ a little; the third has lost much of
// its Q, and the fifth is hardly known.
func Coils(n, points int) []comparison.Coil {
	var coils []comparison.Coil
	for i := range n {
		r := Result(ThreeLoads[:2], points)
		by := 1 + 0.002*float64((i*7)%5)
		r.Inductance.Value *= by
		for k := range r.Branch {
			r.Branch[k].Inductance.Value *= by
		}
		r.BareResonance.Value /= math.Sqrt(by)
		switch i {
		case 2:
			r.BareQ = Quantity(1.1, 0.02)
			r.Takes[0].Q = Quantity(0.9, 0.01)
		case 4:
			r.Inductance, r.Capacitance, r.BareResonance, r.BareQ = fit.Unknown("one take"), fit.Unknown("one take"),
				fit.Unknown("one take"), fit.Unknown("one take")
			for k := range r.Branch {
				r.Branch[k].Inductance, r.Branch[k].Resistance = fit.Unknown("one take"), fit.Unknown("one take")
			}
		}
		r.Coil = fmt.Sprintf("coil %d", i+1)
		coils = append(coils, comparison.Coil{Name: r.Coil, Folder: fmt.Sprintf("shop/%d", i+1), Result: &r})
	}
	return coils
}

// Compared compares the coils with the first of them.
func Compared(t testing.TB, coils []comparison.Coil) *comparison.Comparison {
	t.Helper()
	c, err := comparison.Compare(coils, 0, false)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Batch is a run of n invented coils; the third has lost its Q, and
// the first two were measured again.
func Batch(t testing.TB, n, points int) *batch.Batch {
	t.Helper()
	var specimens []batch.Specimen
	add := func(i, again int) {
		r := Result(ThreeLoads[:2], points)
		by := 1 + 0.004*math.Sin(float64(7*i)) + 0.0005*float64(again)
		r.Inductance.Value *= by
		for k := range r.Branch {
			r.Branch[k].Inductance.Value *= by
		}
		r.BareResonance.Value /= math.Sqrt(by)
		r.BareQ.Value *= 1 + 0.003*math.Cos(float64(5*i))
		if i == 2 {
			r.BareQ = Quantity(1.1, 0.02)
		}
		name := fmt.Sprintf("coil %02d", i+1)
		r.Coil = name
		specimens = append(specimens, batch.Specimen{
			Coil:     comparison.Coil{Name: name, Folder: fmt.Sprintf("run%d/%02d", again+1, i+1), Result: &r},
			Measured: Day.Add(time.Duration(10*i+1000*again) * time.Minute),
		})
	}
	for i := range n {
		add(i, 0)
	}
	add(0, 1)
	add(1, 1)
	limits := map[string]batch.Limits{"bare_q": {Lower: 2.5, Upper: math.Inf(1)},
		"inductance_h": {Lower: 2.3, Upper: 2.5}}
	b, err := batch.Analyse(specimens, batch.Options{Limits: limits, Guard: 1})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// List is coils in all states: fresh, stale, without a fit, without a take.
func List() []words.Listed {
	whole := Result(ThreeLoads, 4)
	lone := LoneTake()
	lone.Takes[0].Used = true
	late := Result(ThreeLoads, 4)
	late.Inductance = Quantity(3.1, 0.02)
	late.BareResonance, late.BareQ = Quantity(9.2e3, 40), Quantity(4.1, 0.05)
	known := func(folder, coil string, takes int) evaluation.Known {
		return evaluation.Known{Folder: folder, CoilHeading: capture.CoilHeading{Coil: coil}, Takes: takes}
	}
	a, b, c := known("shop/a", "Bridge", 3), known("shop/b", "neck", 1), known("shop/c", "=cmd|' /c'!A1", 0)
	d, e := known("shop/d", "Middle", 3), known("shop/e", "new", 2)
	a.Measured, a.Result, a.Flags = Day, &whole, []string{"hum"}
	b.Measured, b.Result, b.Stale = Day.Add(24*time.Hour), &lone, []string{"coil.toml was edited"}
	d.Measured, d.Result = Day.Add(-24*time.Hour), &late
	e.Measured = Day
	return notation.Each([]evaluation.Known{a, b, c, d, e}, func(k evaluation.Known) words.Listed {
		return words.Listed{Known: k}
	})
}
