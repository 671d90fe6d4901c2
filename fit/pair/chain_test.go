package pair

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"coilsweep/capture/virtual"
)

// The Jacobian of every block is that of differences, with loops or none, with takes in all
// connections and at two places.
func TestJacobian(t *testing.T) {
	for _, other := range []string{"shorted", "open"} {
		q := benchRequest(virtual.Pair(), other, 6)
		q.Takes[1].Load.FixtureR = nil // one with an input of unknown resistance
		for loops := range mostLoops + 1 {
			t.Run(fmt.Sprintf("%s, %d loops", other, loops), func(t *testing.T) {
				m := must(newModel(q, loops, 6))
				m.ownU = 3e-4
				random := rand.New(rand.NewPCG(uint64(loops), 7))
				x := m.start(0.06)
				for c := range m.n {
					x[c] += 0.05 * random.NormFloat64()
				}
				m.weigh(x)
				problem := m.problem()
				for b, block := range problem.Blocks {
					residuals := func(x []float64) []float64 {
						r := make([]float64, block.Residuals)
						problem.Evaluate(b, x, r, nil)
						return r
					}
					r, jacobian := make([]float64, block.Residuals), mat.NewDense(block.Residuals, m.n, nil)
					problem.Evaluate(b, x, r, jacobian)
					if plain := residuals(x); !slices.Equal(r, plain) {
						t.Errorf("block %d: residuals differ beside a Jacobian", b)
					}
					for c := range m.n {
						// Of fourth order: rounding and what is left out are below 1e-8 at this step.
						const small = 2e-4
						at := func(step float64) []float64 {
							moved := slices.Clone(x)
							moved[c] += step * small
							return residuals(moved)
						}
						up2, up, down, down2 := at(2), at(1), at(-1), at(-2)
						most := 0.0
						for i := range r {
							most = max(most, math.Abs(jacobian.At(i, c)))
						}
						for i := range r {
							want := (8*(up[i]-down[i]) - up2[i] + down2[i]) / (12 * small)
							if got := jacobian.At(i, c); math.Abs(got-want) > 1e-8*(most+1) {
								t.Fatalf("block %d, column %d, row %d: %g, by differences %g", b, c, i, got, want)
							}
						}
					}
				}
			})
		}
	}
}
