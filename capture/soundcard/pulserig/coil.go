package pulserig

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Coil is the simulated coil, driven by the current of an exciter:
//
//	EMF in series with InductanceH and ResistanceOhm, CapacitanceF and LoadOhm
//	across the terminals, whose voltage is recorded.
type Coil struct {
	InductanceH   float64
	ResistanceOhm float64
	CapacitanceF  float64 // all that is connected across the coil for good
	LoadOhm       float64 // 0: none
}

// oversampling is the number of steps of the circuit in a sample. Within a
// step the current runs in a straight line, so that the EMF is constant and
// the step exact. The straight lines take (pi f/384 kHz)^2/3 off, 0.08 dB at
// 20 kHz: the interpolator adds it beforehand.
const oversampling = 8

// taps is the length of each phase of the interpolator, in samples.
const taps = 64

// bench turns exciter current into coil voltage, a sample at a time, in the
// time domain.
type bench struct {
	interpolator [oversampling][taps]float64
	history      [taps]float64 // the last samples of the current, newest last
	current      float64       // at the last step
	step         [2][3]float64 // (i, v) after a step from (i, v, EMF)
	i, v         float64       // coil current, terminal voltage
	emfPerStep   float64       // EMF of a unit change of current in a step
	stepS        float64
}

// newBench makes a bench at the sample rate. Its gain is such that the coil
// answers a sine of amplitude 1 at the LC frequency with no more than 0.5.
func newBench(c Coil, rateHz float64) *bench {
	b := &bench{stepS: 1 / (oversampling * rateHz)}
	b.setCoil(c, 0)
	// At w0 the voltage is the EMF times Q, and Q is no more than that of the
	// coil's own resistance.
	w0 := 1 / math.Sqrt(c.InductanceH*c.CapacitanceF)
	q := w0 * c.InductanceH / c.ResistanceOhm
	if c.LoadOhm > 0 {
		q = 1 / (1/q + w0*c.InductanceH/c.LoadOhm)
	}
	b.emfPerStep = 0.5 / (w0 * q) / b.stepS
	// Interpolation by a sinc under a Kaiser window (beta 10: about 100 dB),
	// less a twelfth of its second difference over steps.
	kernel := func(x float64) float64 { return sinc(x) * kaiser(x/(taps/2), 10) }
	for phase := range oversampling {
		sum := 0.0
		for k := range taps {
			const step = 1.0 / oversampling
			x := float64(k-taps/2) + 1 - float64(phase)/oversampling
			h := kernel(x) - (kernel(x+step)-2*kernel(x)+kernel(x-step))/12
			b.interpolator[phase][k] = h
			sum += h
		}
		for k := range taps {
			b.interpolator[phase][k] /= sum
		}
	}
	return b
}

// setCoil discretises the circuit with addedF across the terminals; the state
// stays, as when a capacitor without charge is connected.
func (b *bench) setCoil(c Coil, addedF float64) {
	capacitance := c.CapacitanceF + addedF
	conductance := 0.0
	if c.LoadOhm > 0 {
		conductance = 1 / c.LoadOhm
	}
	// d/dt (i, v, EMF) with the EMF constant; its matrix exponential.
	a := mat.NewDense(3, 3, []float64{
		-c.ResistanceOhm / c.InductanceH, -1 / c.InductanceH, 1 / c.InductanceH,
		1 / capacitance, -conductance / capacitance, 0,
		0, 0, 0,
	})
	a.Scale(b.stepS, a)
	a.Exp(a)
	for i := range b.step {
		b.step[i] = [3]float64(a.RawRowView(i))
	}
}

// next takes a sample of the current and returns the terminal voltage and the
// current, both delayed by the interpolator's taps/2 samples.
func (b *bench) next(current float64) (voltage, delayed float64) {
	copy(b.history[:], b.history[1:])
	b.history[taps-1] = current
	delayed = b.history[taps/2-1]
	for phase := range oversampling {
		// From the step before to this one.
		at := 0.0
		for k, h := range b.interpolator[phase] {
			at += h * b.history[k]
		}
		emf := (at - b.current) * b.emfPerStep
		b.current = at
		b.i, b.v = b.step[0][0]*b.i+b.step[0][1]*b.v+b.step[0][2]*emf,
			b.step[1][0]*b.i+b.step[1][1]*b.v+b.step[1][2]*emf
		if phase == 0 {
			voltage = b.v
		}
	}
	return voltage, delayed
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// kaiser is the Kaiser window at x in [-1, 1].
func kaiser(x, beta float64) float64 {
	if x <= -1 || x >= 1 {
		return 0
	}
	return bessel0(beta*math.Sqrt(1-x*x)) / bessel0(beta)
}

// bessel0 is the modified Bessel function I0, by its power series.
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for n := 1.0; term > 1e-17*sum; n++ {
		term *= x * x / (4 * n * n)
		sum += term
	}
	return sum
}
