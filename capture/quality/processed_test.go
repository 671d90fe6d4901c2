package quality_test

import (
	"math"
	"math/cmplx"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"coilsweep/capture"
	"coilsweep/capture/quality"
	"coilsweep/capture/virtual"
)

// recoded is x after a lossy coder of the usual kind: a lapped cosine transform of 576
// lines (J. P. Princen and A. B. Bradley, IEEE Trans. ASSP 34(5), 1986) which are rounded
// to steps db below the level about them, and none above 16 kHz.
func recoded(x []float64, db float64) []float64 {
	const n = 576
	out := make([]float64, len(x)+3*n)
	in := append(make([]float64, n), append(append([]float64{}, x...), make([]float64, 2*n)...)...)
	fft := fourier.NewCmplxFFT(2 * n)
	window := make([]float64, 2*n)
	for i := range window {
		window[i] = math.Sin(math.Pi * (float64(i) + 0.5) / (2 * n))
	}
	z := make([]complex128, 2*n)
	lines := make([]float64, n)
	for at := 0; at+2*n <= len(in); at += n {
		// X[k] = sum x[i] cos(pi/n (i + 1/2 + n/2)(k + 1/2))
		for i := range z {
			z[i] = complex(in[at+i]*window[i], 0) * cmplx.Rect(1, -math.Pi*float64(i)/(2*n))
		}
		c := fft.Coefficients(nil, z)
		for k := range lines {
			lines[k] = real(c[k] * cmplx.Rect(1, -math.Pi*(float64(k)+0.5)*(1+n)/(2*n)))
		}
		for k := 0; k < n; {
			width := max(4, k/8)
			end := min(k+width, n)
			top := 0.0
			for j := max(0, k-width); j < min(n, end+width); j++ {
				top = math.Max(top, math.Abs(lines[j]))
			}
			step := math.Max(top*math.Pow(10, -db/20), 1e-3)
			for j := k; j < end; j++ {
				lines[j] = step * math.Round(lines[j]/step)
				if j > n*16/24 { // of 48 kHz
					lines[j] = 0
				}
			}
			k = end
		}
		for i := range z {
			z[i] = 0
		}
		for k, v := range lines {
			z[k] = complex(v, 0) * cmplx.Rect(1, math.Pi*(float64(k)+0.5)*(1+n)/(2*n))
		}
		y := fft.Sequence(nil, z)
		for i := range y {
			v := real(y[i] * cmplx.Rect(1, math.Pi*float64(i)/(2*n)))
			out[at+i] += v * window[i] * 2 / n
		}
	}
	return out[n : n+len(x)]
}

// A lossy coder is called one, whatever it does to the sweeps, and is no circuit that
// changed; a gate that silences what lies between sweeps takes nothing from them.
func TestProcessed(t *testing.T) {
	t.Parallel()
	s := short(t, 4)
	b := virtual.Default()
	b.Reference = virtual.Reference{}
	right := recordedBy(t, b, "470p", s, 1)
	gated := slices.Clone(right[0])
	for _, span := range quality.Silences(s, *assessedBy(t, b, s, right).Alignment, len(gated)) {
		for i := span.From; i < span.To; i++ {
			gated[i] *= 0.05
		}
	}
	has := func(samples []float64) (processed, changed bool) {
		flags := assessedBy(t, b, s, [][]float64{samples}).Quality.Flags
		return slices.Contains(flags, capture.Processed), slices.Contains(flags, capture.Changed)
	}
	for _, snrDB := range []float64{12, 20, 30, 40} {
		if processed, changed := has(recoded(right[0], snrDB)); !processed || changed {
			t.Errorf("with a coder that leaves %.0f dB: processed %v, changed %v", snrDB, processed, changed)
		}
	}
	for name, samples := range map[string][]float64{"right": right[0], "gated": gated} {
		if processed, changed := has(samples); processed || changed {
			t.Errorf("%s: processed %v, changed %v", name, processed, changed)
		}
	}
}
