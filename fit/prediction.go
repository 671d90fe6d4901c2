package fit

import (
	"cmp"
	"fmt"
	"math"

	"coilsweep/excite/quantity"
	"coilsweep/fit/circuit"
)

// Uncertain is a coil that was fitted to takes, the input of Propagate.
type Uncertain interface {
	// Bare is the circuit of the coil alone, its fixture taken off; an error
	// where that is not known.
	Bare() (circuit.Coil, error)
	// Carry propagates the coil's uncertainty to count quantities that follow
	// from that circuit: quantities writes them into dst, NaN for what does not
	// exist. It must not keep dst.
	Carry(count int, quantities func(bare circuit.Coil, dst []float64)) Carried
}

// Carried are quantities that follow from the circuit of one coil, with their
// uncertainty from its fit.
type Carried struct {
	Variances []Variances // by quantity
	// ClockU is the relative standard uncertainty of every frequency.
	ClockU float64
	// Ambiguous says why several circuits explain the takes; "" where one does.
	Ambiguous string
	// MissingFact is the measurement that undetermined quantities need.
	MissingFact string
}

// Limits of what counts as known.
const (
	// WeakShare is the largest part of u² that may come from weak priors.
	WeakShare = 0.1
	// WeakU is the relative u below which the share of weak priors does not matter.
	WeakU = 0.0015
)

// Sought is a quantity that Propagate is asked for.
type Sought struct {
	// Missing is the reason where it is not a number.
	Missing string
	// Decibel: it may be zero or negative, and has no relative uncertainty.
	Decibel bool
	// Size is what its uncertainty is compared with; 0: its value.
	Size float64
	// Frequency: it is wrong by as much as the sound card's clock.
	Frequency bool
}

// predictableU is the largest relative standard uncertainty of a prediction.
const predictableU = 0.5

// Propagate carries the uncertainty of coils and of stated parts to quantities
// that follow from their circuits: f writes them, in the order of sought, for the
// bare coils and the sizes of the parts in SI units; NaN where one does not
// exist. The fits of several coils and the parts are taken to be independent. The
// propagation is linear (JCGM 100:2008, 5.2), with the spread of the forms that
// explain each coil.
//
// The errors are those of Bare.
func Propagate(coils []Uncertain, parts []quantity.Value, sought []Sought,
	f func(coils []circuit.Coil, parts, dst []float64)) ([]Quantity, error) {
	circuits := make([]circuit.Coil, len(coils))
	sizes := make([]float64, len(parts))
	for i, c := range coils {
		var err error
		if circuits[i], err = c.Bare(); err != nil {
			return nil, err
		}
	}
	for i, p := range parts {
		sizes[i] = p.SI
	}
	best := make([]float64, len(sought))
	f(circuits, sizes, best)

	total := make([]Variances, len(sought))
	clock := 0.0 // one crystal for all takes, so far as is known
	var ambiguous, missingFact string
	for i, c := range coils {
		at := circuits[i]
		carried := c.Carry(len(sought), func(bare circuit.Coil, dst []float64) {
			circuits[i] = bare
			f(circuits, sizes, dst)
		})
		circuits[i] = at
		for k, v := range carried.Variances {
			total[k].add(v)
		}
		clock = max(clock, carried.ClockU)
		ambiguous = cmp.Or(ambiguous, carried.Ambiguous)
		missingFact = cmp.Or(missingFact, carried.MissingFact)
	}
	up, down := make([]float64, len(sought)), make([]float64, len(sought))
	for i, p := range parts {
		if p.U() == 0 {
			continue
		}
		const h = 1e-4
		sizes[i] = p.SI * (1 + h)
		f(circuits, sizes, up)
		sizes[i] = p.SI * (1 - h)
		f(circuits, sizes, down)
		sizes[i] = p.SI
		for k := range total {
			u := (up[k] - down[k]) / (2 * h) * p.U() / p.SI
			total[k].Fit += u * u
		}
	}
	out := make([]Quantity, len(sought))
	for k, s := range sought {
		if s.Frequency {
			u := clock * best[k]
			total[k].Fit += u * u
		}
		out[k] = total[k].Judge(best[k], s, cmp.Or(ambiguous, missingFact))
	}
	return out, nil
}

// Variances of one quantity by where they come from, in the square of its unit.
type Variances struct {
	Fit   float64 // noise, and what is known of the parts
	Weak  float64 // the part of Fit that only the weak priors hold
	Model float64 // the choice of the form
}

func (v *Variances) add(w Variances) {
	v.Fit += w.Fit
	v.Weak += w.Weak
	v.Model += w.Model
}

// Judge is the quantity with that value, or the reason why it is not known;
// missingFact is the measurement that it needs where it is undetermined.
func (v Variances) Judge(value float64, s Sought, missingFact string) Quantity {
	u := math.Sqrt(v.Fit + v.Model)
	size := s.Size
	if size == 0 {
		size = math.Abs(value)
	}
	minded := WeakU * size
	if s.Decibel {
		minded = 20 / math.Ln10 * WeakU
	}
	switch {
	case math.IsNaN(value) || math.IsNaN(u) || math.IsInf(u, 0):
		return Unknown(s.Missing)
	case v.Weak > WeakShare*v.Fit && v.Weak > minded*minded:
		return Unknown("undetermined: " + missingFact)
	case !s.Decibel && u > predictableU*size:
		return Unknown(fmt.Sprintf("undetermined: U95 would be ±%.0f %%", 100*quantity.Coverage95*u/size))
	}
	return Quantity{Value: value, U: u, U95: quantity.Coverage95 * u}
}
