package circuit

import "math"

// Open is the load of a coil with nothing connected.
func Open() Load { return Load{ResistanceOhm: math.Inf(1)} }

// Impedance is that of the coil's terminals at s, in ohm: the branch R + s L(s)
// across the coil's own C and the load; Open() for the coil alone.
func (c Coil) Impedance(s complex128, load Load) complex128 {
	z := complex(c.ResistanceOhm, 0) + s*c.Inductance(s)
	y := c.across(s, load)
	return z / (1 + z*y)
}

// Branch is the winding branch R + s L(s) at frequencyHz as a series inductance
// in henry and a series resistance in ohm, which is R at low frequency and more
// by what eddy currents take above it; without the coil's own C.
func (c Coil) Branch(frequencyHz float64) (inductanceH, resistanceOhm float64) {
	w := 2 * math.Pi * frequencyHz
	l := c.Inductance(complex(0, w))
	return real(l), c.ResistanceOhm - w*imag(l)
}

// MeterReading is what an LCR meter shows of an impedance Z = R_s + j X at one
// frequency. The series values read Z as R_s in series with L_s (X = w L_s) or
// C_s (X = -1/(w C_s)); the parallel values read 1/Z = 1/R_p + j B as R_p
// beside L_p (B = -1/(w L_p)) or C_p (B = w C_p). Above the self-resonance the
// inductances are negative, below it the capacitances. Q = X/R_s is signed
// too, D = 1/Q. Two modes are the same impedance only at one frequency:
// L_s = L_p/(1 + 1/Q^2), R_s = R_p/(1 + Q^2).
type MeterReading struct {
	SeriesInductanceH     float64
	SeriesResistanceOhm   float64
	SeriesCapacitanceF    float64
	ParallelInductanceH   float64
	ParallelResistanceOhm float64
	ParallelCapacitanceF  float64
	QualityFactor         float64
	DissipationFactor     float64
}

// MeterReadingOf is the reading of the impedance z in ohm at frequencyHz.
func MeterReadingOf(z complex128, frequencyHz float64) MeterReading {
	w := 2 * math.Pi * frequencyHz
	r, x := real(z), imag(z)
	square := r*r + x*x
	return MeterReading{
		SeriesInductanceH:     x / w,
		SeriesResistanceOhm:   r,
		SeriesCapacitanceF:    -1 / (w * x),
		ParallelInductanceH:   square / (x * w),
		ParallelResistanceOhm: square / r,
		ParallelCapacitanceF:  -x / (square * w),
		QualityFactor:         x / r,
		DissipationFactor:     r / x,
	}
}

// Meter is the reading of an LCR meter at frequencyHz across the coil with its
// load; Open() for the coil alone.
func (c Coil) Meter(frequencyHz float64, load Load) MeterReading {
	return MeterReadingOf(c.Impedance(complex(0, 2*math.Pi*frequencyHz), load), frequencyHz)
}
