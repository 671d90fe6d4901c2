package exciter

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// NagaokaFactor is K_N of a cylindrical current sheet with u = diameter/length
// [5]; 1 for a long one.
func NagaokaFactor(u float64) float64 {
	if u < 0.02 {
		return 1 - 4*u/(3*math.Pi) + u*u/8 // the next term is -u^4/64
	}
	m := u * u / (1 + u*u)
	k, prime2 := math.Sqrt(m), 1/(1+u*u)
	ke, ee := mathext.CompleteK(m), mathext.CompleteE(m)
	return 4 / (3 * math.Pi * math.Sqrt(prime2)) * (prime2/m*(ke-ee) + ee - k)
}

// SolenoidH is the inductance in H of a single layer as a current sheet [5]:
// mu0 pi r² N²/l K_N. The length l is turns times pitch.
func SolenoidH(radiusM, lengthM float64, turns int) float64 {
	n := float64(turns)
	return Mu0 * math.Pi * radiusM * radiusM * n * n / lengthM * NagaokaFactor(2*radiusM/lengthM)
}

// RoundWireCorrectionH is what to subtract from SolenoidH for round wire of
// bare diameter d at pitch p [6]: mu0 r N (k_s + k_m), valid for p and d small
// against r.
func RoundWireCorrectionH(radiusM, pitchM, bareM float64, turns int) float64 {
	return Mu0 * radiusM * float64(turns) * (rosaSelf(bareM/pitchM) + rosaMutual(turns))
}

// rosaSelf is k_s = 5/4 - ln(2p/d): the turn's self-inductance.
func rosaSelf(bareOverPitch float64) float64 { return 5.0/4 - math.Log(2/bareOverPitch) }

// rosaMutual is k_m = 2/N sum_{n=1}^{N-1} (N-n) ln n - N (ln N - 3/2) - 3/2:
// the turns' mutual inductance.
func rosaMutual(turns int) float64 {
	n := float64(turns)
	var sum float64
	for i := 2; i < turns; i++ {
		sum += (n - float64(i)) * math.Log(float64(i))
	}
	return 2/n*sum - n*(math.Log(n)-1.5) - 1.5
}

// WheelerSolenoidH is Wheeler's formula for a single layer [7], within 1 % for
// a length above 0.8 radii.
func WheelerSolenoidH(radiusM, lengthM float64, turns int) float64 {
	a, b, n := radiusM/inch, lengthM/inch, float64(turns)
	return 1e-6 * a * a * n * n / (9*a + 10*b)
}
