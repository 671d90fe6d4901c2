package virtual

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
)

// meshResponse is what a channel records at hz for one played, latency apart,
// by mesh analysis: Kirchhoff's voltage law of every loop in phasors, solved by
// elimination. It shares nothing with the state space but the bench.
func meshResponse(b Bench, addedF, addedOhm float64, channel int, hz float64) complex128 {
	jw := complex(0, 2*math.Pi*hz)
	c := b.Coil.WindingC.SI + b.Fixture.Capacitance.SI + addedF
	y := jw * complex(c, 0)
	for _, r := range []float64{b.Fixture.Resistance.SI, addedOhm} {
		if r > 0 {
			y += complex(1/r, 0)
		}
	}
	l := []float64{b.Coil.Inductance.SI}
	z := []complex128{complex(b.Coil.Resistance.SI, 0) + 1/y}
	coupling := []float64{1}
	names := []string{"the coil"}
	for _, r := range b.Coil.Rings {
		l = append(l, r.Inductance.SI)
		z = append(z, complex(r.Resistance.SI, 0))
		coupling = append(coupling, r.Coupling)
		names = append(names, r.Name)
	}
	fromExciter := make([]float64, len(l)) // M to the exciter
	fromExciter[0] = b.Exciter.Mutual.SI
	if b.Cover != nil {
		l = append(l, b.Cover.Inductance.SI)
		z = append(z, complex(b.Cover.Resistance.SI, 0))
		coupling = append(coupling, b.Cover.Coupling)
		names = append(names, "the cover")
		// What is left of M at high frequency is M (1 - shielding).
		toCoil := b.Cover.Coupling * math.Sqrt(b.Cover.Inductance.SI*b.Coil.Inductance.SI)
		fromExciter = append(fromExciter, b.Cover.Shielding*b.Exciter.Mutual.SI*b.Cover.Inductance.SI/toCoil)
	}
	n := len(l)
	matrix := make([][]complex128, n)
	rhs := make([]complex128, n)
	for i := range n {
		matrix[i] = make([]complex128, n)
		for j := range n {
			var m float64
			switch {
			case i == j:
				m = l[i]
			case i == 0 || j == 0:
				m = coupling[i] * coupling[j] * math.Sqrt(l[i]*l[j])
			}
			for _, k := range b.Coil.Mutual {
				if k.Between[0] == names[i] && k.Between[1] == names[j] || k.Between[1] == names[i] &&
					k.Between[0] == names[j] {
					m = k.Coupling * math.Sqrt(l[i]*l[j])
				}
			}
			matrix[i][j] = jw * complex(m, 0)
		}
		matrix[i][i] += z[i]
	}
	sense := 0.0
	if b.Reference.Kind == "current" {
		sense = b.Reference.SenseR.SI
	}
	drive := butterworth(b.Output.RollOff, hz)
	for _, corner := range b.Output.HighPassHz {
		drive *= complex(0, hz/corner) / complex(1, hz/corner)
	}
	var exciter, jack complex128
	if b.Exciter.Drive == "current" {
		exciter = drive * complex(b.Exciter.FullScaleA, 0)
		for i, m := range fromExciter {
			rhs[i] = jw * complex(m, 0) * exciter
		}
	} else {
		source := drive * complex(b.Output.FullScaleV, 0)
		row := make([]complex128, n+1)
		for i, m := range fromExciter {
			matrix[i] = append(matrix[i], -jw*complex(m, 0))
			row[i] = -jw * complex(m, 0)
		}
		r := b.Output.Resistance.SI + b.Exciter.SeriesR.SI + b.Exciter.Resistance.SI + sense
		row[n] = complex(r, 0) + jw*complex(b.Exciter.Inductance.SI, 0)
		matrix, rhs = append(matrix, row), append(rhs, source)
		jack = source
	}
	current := eliminate(matrix, rhs)
	if b.Exciter.Drive != "current" {
		exciter = current[n]
		jack -= complex(b.Output.Resistance.SI, 0) * exciter
	}
	var recorded complex128
	switch {
	case channel == 0:
		recorded = current[0] / y / complex(b.Input.FullScaleV, 0)
		if b.Input.Inverted {
			recorded = -recorded
		}
	case b.Reference.Kind == "current":
		recorded = complex(sense/b.Reference.FullScaleV, 0) * exciter
	default:
		recorded = jack / complex(b.Reference.FullScaleV, 0)
	}
	for _, corner := range b.Input.HighPassHz {
		recorded *= complex(0, hz/corner) / complex(1, hz/corner)
	}
	return recorded * butterworth(b.Input.RollOff, hz)
}

// butterworth is the product over the poles on the unit circle.
func butterworth(r RollOff, hz float64) complex128 {
	h := complex(1, 0)
	if r.DB == 0 {
		return h
	}
	n := float64(r.Order)
	// |H|^2 = 1/(1+(f/fc)^(2n)) is -DB at AtHz.
	x := hz / r.AtHz * math.Pow(math.Pow(10, r.DB/10)-1, 1/(2*n))
	for k := range r.Order {
		pole := cmplx.Rect(1, math.Pi*(0.5+(float64(k)+0.5)/n))
		h *= -pole / (complex(0, x) - pole)
	}
	return h
}

// eliminate solves m x = v by Gauss's elimination with row pivots.
func eliminate(m [][]complex128, v []complex128) []complex128 {
	n := len(v)
	for c := range n {
		best := c
		for r := c; r < n; r++ {
			if cmplx.Abs(m[r][c]) > cmplx.Abs(m[best][c]) {
				best = r
			}
		}
		m[c], m[best], v[c], v[best] = m[best], m[c], v[best], v[c]
		for r := c + 1; r < n; r++ {
			f := m[r][c] / m[c][c]
			for k := c; k < n; k++ {
				m[r][k] -= f * m[c][k]
			}
			v[r] -= f * v[c]
		}
	}
	x := make([]complex128, n)
	for r := n - 1; r >= 0; r-- {
		x[r] = v[r]
		for k := r + 1; k < n; k++ {
			x[r] -= m[r][k] * x[k]
		}
		x[r] /= m[r][r]
	}
	return x
}

func ohm(x float64) quantity.Resistance {
	return quantity.Resistance{Value: quantity.Value{SI: x, Unit: quantity.Ohm, Text: "given"}}
}

func henry(x float64) quantity.Inductance {
	return quantity.Inductance{Value: quantity.Value{SI: x, Unit: quantity.Henry, Text: "given"}}
}

func faradOf(x float64) quantity.Capacitance {
	return quantity.Capacitance{Value: quantity.Value{SI: x, Unit: quantity.Farad, Text: "given"}}
}

// randomBench draws a bench without noise; its couplings are possible, and its
// full scales so high that nothing clips.
func randomBench(rng *rand.Rand) Bench {
	between := func(low, high float64) float64 { return low * math.Pow(high/low, rng.Float64()) }
	b := Bench{
		Coil: Coil{
			Inductance: henry(between(0.5, 10)),
			Resistance: ohm(between(2e3, 2e4)),
			WindingC:   faradOf(between(40e-12, 300e-12)),
		},
		Fixture: Fixture{Capacitance: faradOf(between(20e-12, 800e-12)), Resistance: ohm(between(1e5, 5e6))},
		Exciter: Exciter{
			Drive: "voltage", FullScaleA: between(1e-3, 1e-1),
			Resistance: ohm(between(1, 100)), Inductance: henry(between(20e-6, 5e-3)), SeriesR: ohm(between(10, 1e4)),
		},
		Output: Output{FullScaleV: between(0.3, 3), Resistance: ohm(between(1, 600)),
			HighPassHz: []float64{between(1, 5)}},
		Input:     Input{FullScaleV: between(500, 1000), HighPassHz: []float64{between(1, 5), between(1, 10)}},
		Reference: Reference{Kind: "current", SenseR: ohm(between(1, 100)), FullScaleV: between(10, 20)},
	}
	if rng.IntN(2) == 0 {
		b.Exciter.Drive = "current"
	} else if rng.IntN(2) == 0 {
		b.Reference.Kind = "loopback"
	}
	b.Input.RollOff = RollOff{DB: between(0.1, 3), AtHz: between(1e4, 2e4), Order: 1 + rng.IntN(4)}
	b.Output.RollOff = RollOff{DB: between(0.1, 3), AtHz: between(1e4, 2e4), Order: 1 + rng.IntN(4)}
	b.Exciter.Mutual = henry(1e-3 * math.Sqrt(b.Exciter.Inductance.SI*b.Coil.Inductance.SI) * between(1, 10))
	for i := range rng.IntN(4) {
		lr := between(1e-8, 1e-5)
		b.Coil.Rings = append(b.Coil.Rings, Ring{
			Name: string(rune('a' + i)), Inductance: henry(lr),
			Resistance: ohm(2 * math.Pi * between(500, 3e4) * lr),
			Coupling:   between(0.05, 0.4) * float64(1-2*rng.IntN(2)),
		})
	}
	if len(b.Coil.Rings) >= 2 {
		b.Coil.Mutual = []Mutual{{Between: []string{"b", "a"}, Coupling: 0.2 * (2*rng.Float64() - 1)}}
	}
	if rng.IntN(2) == 0 {
		b.Cover = &Cover{Inductance: henry(1e-6), Resistance: ohm(2 * math.Pi * between(1e3, 3e4) * 1e-6),
			Coupling: between(0.05, 0.2), Shielding: rng.Float64()}
	}
	return b
}

// TestRecordedMeetsMeshAnalysis compares the state space in steady state with
// mesh analysis.
func TestRecordedMeetsMeshAnalysis(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 14))
	for n := range 200 {
		b := randomBench(rng)
		addedF, addedOhm := 1e-9*rng.Float64(), 1e6*rng.Float64()+1e4
		c, r := faradOf(addedF), ohm(addedOhm)
		truth, err := b.Truth(capture.Load{AddedC: &c, AddedR: &r}, 1)
		if err != nil {
			t.Fatalf("bench %d: %v", n, err)
		}
		for ch := range truth.Channels() {
			for _, hz := range tones {
				got, want := truth.Recorded(ch, hz), meshResponse(b, addedF, addedOhm, ch, hz)
				// Rates of up to 1e9/s beside 30 Hz leave nine digits or so.
				if cmplx.Abs(got/want-1) > 1e-7 {
					t.Fatalf("bench %d, channel %d at %v Hz: %v, mesh analysis %v", n, ch, hz, got, want)
				}
			}
		}
	}
}

// TestTakeMeetsMeshAnalysis compares recorded samples with mesh analysis: the
// claim of the package comment.
func TestTakeMeetsMeshAnalysis(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 71))
	for n, rate := range []int{48000, 48000, 44100, 96000, 192000} {
		b := randomBench(rng)
		b.Clock.LatencySamples = 2000 * rng.Float64()
		compareTake(t, b, rate, func(channel int, hz float64) complex128 {
			return meshResponse(b, 0, 0, channel, hz)
		}, "random bench", n)
	}
}
