package exciter

import "math"

// AxisFieldT is the flux density in tesla on the axis, for a current of 1 A,
// at a distance in m from the coil's middle: a thick solenoid's closed form
// (the Biot-Savart law for a circle, integrated over length and depth).
func (c Coil) AxisFieldT(distanceM float64) float64 {
	r1, r2 := c.inner(), c.outer()
	end := func(z float64) float64 {
		return z * math.Log((r2+math.Hypot(r2, z))/(r1+math.Hypot(r1, z)))
	}
	b := c.LengthM
	far := 100 * (r2 + b)
	if math.Abs(distanceM) > far {
		// The ends' difference cancels: a dipole.
		return Mu0 * float64(c.Turns) * (r1*r1 + r1*r2 + r2*r2) / 6 / cube(math.Abs(distanceM))
	}
	return Mu0 * float64(c.Turns) / (2 * b * (r2 - r1)) * (end(distanceM+b/2) - end(distanceM-b/2))
}

// MutualH is the mutual inductance in H of two coaxial coils whose middles are
// a distance in m apart, by Maxwell's formula [4] over both cross-sections. The
// coils must not overlap. Iron in either coil, which is not counted, raises it
// (common practice: up to about twice).
func MutualH(a, b Coil, distanceM float64) float64 {
	const points = 6
	var ra, wra, za, wza, rb, wrb, zb, wzb [points]float64
	legendre(ra[:], wra[:], a.inner(), a.outer())
	legendre(rb[:], wrb[:], b.inner(), b.outer())
	legendre(za[:], wza[:], -a.LengthM/2, a.LengthM/2)
	legendre(zb[:], wzb[:], distanceM-b.LengthM/2, distanceM+b.LengthM/2)
	var sum float64
	for i := range points {
		for j := range points {
			for k := range points {
				for l := range points {
					sum += wra[i] * wza[j] * wrb[k] * wzb[l] * CircleMutualH(ra[i], rb[k], zb[l]-za[j])
				}
			}
		}
	}
	return float64(a.Turns) * float64(b.Turns) * sum / (a.DepthM * a.LengthM * b.DepthM * b.LengthM)
}

// EqualAreaRadiusM is the radius of the circle with the area of an oblong turn:
// straight sides length long and two half circles of the width. A flat, long
// coil taken as this circle is right to about 20 % (common practice).
func EqualAreaRadiusM(lengthM, widthM float64) float64 {
	straight := max(lengthM-widthM, 0)
	return math.Sqrt((straight*widthM + math.Pi/4*widthM*widthM) / math.Pi)
}
