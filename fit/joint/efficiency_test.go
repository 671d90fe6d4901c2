package joint

import (
	"context"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"runtime"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mat"

	"coilsweep/capture"
	"coilsweep/capture/align"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/response"
)

// seeds is how many seeds a statistical test runs: few by default, as many as
// COILSWEEP_SEEDS says in a study.
func seeds(t *testing.T, few int) int {
	if s := os.Getenv("COILSWEEP_SEEDS"); s != "" {
		return must(strconv.Atoi(s))
	}
	if testing.Short() {
		t.Skip("a statistical test")
	}
	return few
}

// seed is the one of draw i, counted from COILSWEEP_FIRST_SEED: studies with other
// first seeds, side by side on several machines, draw other benches.
func seed(i int) uint64 {
	first := os.Getenv("COILSWEEP_FIRST_SEED")
	if first == "" {
		return uint64(i)
	}
	return must(strconv.ParseUint(first, 10, 32))<<32 + uint64(i)
}

// parallel calls f for 0 … n-1 on all cores.
func parallel(n int, f func(i int)) {
	var next atomic.Int64
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				f(i)
			}
		})
	}
	wait.Wait()
}

// TestEfficiency compares the variance of the resonance over many recordings
// with the Cramér-Rao bound, which is worked out from the samples of the
// stimulus, the noise and the pole pair of the true circuit in closed form
// (gain and delay unknown): Fisher's information of all lines of one period.
func TestEfficiency(t *testing.T) {
	n := seeds(t, 60)
	const (
		henry, ohm, farad, load = 4.4, 8200.0, 700e-12, 1e6
		sigma, gain, delayS     = 2e-4, 0.15, 40e-6
	)
	request := excite.DefaultRequest()
	request.SweepS, request.Repeats = 0.36, 4
	stim := must(excite.Design(request))
	period := stim.Sweep()
	size := len(period)
	fft := fourier.NewFFT(size)
	x := fft.Coefficients(nil, period)
	rate := float64(stim.RateHz)

	// Closed form: f_n = f0 sqrt(1 + R/R_load), Q = sqrt(LC(1 + R/R_load))/(RC + L/R_load).
	wn := math.Sqrt((1 + ohm/load) / (henry * farad))
	q := math.Sqrt(henry*farad*(1+ohm/load)) / (ohm*farad + henry/load)
	line := func(k int, p [4]float64) complex128 {
		w := 2 * math.Pi * rate * float64(k) / float64(size)
		s := complex(0, w)
		h := 1 / (1 + s/complex(p[1]*p[0], 0) + s*s/complex(p[0]*p[0], 0))
		return x[k] * h * complex(0, w/(2*math.Pi*1000)) * complex(p[2], 0) * cmplx.Exp(-s*complex(p[3], 0))
	}
	truth := [4]float64{wn, q, gain, delayS}
	information := mat.NewSymDense(4, nil)
	y := make([]complex128, len(x))
	for k := range y {
		f := rate * float64(k) / float64(size)
		if f > 0.45*rate {
			break // what the converter's filter takes away
		}
		y[k] = line(k, truth)
		if f < stim.FromHz || f > stim.ToHz {
			continue
		}
		var d [4]complex128
		for a := range d {
			up, down := truth, truth
			h := 1e-5 * truth[a]
			up[a] += h
			down[a] -= h
			d[a] = (line(k, up) - line(k, down)) / complex(2*h, 0)
		}
		for a := range d {
			for b := a; b < 4; b++ {
				v := float64(stim.Repeats) * 2 / (float64(size) * sigma * sigma) * real(d[a]*cmplx.Conj(d[b]))
				information.SetSym(a, b, information.At(a, b)+v)
			}
		}
	}
	var bound mat.Dense
	if err := bound.Inverse(information); err != nil {
		t.Fatal(err)
	}
	boundU := math.Sqrt(bound.At(0, 0)) / (2 * math.Pi)

	clean := fft.Sequence(nil, y)
	for i := range clean {
		clean[i] /= float64(size)
	}
	value := must(quantity.ParseResistance("1M 0.0001%"))
	take := capture.Take{Name: "bare", Stimulus: stim, Drive: capture.Drive{Kind: "current"},
		Reference: capture.Reference{Kind: "none"}, Load: capture.Load{FixtureR: &value}}
	var at align.Alignment
	for k := range stim.Repeats {
		at.StartSample = append(at.StartSample, float64(stim.RepeatStart(k)))
	}
	at.Polarity, at.Quality = 1, 1
	take.Alignment = &at
	hz, stated := make([]float64, n), make([]float64, n)
	parallel(n, func(i int) {
		random := rand.New(rand.NewPCG(5, seed(i)))
		samples := make([]float64, stim.TotalSamples())
		for k := range samples {
			samples[k] = sigma * random.NormFloat64()
		}
		for k := range stim.Repeats {
			for m, v := range clean {
				samples[stim.RepeatStart(k)+m] += v
			}
		}
		r := must(response.Estimate(context.Background(), capture.Recording{RateHz: stim.RateHz,
			Samples: [][]float64{samples}}, take))
		result := must(Analyse(context.Background(), capture.Coil{}, []Take{{Name: "bare", Load: take.Load, Response: r,
			Referenced: true, Ideal: true}},
			fit.Options{Forms: []fit.Form{{}}}))
		hz[i], stated[i] = result.Takes[0].Resonance.Value, result.Takes[0].Resonance.U
	})
	var mean, variance, u2 float64
	for i := range hz {
		mean += hz[i] / float64(n)
		u2 += stated[i] * stated[i] / float64(n)
	}
	for _, f := range hz {
		variance += (f - mean) * (f - mean) / float64(n-1)
	}
	ratio := variance / (boundU * boundU)
	t.Logf("bound %.4g Hz, spread %.4g Hz, stated u %.4g Hz, bias %.2g Hz: variance over bound %.3f ± %.3f", boundU,
		math.Sqrt(variance),
		math.Sqrt(u2), mean-wn/(2*math.Pi), ratio, ratio*math.Sqrt(2/float64(n)))
	// The scatter of a variance over n draws is sqrt(2/n) of it.
	if ratio > 1.15 && (n >= 500 || ratio > 1+3*math.Sqrt(2/float64(n))) {
		t.Errorf("variance of the resonance is %.3f times the Cramér-Rao bound, want 1.15 at most", ratio)
	}
	if bias := math.Abs(mean - wn/(2*math.Pi)); bias > 4*boundU/math.Sqrt(float64(n)) {
		t.Errorf("bias of %.3g Hz beside a spread of %.3g Hz", bias, boundU)
	}
}
