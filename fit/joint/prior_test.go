package joint

import (
	"math"
	"testing"

	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

// TestMeterSlope checks the derivatives of what a meter shows, in both modes, of
// every form, with the fixture known and not, against central differences.
func TestMeterSlope(t *testing.T) {
	for _, fixture := range []string{"65p 5%", ""} {
		takes := bench{coil: demoCoil(), snrDB: 60, seed: 1}.takes(load{fixtureC: fixture, fixtureR: "1M 1%"},
			load{fixtureC: fixture, fixtureR: "1M 1%", addedC: "220p 1%"})
		parts := gatherParts(takes)
		for _, form := range fit.Ladder() {
			coil := circuit.Coil{InductanceH: 2.4, ResistanceOhm: 7850, CapacitanceF: 175e-12}
			for i := range form.Rings {
				coil.Rings = append(coil.Rings, circuit.Ring{Share: 0.1, TimeS: 1e-4 / float64(i+1)})
			}
			if form.Cylinder {
				coil.Cylinder = circuit.Ring{Share: 0.2, TimeS: 2e-4}
			}
			if form.Cover {
				coil.CoverTimeS = 1e-5
			}
			j := newJoint(form, request{takes: takes, parts: parts}, coil)
			x := j.startVector(coil)
			for _, m := range []meterInductance{{hz: 100}, {hz: 1000}, {hz: 4000}, {hz: 1000, parallel: true},
				{hz: 4000, parallel: true}} {
				p := prior{meter: &m, columns: [2]int{-1, -1}}
				s := newState(j)
				got := make([]float64, j.n)
				p.slope(s, x, func(column int, d float64) { got[column] = d })
				for c := range j.n {
					const h = 2e-4
					at := func(d float64) float64 {
						was := x[c]
						defer func() { x[c] = was }()
						x[c] += d
						return p.value(s, x)
					}
					want := (8*(at(h)-at(-h)) - (at(2*h) - at(-2*h))) / (12 * h)
					if math.Abs(got[c]-want) > 1e-9 {
						t.Errorf("%s, %+v, fixture %q: slope by column %d is %.12g, differences give %.12g",
							form.Name(), m, fixture, c, got[c], want)
					}
				}
			}
		}
	}
}
