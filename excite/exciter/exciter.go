// Package exciter works out the small coil that induces the signal in the coil
// under test, and its drive, by handbook formulas: resistance, inductance,
// field, what it induces, and how far it is from a current source.
//
// Coils are circular, without a core, and wound of round copper wire. Lengths
// are in metres, radii to the middle of the wire, mu0 = 4 pi 1e-7 H/m.
//
//	[1] IEC 60028:1925; NBS Handbook 100 (1966): copper
//	[2] ASTM B258: American wire gauge
//	[3] IEC 60317-0-1: enamelled wire
//	[4] J. C. Maxwell, Treatise, art. 701: two coaxial circles
//	[5] H. Nagaoka, J. Coll. Sci. Tokyo 27, 1909; E. B. Rosa and F. W. Grover,
//	    NBS Scientific Paper 169, 1912: solenoids
//	[6] E. B. Rosa, Bull. Bur. Stand. 2, 1906: round wire instead of a sheet
//	[7] H. A. Wheeler, Proc. IRE 16, 1928, 1398: simple formulas
//	[8] A. Massarini and M. K. Kazimierczuk, IEEE Trans. Power Electronics 12,
//	    1997: capacitance between turns
//	[9] R. G. Medhurst, Wireless Engineer 24, 1947: single-layer coils
//
// [8] and [9] are cited without the text at hand (from memory).
package exciter

import "math"

// Mu0 is the magnetic constant in H/m, as the handbooks have it (CODATA 2018
// differs by 5e-10).
const Mu0 = 4e-7 * math.Pi
