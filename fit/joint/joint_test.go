package joint

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"

	"coilsweep/fit"
)

// TestJacobian checks the analytic Jacobian of every form against central
// differences of the residuals.
func TestJacobian(t *testing.T) {
	loads := []load{{fixtureC: "65p 5%", fixtureR: "1M 1%"},
		{fixtureC: "65p 5%", fixtureR: "1M 1%", addedC: "220p 1%", addedR: "220k 1%"}}
	// Each through a card of its own, both through one, and both with a reference and
	// an exciter that is not known.
	takes := bench{coil: demoCoil(), snrDB: 60, seed: 1}.takes(loads...)
	takes = append(takes, bench{coil: demoCoil(), snrDB: 60, seed: 2, rippled: true}.takes(loads...)...)
	referenced := bench{coil: demoCoil(), snrDB: 60, seed: 3, rippled: true, referenced: true}.takes(loads...)
	for i := range referenced {
		referenced[i].DriveLimitDB = 0.1
	}
	takes = append(takes, referenced...)
	resistance := part{nominal: 7850, u: 0.003}
	for n, form := range append(fit.Ladder(), freeForms...) {
		free := n >= len(fit.Ladder()) // what the takes have in common says nothing
		t.Run(form.Name(), func(t *testing.T) {
			parts := gatherParts(takes)
			know := knowledge{resistance: &resistance, scaleU: 0.002}
			start := startCoils(takes, parts, know)[0]
			j := newJoint(form, request{takes: takes, parts: parts, know: know, free: free}, start)
			p := j.problem()
			x := make([]float64, j.n)
			copy(x, j.startVector(start))
			for i := j.firstRing; i < j.firstPart; i++ {
				if x[i] == 0 {
					x[i] = -1.5
					if (i-j.firstRing)%2 == 1 || i == j.firstPart-1 && form.Cover {
						x[i] = math.Log(3e-5)
					}
				}
			}
			for block, shape := range p.Blocks {
				jacobian := mat.NewDense(shape.Residuals, len(shape.Columns), nil)
				r := make([]float64, shape.Residuals)
				up, down := make([]float64, len(r)), make([]float64, len(r))
				p.Evaluate(block, x, r, jacobian)
				for k, column := range shape.Columns {
					const h = 1e-5
					y := append([]float64(nil), x...)
					y[column] += h
					p.Evaluate(block, y, up, nil)
					y[column] -= 2 * h
					p.Evaluate(block, y, down, nil)
					var scale float64
					for i := range r {
						scale = math.Max(scale, math.Abs(jacobian.At(i, k)))
					}
					for i := range r {
						numeric := (up[i] - down[i]) / (2 * h)
						if math.Abs(numeric-jacobian.At(i, k)) > 1e-5*scale+1e-4 {
							t.Fatalf("block %d row %d column %d: %g, numerically %g", block, i, column,
								jacobian.At(i, k), numeric)
						}
					}
				}
			}
		})
	}
}
