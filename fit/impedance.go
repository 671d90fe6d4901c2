package fit

import (
	"cmp"
	"math"
	"math/cmplx"

	"coilsweep/fit/circuit"
)

// Impedance is that of a coil's terminals at one frequency with nothing connected to
// them, the fixture taken off: of the fitted circuit, with the covariance of the fit.
type Impedance struct {
	Hz                    float64
	Resistance, Reactance Quantity // real and imaginary part, ohm
	// Correlation of the two; NaN where one is not known.
	Correlation float64
	Magnitude   Quantity // ohm
	PhaseDeg    Quantity
}

// Impedances of a coil are worked out from lowestImpedanceHz on.
const (
	lowestImpedanceHz   = 20
	impedancesPerDecade = 80
)

// Impedances are those from 20 Hz to topHz, the end of the sweep, above which nothing is
// known of the losses; 80 a decade, 100 Hz, 1 kHz and 10 kHz among them. The propagation
// is linear (JCGM 102:2011, 6.2). The errors are those of Bare.
func Impedances(coil Uncertain, topHz float64) ([]Impedance, error) {
	var hz []float64
	for n := math.Ceil(impedancesPerDecade * math.Log10(lowestImpedanceHz)); ; n++ {
		f := math.Pow(10, n/impedancesPerDecade)
		if f > topHz {
			return impedancesAt(coil, hz)
		}
		hz = append(hz, f)
	}
}

func impedancesAt(coil Uncertain, hz []float64) ([]Impedance, error) {
	bare, err := coil.Bare()
	if err != nil {
		return nil, err
	}
	const each = 5
	count := each * len(hz)
	at := func(c circuit.Coil, tune float64, dst []float64) {
		for i, f := range hz {
			z := c.Impedance(complex(0, 2*math.Pi*f*tune), circuit.Open())
			copy(dst[each*i:], []float64{real(z), imag(z), cmplx.Abs(z), cmplx.Phase(z) * 180 / math.Pi,
				real(z) + imag(z)}) // the variance of the sum holds the covariance
		}
	}
	value, up, down := make([]float64, count), make([]float64, count), make([]float64, count)
	carried := coil.Carry(count, func(c circuit.Coil, dst []float64) { at(c, 1, dst) })
	const h = 1e-4
	at(bare, 1, value)
	at(bare, 1+h, up)
	at(bare, 1-h, down)
	v := carried.Variances
	for k := range v {
		// The clock moves the circuit along the axis of frequency.
		u := (up[k] - down[k]) / (2 * h) * carried.ClockU
		v[k].Fit += u * u
	}
	missing := cmp.Or(carried.Ambiguous, carried.MissingFact)
	out := make([]Impedance, len(hz))
	for i, f := range hz {
		k := each * i
		ohm := Sought{Missing: "the circuit has no impedance there", Size: value[k+2]}
		degrees := Sought{Missing: ohm.Missing, Size: 180 / math.Pi}
		z := Impedance{Hz: f, Correlation: math.NaN(),
			Resistance: v[k].Judge(value[k], ohm, missing), Reactance: v[k+1].Judge(value[k+1], ohm, missing),
			Magnitude: v[k+2].Judge(value[k+2], ohm, missing), PhaseDeg: v[k+3].Judge(value[k+3], degrees, missing)}
		if r, x := z.Resistance, z.Reactance; r.Known() && x.Known() && r.U > 0 && x.U > 0 {
			sum := v[k+4].Fit + v[k+4].Model
			z.Correlation = min(1, max(-1, (sum-r.U*r.U-x.U*x.U)/(2*r.U*x.U)))
		}
		out[i] = z
	}
	return out, nil
}
