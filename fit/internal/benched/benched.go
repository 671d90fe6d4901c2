// Package benched is coils measured on benches whose parts are off what is written on
// them, at the level of the response: what the simulated bench's state space gives, with
// white noise. For tests.
package benched

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"coilsweep/capture"
	"coilsweep/capture/virtual"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
)

// Pieces are the parts of a bench, as far as they are off what is written on
// them: in units of their tolerance.
type Pieces struct{ FixtureC, FixtureR, C220, C470 float64 }

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// Measured is the result of the bench's coil measured with the pieces, of which coil
// states what is known. bare is the truth of the take with nothing added.
func Measured(b virtual.Bench, p Pieces, coil capture.Coil, random *rand.Rand) (result *fit.Result,
	bare virtual.Truth) {
	c, r := must(quantity.ParseCapacitance("65p 5%")), must(quantity.ParseResistance("1M 1%"))
	clock := 50e-6 * (2*random.Float64() - 1) // of each measurement by itself
	b.Fixture.Capacitance.SI = 65e-12 * (1 + 0.05*p.FixtureC)
	b.Fixture.Resistance.SI = 1e6 * (1 + 0.01*p.FixtureR)
	var takes []joint.Take
	for i, added := range []struct {
		text string
		off  float64
	}{{"", 0}, {"220p 1%", p.C220}, {"470p 1%", p.C470}} {
		load := capture.Load{FixtureC: &c, FixtureR: &r}
		off := 0.01 * added.off
		b.Added.CError = &off
		if added.text != "" {
			v := must(quantity.ParseCapacitance(added.text))
			load.AddedC = &v
		}
		truth := must(b.Truth(load, 0))
		if added.text == "" {
			bare = truth
		}
		take := joint.Take{Name: fmt.Sprintf("take%d", i+1), Load: load, Referenced: true, Ideal: true,
			Response: &response.Response{VarianceDoF: 100, SNRdB: 70}}
		for hz := 21.0; hz < 19900; hz += max(6, hz*(math.Exp2(1.0/10)-1)) {
			u := math.Pow(10, -70.0/20) * math.Sqrt(1000/hz)
			take.Response.FrequencyHz = append(take.Response.FrequencyHz, hz)
			take.Response.H = append(take.Response.H,
				truth.Transfer(hz*(1+clock))+complex(u*random.NormFloat64(), u*random.NormFloat64())/math.Sqrt2)
			take.Response.Variance = append(take.Response.Variance, u*u)
		}
		takes = append(takes, take)
	}
	return must(joint.Analyse(context.Background(), coil, takes,
		fit.Options{Forms: []fit.Form{{}, {Rings: 1}, {Rings: 2}}})), bare
}
