package excite

import (
	"math"
	"math/big"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

var rates = []int{44100, 48000, 88200, 96000, 176400, 192000}

func mustDesign(t testing.TB, change func(*Request)) Stimulus {
	t.Helper()
	r := DefaultRequest()
	if change != nil {
		change(&r)
	}
	s, err := Design(r)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestDefaultAtEveryRate(t *testing.T) {
	for _, rate := range rates {
		s := mustDesign(t, func(r *Request) { r.RateHz = rate })
		if err := s.Validate(); err != nil {
			t.Errorf("%d Hz: %v", rate, err)
		}
		if d := s.DurationS(); d > 15 {
			t.Errorf("%d Hz: %g s long", rate, d)
		}
		hz := float64(rate)
		if lead := float64(s.LeadInSamples) / hz; lead < 0.5 {
			t.Errorf("%d Hz: lead-in %g s", rate, lead)
		}
		if tail := float64(s.TailSamples) / hz; tail < 0.3 {
			t.Errorf("%d Hz: tail %g s", rate, tail)
		}
		if gap := float64(s.PeriodSamples-s.SweepSamples) / hz; gap < 0.4 {
			t.Errorf("%d Hz: gap %g s", rate, gap)
		}
		last := s.Course().FrequencyAt(float64(s.SweepSamples-1) / hz)
		if last > s.ToHz*(1+1e-12) || last < s.ToHz*0.9995 {
			t.Errorf("%d Hz: the sweep ends at %g Hz", rate, last)
		}
		if from := s.Course().FrequencyAt(float64(s.FadeInSamples) / hz); from > 25.2 {
			t.Errorf("%d Hz: the fade-in ends at %g Hz", rate, from)
		}
		if to := s.Course().FrequencyAt(float64(s.SweepSamples-s.FadeOutSamples) / hz); to < 19400 {
			t.Errorf("%d Hz: the fade-out begins at %g Hz", rate, to)
		}
	}
}

// The layout that the comment of Stimulus draws.
func TestSamplesLayout(t *testing.T) {
	s := mustDesign(t, nil)
	x, sweep := s.Samples(), s.Sweep()
	if len(x) != s.TotalSamples() || len(sweep) != s.PeriodSamples {
		t.Fatal(len(x), len(sweep))
	}
	next := 0
	silence := func(until int) {
		for ; next < until; next++ {
			if x[next] != 0 {
				t.Fatalf("sample %d is %g, not silent", next, x[next])
			}
		}
	}
	peak := 0.0
	for k := range s.Repeats {
		silence(s.RepeatStart(k))
		for _, want := range sweep[:s.SweepSamples] {
			if x[next] != want {
				t.Fatalf("sample %d of repeat %d differs from the sweep", next, k)
			}
			peak = max(peak, math.Abs(x[next]))
			next++
		}
	}
	silence(len(x))
	// -12 dBFS is an amplitude of 0.251189 (AES17: a full-scale sine, of
	// amplitude 1, is 0 dBFS).
	if math.Abs(peak-0.251189) > 1e-6 {
		t.Errorf("peak %g", peak)
	}
	for i, v := range x {
		if v != float64(float32(v)) || v*(1<<23) != math.Trunc(v*(1<<23)) {
			t.Fatalf("sample %d = %g is not the same in 24 bits and in float32", i, v)
		}
	}
	// A sine's crest factor is 3.01 dB; the fades add a little.
	if c := crestFactorDB(s); c < 3.01 || c > 3.4 {
		t.Errorf("crest factor %g dB", c)
	}
}

func TestFullScaleDoesNotWrap(t *testing.T) {
	s := mustDesign(t, func(r *Request) { r.LevelDBFS = 0 })
	low, high := 0.0, 0.0
	for _, x := range s.Sweep() {
		low, high = min(low, x), max(high, x)
	}
	if top := 1 - math.Pow(2, -23); high != top || low != -top {
		t.Errorf("full scale gives %.9f ... %.9f", low, high)
	}
}

// |X(f)| = A/2 sqrt(L/f) (Novak, Lotton and Simon 2015): -3 dB an octave. The
// direct Fourier sum is over one period with its fades. The limits at the ends
// are those that Design's fades are documented with.
func TestSpectrum(t *testing.T) {
	s := mustDesign(t, nil)
	x := s.Sweep()
	for _, c := range []struct{ hz, withinDB float64 }{
		{25.2, 2}, {28.3, 1}, {36, 0.2}, {50, 0.02}, {100, 0.02}, {200, 0.02}, {1000, 0.02},
		{5000, 0.02}, {15000, 0.02}, {19000, 0.02}, {19230, 0.05}, {19430, 0.05},
	} {
		var sum complex128
		for n, v := range x {
			_, turns := math.Modf(c.hz * float64(n) / float64(s.RateHz))
			sum += complex(v, 0) * cmplx.Rect(1, -2*math.Pi*turns)
		}
		got := cmplx.Abs(sum) / float64(s.RateHz)
		want := s.Amplitude() / 2 * math.Sqrt(s.SweepRateS()/c.hz)
		if db := 20 * math.Log10(got/want); !(math.Abs(db) <= c.withinDB) {
			t.Errorf("%g Hz: %+.3f dB from the closed form", c.hz, db)
		}
	}
}

// Hum at the mains frequency and its harmonics (amplitude 1/h, any phase) must
// fall in the average over the repeats by more than random lines would (1/R in
// power), and the spread between repeats must see the rest: its estimate
// of the mean's variance is at least the power that is left.
func TestHumTurnsAgainstItself(t *testing.T) {
	for _, rate := range rates {
		for _, repeats := range []int{2, 4, 8} {
			s := mustDesign(t, func(r *Request) { r.RateHz, r.Repeats = rate, repeats })
			var left, seen, one float64
			random := rand.New(rand.NewPCG(3, 5))
			for _, mains := range []float64{50, 60} {
				for range 4 {
					l, v, p := simulateHum(s, mains*(1+1e-3*(2*random.Float64()-1)), random)
					left, seen, one = left+l, seen+v, one+p
				}
			}
			if left > one/float64(repeats) {
				t.Errorf("%d Hz, %d repeats: averaging leaves %.3f of the hum's power, random phases leave %.3f", rate,
					repeats, left/one, 1/float64(repeats))
			}
			if seen < left {
				t.Errorf("%d Hz, %d repeats: hum of power %.3g is left, the spread sees %.3g", rate, repeats, left,
					seen)
			}
		}
	}
	// The trap: a period of whole mains cycles, 3 s, keeps hum and hides it.
	trap := mustDesign(t, nil)
	trap.PeriodSamples = 3 * trap.RateHz
	left, seen, one := simulateHum(trap, 50, rand.New(rand.NewPCG(3, 5)))
	if left < 0.99*one || seen > 1e-6*one {
		t.Errorf("the trap leaves %g of %g and shows %g: this test would not see it", left, one, seen)
	}
}

// simulateHum makes the repeats' hum over a stretch of 100 ms, averages it, and
// gives the mean power of the average, of the mean's variance as estimated from
// the repeats, and of the hum itself.
func simulateHum(s Stimulus, mains float64, random *rand.Rand) (left, seen, power float64) {
	var phase [12]float64
	for h := range phase {
		phase[h] = random.Float64()
	}
	points := s.RateHz / 10
	step := points / 60
	count := 0.0
	for n := 0; n < points; n += step {
		var sum, squares float64
		for k := range s.Repeats {
			at := float64(s.RepeatStart(k)+n) / float64(s.RateHz)
			x := 0.0
			for h := range phase {
				f := mains * float64(h+1)
				x += math.Sin(2*math.Pi*math.Mod(f*at+phase[h], 1)) / float64(h+1)
			}
			sum, squares = sum+x, squares+x*x
		}
		r := float64(s.Repeats)
		mean := sum / r
		left += mean * mean
		seen += (squares/r - mean*mean) / (r - 1)
		power += squares / r
		count++
	}
	return left / count, seen / count, power / count
}

// HumGain is the closed form of a simulated line's average.
// humGain is the part of a steady line that averaging over the repeats leaves:
// |1/R sum over r of exp(2 pi i f r P)|, between 0 and 1, P the repeat period.
func humGain(s Stimulus, frequencyHz float64) float64 {
	var re, im float64
	for r := range s.Repeats {
		sin, cos := math.Sincos(2 * math.Pi * math.Mod(frequencyHz*float64(r)*s.PeriodS(), 1))
		re, im = re+cos, im+sin
	}
	return math.Hypot(re, im) / float64(s.Repeats)
}

func TestHumGain(t *testing.T) {
	s := mustDesign(t, nil)
	quarter := s
	quarter.RateHz, quarter.PeriodSamples = 48000, 150000 // 3.125 s: 156.25 cycles of 50 Hz, 187.5 of 60 Hz
	for f, want := range map[float64]float64{50: 0, 60: 0, 100: 0, 200: 1, 120: 1, 0: 1} {
		if got := humGain(quarter, f); math.Abs(got-want) > 1e-9 {
			t.Errorf("humGain(%g) = %g, want %g", f, got, want)
		}
	}
	// humLeft is the mean of HumGain^2 that it says it is.
	var sum, weights float64
	for _, mains := range []float64{50, 60} {
		for h := 1; h <= humHarmonics; h++ {
			mean := 0.0
			const points = 401
			for i := range points {
				deviation := mainsDeviation * (2*(float64(i)+0.5)/points - 1)
				g := humGain(s, mains*float64(h)*(1+deviation))
				mean += g * g / points
			}
			sum, weights = sum+mean/float64(h), weights+1/float64(h)
		}
	}
	if got, want := humLeft(s.PeriodS(), s.Repeats), sum/weights; math.Abs(got-want) > 1e-4 {
		t.Errorf("humLeft = %g, by sampling %g", got, want)
	}
}

// The portable functions against the standard library, and exp against
// arithmetic in 200 bits.
func TestPortableFunctions(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 11))
	for range 20000 {
		x := 22*random.Float64() - 11
		if got, want := portableExp(x), math.Exp(x); math.Abs(got/want-1) > 5e-16 {
			t.Fatalf("exp(%g) = %.17g, want %.17g", x, got, want)
		}
		y := 40000 * random.Float64()
		_, frac := math.Modf(y)
		if got, want := sinCycles(y), math.Sin(2*math.Pi*frac); math.Abs(got-want) > 1e-15 {
			t.Fatalf("sin of %g cycles = %.17g, want %.17g", y, got, want)
		}
	}
	for _, x := range []float64{-11, -1, -0.3, 0, 1e-9, 0.5, 1, 6.907755278982137, 9} {
		sum := big.NewFloat(1).SetPrec(200)
		for n := 120; n >= 1; n-- {
			sum.Mul(sum, new(big.Float).SetPrec(200).SetFloat64(x))
			sum.Quo(sum, new(big.Float).SetPrec(200).SetInt64(int64(n)))
			sum.Add(sum, big.NewFloat(1))
		}
		want, _ := sum.Float64()
		if got := portableExp(x); math.Abs(got/want-1) > 4.5e-16 {
			t.Errorf("exp(%g) = %.17g, want %.17g", x, got, want)
		}
	}
	for x, want := range map[float64]float64{0: 0, 0.25: 1, 0.75: -1, -0.25: -1, 1e6 + 0.25: 1} {
		if got := sinCycles(x); math.Abs(got-want) > 2e-16 {
			t.Errorf("sin of %g cycles = %g, want %g", x, got, want)
		}
	}
}

func BenchmarkDesign(b *testing.B) {
	for b.Loop() {
		mustDesign(b, nil)
	}
}

func BenchmarkSweep(b *testing.B) {
	s := mustDesign(b, nil)
	for b.Loop() {
		s.Sweep()
	}
}

// The portable logarithm against the standard library's.
func TestPortableLog(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 12))
	for range 20000 {
		x := math.Exp(20*random.Float64() - 10)
		if got, want := portableLog(x), math.Log(x); math.Abs(got-want) > 4e-16*max(1, math.Abs(want)) {
			t.Fatalf("ln %g = %.17g, want %.17g", x, got, want)
		}
	}
	if got := portableLog(1); got != 0 {
		t.Errorf("ln 1 = %g", got)
	}
}

// crestFactorDB is the peak of one sweep over its rms, in dB (3.01 for a
// sine); the gap does not count.
func crestFactorDB(s Stimulus) float64 {
	var peak, square float64
	for _, x := range s.Sweep()[:s.SweepSamples] {
		peak = max(peak, math.Abs(x))
		square += x * x
	}
	return 20 * math.Log10(peak/math.Sqrt(square/float64(s.SweepSamples)))
}
