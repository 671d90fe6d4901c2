package pair

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/virtual"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
)

// benchTake is a take of the simulated bench, noise 70 dB below the plateau of one coil at
// 1 kHz, through a channel that all takes have in common at one place of the exciter.
func benchTake(b virtual.Bench, t Take, connected, other string, field float64, random *rand.Rand) Take {
	second := *b.Second
	second.Connected, second.Other, second.Field = connected, other, field
	b.Second = &second
	truth := must(b.Truth(t.Load, 1))
	r := &response.Response{VarianceDoF: 100}
	delay := 2e-5 * random.Float64()
	for hz := 25.0; hz < 19e3; hz *= math.Pow(2, 1.0/24) {
		u := 0.2 * math.Pow(10, -70.0/20) * math.Sqrt(1000/hz)
		h := 0.2*truth.Transfer(hz)*cmplx.Rect(1, -2*math.Pi*hz*delay)/complex(1, hz/35e3) +
			complex(u/math.Sqrt2*random.NormFloat64(), u/math.Sqrt2*random.NormFloat64())
		r.FrequencyHz, r.H, r.Variance = append(r.FrequencyHz, hz), append(r.H, h), append(r.Variance, u*u)
	}
	t.Response = r
	return t
}

// benchRequest are the takes of a pair of the simulated bench; those of the connection that
// cancels hum have the exciter over the first coil, where the second has a tenth of the EMF.
func benchRequest(b virtual.Bench, other string, seed uint64) Request {
	random := rand.New(rand.NewPCG(seed, 5))
	fixtureC, fixtureR := must(quantity.ParseCapacitance("65p 1p")), must(quantity.ParseResistance("1M 1%"))
	added := must(quantity.ParseCapacitance("470p 1%"))
	celsius := 20.0
	q := Request{Name: "pair"}
	for i, c := range []virtual.Coil{b.Coil, b.Second.Coil} {
		dcr := must(quantity.ParseResistance(fmt.Sprintf("%g@20C 0.5%%", c.Resistance.SI)))
		q.Coils[i] = capture.Coil{Name: c.Name, DCR: &dcr, CelsiusAtTakes: &celsius}
	}
	for _, c := range []struct {
		connected  string
		connection circuit.PairConnection
		loaded     bool
		place      Place
	}{
		{"first", circuit.PairConnection{}, false, OverBoth},
		{"first", circuit.PairConnection{}, true, OverBoth},
		{"second", circuit.PairConnection{Wiring: circuit.SecondAlone}, false, OverBoth},
		{"second", circuit.PairConnection{Wiring: circuit.SecondAlone}, true, OverBoth},
		{"series", circuit.PairConnection{Wiring: circuit.PairInSeries}, false, OverBoth},
		{"parallel", circuit.PairConnection{Wiring: circuit.PairInParallel}, false, OverBoth},
		{"series-reversed", circuit.PairConnection{Wiring: circuit.PairInSeries, Reversed: true}, false, OverFirst},
		{"parallel-reversed", circuit.PairConnection{Wiring: circuit.PairInParallel, Reversed: true}, false, OverFirst},
	} {
		take := Take{Take: joint.Take{Name: c.connected}, Connection: c.connection, Place: c.place}
		take.Connection.Shorted = other == "shorted"
		take.Load = capture.Load{FixtureC: &fixtureC, FixtureR: &fixtureR}
		if c.loaded {
			take.Load.AddedC = &added
		}
		field := b.Second.Field
		if c.place == OverFirst {
			field = 0.1
		}
		q.Takes = append(q.Takes, benchTake(b, take, c.connected, other, field, random))
	}
	q.start()
	return q
}

// found are what is found of a pair of the simulated bench, and what it has.
func found(b virtual.Bench, r *Result) []struct {
	what  string
	q     fit.Quantity
	truth float64
} {
	return []struct {
		what  string
		q     fit.Quantity
		truth float64
	}{
		{"coupling", r.Coupling, b.Second.Coupling},
		{"M", r.Mutual, b.Second.Coupling * math.Sqrt(b.Coil.Inductance.SI*b.Second.Inductance.SI)},
		{"C between", r.Between, b.Second.BetweenC.SI}, {"C to metal", r.Ground, b.Second.MetalC.SI},
		{"turns × area", r.Balance.TurnsArea, b.Second.Field},
		{"L", r.Halves[0].Inductance, b.Coil.Inductance.SI}, {"C", r.Halves[0].Capacitance, b.Coil.WindingC.SI},
		{"C of the second", r.Halves[1].Capacitance, b.Second.WindingC.SI},
	}
}

// What is found of a pair with the exciter in two places is what the simulated bench has,
// also where the leads of the other coil are open.
func TestExciterOverOneCoil(t *testing.T) {
	b := virtual.Pair()
	for seed, other := range []string{"shorted", "open"} {
		r := must(Fit(context.Background(), benchRequest(b, other, uint64(seed))))
		if r.Contradicted() {
			t.Errorf("%s: %+v", other, r.Model)
		}
		for _, c := range found(b, r) {
			t.Logf("%s, %s: %.6g ± %.2g, truly %.6g (%s)", other, c.what, c.q.Value, c.q.U95, c.truth, c.q.Why)
			if !c.q.Known() || math.Abs(c.q.Value-c.truth) > 1.5*c.q.U95 || c.q.U95 > 0.1*math.Abs(c.truth) {
				t.Errorf("%s: %s is not found", other, c.what)
			}
		}
	}
}

// Metal of more loops than the circuit of the fit has, unlike in the two coils, leaves what
// is found within U95.
func TestMetalOfManyLoops(t *testing.T) {
	b := virtual.Pair()
	rings := func(coupling ...float64) (list []virtual.Ring) {
		for i, k := range coupling {
			list = append(list, virtual.Ring{Name: fmt.Sprint(i),
				Inductance: must(quantity.ParseInductance("1uH")),
				Resistance: must(quantity.ParseResistance([]string{"4m", "16m", "60m", "250m", "1"}[i])), Coupling: k})
		}
		return list
	}
	second := *b.Second
	b.Coil.Rings, second.Rings = rings(0.2, 0.26, 0.28, 0.3, 0.25), rings(0.1, 0.14, 0.22, 0.28, 0.3)
	b.Second = &second
	r := must(Fit(context.Background(), benchRequest(b, "shorted", 3)))
	t.Logf("%+v %q", r.Model, r.Warnings)
	for _, c := range found(b, r) {
		t.Logf("%s: %.6g ± %.2g, truly %.6g (%s)", c.what, c.q.Value, c.q.U95, c.truth, c.q.Why)
		if c.q.Known() && math.Abs(c.q.Value-c.truth) > 1.5*c.q.U95 {
			t.Errorf("%s is not covered", c.what)
		}
	}
}

// Takes of which the wrong thing is stated are left unexplained: that is said first, and they
// are not usable.
func TestWrongConnection(t *testing.T) {
	q := benchRequest(virtual.Pair(), "shorted", 4)
	for i := range q.Takes {
		q.Takes[i].Connection.Shorted = false
	}
	r := must(Fit(context.Background(), q))
	t.Logf("%+v, coupling %+v", r.Model, r.Coupling)
	if !r.Contradicted() || !strings.Contains(r.Warnings[0], "check what was connected in each take") {
		t.Errorf("%+v, %q", r.Model, r.Warnings)
	}
}
