package exciter

import "math"

const (
	epsilon0 = 8.8541878128e-12 // F/m, CODATA 2018
	// enamelEpsilon is the permittivity of polyurethane or polyester enamel
	// (common practice: 3 ... 4).
	enamelEpsilon = 3.5
)

// SelfCapacitanceF estimates the winding's own capacitance in F. It is an order
// of magnitude, and more likely too low: it counts only neighbouring layers
// neatly wound, and scatter winding, core and surroundings add to it; pickup
// coils of thousands of turns measure 50 pF to 150 pF (common practice).
//
// Several layers: the energy between neighbouring layers, each wound back over
// the one below, whose voltage difference rises along the layer from 0 to
// 2/m of the whole: C = 4 (m-1)/(3 m²) C_layer, with C_layer the number of
// turns in a layer times the capacitance between two turns of [8]. One layer:
// Medhurst's formula [9] without earth, within 10 % of his table.
func (c Coil) SelfCapacitanceF() float64 {
	layers := c.DepthM / c.Wire.OuterM
	if layers < 1.5 {
		d := 2 * c.MeanRadiusM
		ratio := c.LengthM / d
		return 1e-12 * d * 100 * (0.1126*ratio + 0.08 + 0.27/math.Sqrt(ratio))
	}
	perLayer := float64(c.Turns) / layers
	layer := perLayer * 2 * math.Pi * c.MeanRadiusM * turnCapacitance(c.Wire)
	return 4 * (layers - 1) / (3 * layers * layers) * layer
}

// turnCapacitance is the capacitance per metre of two enamelled wires that
// touch, [8]: the integral over ±30° of eps0/2 / (1 + ln(Do/Dc)/eps_r - cos t)
// in closed form.
func turnCapacitance(w Wire) float64 {
	enamel := math.Log(w.OuterM/w.BareM) / enamelEpsilon
	// Substituting tan(t/2) gives an arc tangent.
	root := math.Sqrt(enamel * (2 + enamel))
	angle := math.Pi / 6
	return epsilon0 * 2 / root * math.Atan(math.Sqrt((2+enamel)/enamel)*math.Tan(angle/2))
}

// leadsF is the capacitance of half a metre of leads (common practice).
const leadsF = 50e-12

// SelfResonanceHz is where an inductance resonates with a capacitance. Below a fifth of it the coil
// is R and L within 4 %.
func SelfResonanceHz(inductanceH, capacitanceF float64) float64 {
	return 1 / (2 * math.Pi * math.Sqrt(inductanceH*capacitanceF))
}
