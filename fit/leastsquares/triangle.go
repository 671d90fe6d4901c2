package leastsquares

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// runRows is how many rows are reduced at a time: a run with its columns stays
// in a processor's first cache, and a column of it lies in one piece.
const runRows = 64

// triangle reduces a matrix to an upper triangle by Householder reflections, a
// run of rows after the other: [R; run] becomes [R'; 0] (sequential QR: J. Demmel,
// L. Grigori, M. Hoemmen, J. Langou, "Communication-optimal parallel and
// sequential QR and LU factorizations", SIAM J. Sci. Comput. 34(1), 2012).
// It remembers the reflections.
type triangle struct {
	rows, columns int
	pivots        int       // the first columns, which are reduced
	r             []float64 // pivots × columns, by rows
	// runs holds by run and column what was reflected; the reflection of pivot j
	// is 1 - tau [1; x] [1; x]ᵀ, x being column j.
	runs, tau []float64
}

func newTriangle(rows, columns, pivots int) *triangle {
	return &triangle{
		rows: rows, columns: columns, pivots: pivots,
		r:    make([]float64, pivots*columns),
		runs: make([]float64, rows*columns),
		tau:  make([]float64, (rows+runRows-1)/runRows*pivots),
	}
}

// reduce takes in the rows of a, after which r is the triangle of these and of
// what r was before.
func (t *triangle) reduce(a []float64) {
	c := t.columns
	for first, tau := 0, t.tau; first < t.rows; first, tau = first+runRows, tau[t.pivots:] {
		h := min(runRows, t.rows-first)
		run := t.runs[first*c : (first+h)*c]
		for i := range h {
			for j, v := range a[(first+i)*c : (first+i+1)*c] {
				run[j*h+i] = v
			}
		}
		for j := range t.pivots {
			x, row := run[j*h:(j+1)*h], t.r[j*c:(j+1)*c]
			tau[j] = 0
			below := floats.Dot(x, x)
			if below == 0 {
				continue
			}
			pivot := -math.Copysign(math.Sqrt(row[j]*row[j]+below), row[j])
			tau[j] = (pivot - row[j]) / pivot
			floats.Scale(1/(row[j]-pivot), x)
			row[j] = pivot
			for k := j + 1; k < c; k++ {
				y := run[k*h : (k+1)*h]
				w := tau[j] * (row[k] + floats.Dot(x, y))
				row[k] -= w
				floats.AddScaled(y, -w, x)
			}
		}
	}
}

// rotate applies the reflections of reduce, which must have begun with r zero,
// to one more column, v, overwrites it, and writes what comes beside r to dst.
func (t *triangle) rotate(dst, v []float64) {
	clear(dst[:t.pivots])
	for first, tau := 0, t.tau; first < t.rows; first, tau = first+runRows, tau[t.pivots:] {
		h := min(runRows, t.rows-first)
		run, y := t.runs[first*t.columns:(first+h)*t.columns], v[first:first+h]
		for j := range t.pivots {
			if tau[j] == 0 {
				continue
			}
			x := run[j*h : (j+1)*h]
			w := tau[j] * (dst[j] + floats.Dot(x, y))
			dst[j] -= w
			floats.AddScaled(y, -w, x)
		}
	}
}
