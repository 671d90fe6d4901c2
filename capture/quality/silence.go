package quality

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Silence is what a channel holds while nothing is played, in dBFS (AES17),
// -200 at least.
type Silence struct {
	// NoiseDBFS is the rms about the mean, hum included. HumDBFS is the part of
	// it at multiples of MainsHz, with MainsHz 0 where none stands out.
	NoiseDBFS, HumDBFS, MainsHz float64
	Octaves                     []Band // see Octaves
}

// Band is the noise in one octave, in dBFS.
type Band struct {
	FromHz float64 `json:"from_hz"`
	ToHz   float64 `json:"to_hz"`
	DBFS   float64 `json:"dbfs"`
}

// InSilence measures x, some tenths of a second or more in which nothing was
// played.
func InSilence(x []float64, rateHz int) Silence {
	if len(x) == 0 {
		return Silence{NoiseDBFS: floorDBFS, HumDBFS: floorDBFS}
	}
	h := findHum(x, rateHz)
	return Silence{NoiseDBFS: dbfs(variance(x)), HumDBFS: dbfs(h.power), MainsHz: h.mainsHz, Octaves: Octaves(x, rateHz)}
}

// Octaves is the power of x in octaves from 20 Hz on to half the rate, by its
// transform under a raised cosine; none for less than 256 samples.
func Octaves(x []float64, rateHz int) []Band {
	n := len(x) / 2 * 2
	for n > 0 && !smooth(n) {
		n -= 2
	}
	if n < 256 {
		return nil
	}
	mean := 0.0
	for _, v := range x[:n] {
		mean += v / float64(n)
	}
	work, energy := make([]float64, n), 0.0
	for i, v := range x[:n] {
		w := 1 - math.Cos(2*math.Pi*float64(i)/float64(n))
		work[i] = w * (v - mean)
		energy += w * w
	}
	c := fourier.NewFFT(n).Coefficients(nil, work)
	line := float64(rateHz) / float64(n)
	var bands []Band
	for from := 20.0; from < float64(rateHz)/2; from *= 2 {
		b := Band{FromHz: from, ToHz: math.Min(2*from, float64(rateHz)/2)}
		power := 0.0
		for l := int(math.Ceil(b.FromHz / line)); l < len(c) && float64(l)*line < b.ToHz; l++ {
			power += 2 * (real(c[l])*real(c[l]) + imag(c[l])*imag(c[l])) / (energy * float64(n))
		}
		b.DBFS = dbfs(power)
		bands = append(bands, b)
	}
	return bands
}

// smooth: the transform of that length is fast.
func smooth(n int) bool {
	for _, p := range []int{2, 3, 5} {
		for n%p == 0 {
			n /= p
		}
	}
	return n == 1
}
