package virtual

import "math"

// relaxation is a capacitor behind a resistor, one of those that make up what a
// dielectric does late.
type relaxation struct{ farad, ohm float64 }

// A dielectric's loss is nearly the same at all audio frequencies. Relaxations
// beside each other, whose time constants follow each other by a constant factor,
// have that (J. Valsa and J. Vlach, Int. J. Circuit Theory Appl. 41, 2013, 59).
// Corners from far below to far above the band keep the loss within 1 % from 10 Hz
// to 100 kHz.
const (
	lowestCornerHz = 0.1
	cornerFactor   = 3.5
	corners        = 16
	// statedHz is where capacitance and loss are those that are stated.
	statedHz = 1000
)

// dielectric is a capacitor of farad and a dissipation factor tanDelta at
// statedHz: what it takes up at once, and its relaxations; none without loss.
// Their sizes grow with their time constants as the power that a constant phase
// asks for.
func dielectric(farad, tanDelta float64) (instant float64, late []relaxation) {
	if tanDelta == 0 || farad == 0 {
		return farad, nil
	}
	w := 2 * math.Pi * statedHz
	power := 2 / math.Pi * math.Atan(tanDelta)
	var there, lost float64 // of all sizes, at statedHz
	times := make([]float64, corners)
	for i := range times {
		times[i] = 1 / (2 * math.Pi * lowestCornerHz * math.Pow(cornerFactor, float64(i)))
		size, wt := math.Pow(times[i], power), w*times[i]
		there += size / (1 + wt*wt)
		lost += size * wt / (1 + wt*wt)
	}
	scale := tanDelta * farad / lost
	for _, t := range times {
		c := scale * math.Pow(t, power)
		late = append(late, relaxation{c, t / c})
	}
	return farad - scale*there, late
}
