package check

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Mains is the hum that was found, in the coil's channel.
type Mains struct {
	Hz    float64 `json:"hz"`
	DBFS  float64 `json:"dbfs"` // of all lines
	Lines []Line  `json:"lines"`
	rest  float64 // mean square of what is left without them
}

// Line is one harmonic of the mains.
type Line struct {
	Order int     `json:"order"`
	Hz    float64 `json:"hz"`
	DBFS  float64 `json:"dbfs"`
}

// mainsOrders is how many harmonics are measured.
const mainsOrders = 12

type span struct{ from, to int }

// silence is the part of the recording before anything of the sweep can come
// back; the first 50 ms, in which devices settle, are left out.
func (s Scout) silence() span {
	n := 0
	if len(s.Recording.Samples) > 0 {
		n = len(s.Recording.Samples[0])
	}
	rate := s.Recording.RateHz
	return span{min(rate/20, n), min(s.Take.Stimulus.LeadInSamples-rate/200, n)}
}

// mains measures the harmonics of the mains in a silence, at the frequency
// that the estimate of the response has found from all silences, else at the
// one that the take's quality names.
func (s Scout) mains(silence []float64) *Mains {
	hz := s.Take.Quality.MainsHz
	if s.Response != nil && s.Response.MainsHz != 0 {
		hz = s.Response.MainsHz
	}
	if hz == 0 || len(silence) < s.Recording.RateHz/10 {
		return nil
	}
	m := &Mains{Hz: hz}
	amplitudes, rest := harmonicsOf(silence, hz/float64(s.Recording.RateHz))
	total := 0.0
	for i, a := range amplitudes {
		m.Lines = append(m.Lines, Line{Order: i + 1, Hz: float64(i+1) * hz, DBFS: dbfs(a * a / 2)})
		total += a * a / 2
	}
	m.DBFS, m.rest = dbfs(total), rest
	return m
}

// harmonicsOf are the amplitudes of the sines at multiples of f cycles per
// sample, fitted together with an offset by least squares, and the mean square
// of the rest.
func harmonicsOf(x []float64, f float64) (amplitudes []float64, rest float64) {
	columns := 1 + 2*mainsOrders
	normal := mat.NewSymDense(columns, nil)
	right := mat.NewVecDense(columns, nil)
	row := make([]float64, columns)
	for i, v := range x {
		row[0] = 1
		_, turn := math.Modf(f * float64(i))
		sin, cos := math.Sincos(2 * math.Pi * turn)
		re, im := cos, sin
		for h := range mainsOrders {
			row[1+2*h], row[2+2*h] = re, im
			re, im = re*cos-im*sin, re*sin+im*cos
		}
		for a, ra := range row {
			right.SetVec(a, right.AtVec(a)+ra*v)
			for b := a; b < columns; b++ {
				normal.SetSym(a, b, normal.At(a, b)+ra*row[b])
			}
		}
	}
	var cholesky mat.Cholesky
	amplitudes = make([]float64, mainsOrders)
	var solution mat.VecDense
	if !cholesky.Factorize(normal) || cholesky.SolveVecTo(&solution, right) != nil {
		return amplitudes, variance(x)
	}
	for h := range amplitudes {
		amplitudes[h] = math.Hypot(solution.AtVec(1+2*h), solution.AtVec(2+2*h))
	}
	// What is explained is the solution times the right-hand side.
	square := 0.0
	for _, v := range x {
		square += v * v
	}
	return amplitudes, math.Max(square-mat.Dot(&solution, right), 0) / float64(len(x))
}

// dbfs is the level of a mean square; a full-scale sine has ½ (AES17).
func dbfs(meanSquare float64) float64 { return math.Max(10*math.Log10(2*meanSquare), -200) }

func variance(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	mean, square := 0.0, 0.0
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		square += (v - mean) * (v - mean)
	}
	return square / float64(len(x))
}
