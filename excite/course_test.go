package excite

import (
	"errors"
	"math"
	"math/cmplx"
	"reflect"
	"strings"
	"testing"
)

// invented is a shape as after a take of an invented coil with its resonance near
// 3 kHz might ask for.
func invented() []Knot {
	return []Knot{{20, 0.3}, {1500, 0.3}, {2200, 2}, {2700, 9}, {3000, 5.5}, {3300, 8}, {5000, 1.5}, {9000, 0.3}, {20000, 0.4}}
}

func shapedStimulus(t testing.TB, rate int) Stimulus {
	t.Helper()
	return mustDesign(t, func(r *Request) { r.RateHz, r.Shape = rate, invented() })
}

// As TestSamplesNeverChange, for a shaped sweep.
func TestShapedSamplesNeverChange(t *testing.T) {
	for rate, want := range map[int]string{
		44100: "5078eaf3d47c3930fe7122fa332361541c0bf07a8e699fd7fc22257cdfad687d",
		48000: "2642021136bd33c40c1b21bc0683afed1174194b17242559701b0257f4fa8c74",
		96000: "f9082ac1799791ecabf2d0ea8f1d4aaa6c220c06538c1ac755f4c198da3fe061",
	} {
		s := shapedStimulus(t, rate)
		if s.SHA256 != want {
			t.Errorf("%d Hz: checksum %s, want %s", rate, s.SHA256, want)
		}
	}
}

// The closed forms against numerical integration of dt = L w du and of the
// frequency over time.
func TestCourseByIntegration(t *testing.T) {
	s := shapedStimulus(t, 48000)
	c := s.Course()
	dwell := func(u float64) float64 { // straight lines between the knots over u
		k := s.Shape
		f := s.FromHz * math.Exp(u)
		i := 0
		for i < len(k)-2 && f > k[i+1].FrequencyHz {
			i++
		}
		u0, u1 := math.Log(k[i].FrequencyHz/s.FromHz), math.Log(k[i+1].FrequencyHz/s.FromHz)
		return k[i].Weight + (k[i+1].Weight-k[i].Weight)*(u-u0)/(u1-u0)
	}
	const steps = 200000
	h := math.Log(s.ToHz/s.FromHz) / steps
	var time, cycles float64
	for i := range steps {
		u := (float64(i) + 0.5) * h
		dt := s.SweepRateS() * dwell(u) * h
		time += dt
		cycles += s.FromHz * math.Exp(u) * dt
		if i%5000 != 4999 {
			continue
		}
		f := s.FromHz * math.Exp(u+h/2)
		if got := c.TimeOf(f); math.Abs(got-time) > 1e-7 {
			t.Errorf("%g Hz is passed at %.9f s, by integration at %.9f s", f, got, time)
		}
		if got := c.FrequencyAt(time); math.Abs(got/f-1) > 1e-6 {
			t.Errorf("at %g s %.6f Hz, by integration %.6f Hz", time, got, f)
		}
		if got := c.phaseAt(time/c.rateS, portableExp); math.Abs(got-cycles) > 1e-3 {
			t.Errorf("phase at %g s %.6f cycles, by integration %.6f", time, got, cycles)
		}
		if got, want := c.SpectrumPhase(f), 2*math.Pi*(cycles-f*time); math.Abs(got-want) > 1e-2 {
			t.Errorf("phase of the spectrum at %g Hz %.6f, by integration %.6f", f, got, want)
		}
	}
	if math.Abs(time-s.SweepRateS()*math.Log(1000)) > 1e-3*time {
		t.Errorf("the sweep takes %g s, the exponential one %g s", time, s.SweepRateS()*math.Log(1000))
	}
}

// A flat shape is the exponential sweep but for its phase at the beginning,
// which is a whole number of cycles.
func TestFlatShapeIsExponential(t *testing.T) {
	plain := mustDesign(t, nil)
	flat := mustDesign(t, func(r *Request) { r.Shape = []Knot{{20, 7}, {300, 7}, {20000, 7}} })
	if flat.SweepSamples != plain.SweepSamples || flat.FadeInSamples != plain.FadeInSamples || flat.FadeOutSamples != plain.FadeOutSamples {
		t.Errorf("%+v\n%+v", flat, plain)
	}
	x, y := plain.Sweep(), flat.Sweep()
	for i := range x {
		if math.Abs(x[i]-y[i]) > 1.01/fullScale {
			t.Fatalf("sample %d: %.9f and %.9f", i, x[i], y[i])
		}
	}
	for _, f := range []float64{10, 20, 777, 20000, 22000} {
		a, b := plain.Course(), flat.Course()
		if math.Abs(a.TimeOf(f)-b.TimeOf(f)) > 1e-12 || math.Abs(a.FrequencyAt(a.TimeOf(f))/b.FrequencyAt(a.TimeOf(f))-1) > 1e-12 {
			t.Errorf("%g Hz at %g s and at %g s", f, a.TimeOf(f), b.TimeOf(f))
		}
		turns := (a.SpectrumPhase(f) - b.SpectrumPhase(f)) / (2 * math.Pi)
		if math.Abs(turns-math.Round(turns)) > 1e-6 {
			t.Errorf("%g Hz: phases %g turns apart", f, turns)
		}
	}
}

// Müller and Massarani 2001: at constant envelope |X|^2 = A^2/4 L w/f, its
// phase that of Course; by the direct Fourier sum. Near the knots the slope of
// the dwell jumps, which ripples.
func TestShapedSpectrum(t *testing.T) {
	s := shapedStimulus(t, 48000)
	c := s.Course()
	x := s.Sweep()
	for _, f := range []float64{100, 300, 1000, 1400, 1850, 2450, 2850, 3150, 4000, 7000, 12000, 19000} {
		var sum complex128
		for n, v := range x {
			_, turns := math.Modf(f * float64(n) / float64(s.RateHz))
			sum += complex(v, 0) * cmplx.Rect(1, -2*math.Pi*turns)
		}
		sum /= complex(float64(s.RateHz), 0)
		size := s.Amplitude() / 2 * math.Sqrt(c.DwellS(f)/f)
		ratio := sum / cmplx.Rect(size, c.SpectrumPhase(f)-math.Pi/4)
		if db := 20 * math.Log10(cmplx.Abs(ratio)); math.Abs(db) > 0.25 {
			t.Errorf("%g Hz: %+.3f dB from the closed form", f, db)
		}
		if math.Abs(cmplx.Phase(ratio)) > 0.06 {
			t.Errorf("%g Hz: %+.3f rad from the closed form", f, cmplx.Phase(ratio))
		}
	}
}

func TestShapedSweepRises(t *testing.T) {
	for _, rate := range []int{44100, 96000} {
		s := shapedStimulus(t, rate)
		plain := mustDesign(t, func(r *Request) { r.RateHz = rate })
		if err := s.Validate(); err != nil {
			t.Errorf("%d Hz: %v", rate, err)
		}
		if math.Abs(float64(s.SweepSamples-plain.SweepSamples)) > 1e-3*float64(plain.SweepSamples) {
			t.Errorf("%d samples, the plain sweep has %d", s.SweepSamples, plain.SweepSamples)
		}
		c := s.Course()
		last := 0.0
		for n := range s.SweepSamples {
			f := c.FrequencyAt(float64(n) / float64(rate))
			if f <= last {
				t.Fatalf("%d Hz: %g Hz at sample %d, %g Hz before", rate, f, n, last)
			}
			last = f
		}
		if last > s.ToHz*(1+1e-9) || last < s.ToHz*0.999 {
			t.Errorf("%d Hz: the sweep ends at %g Hz", rate, last)
		}
		peak := 0.0
		for _, v := range s.Sweep() {
			peak = max(peak, math.Abs(v))
		}
		if peak > s.Amplitude()+1.0/fullScale || peak < 0.999*s.Amplitude() {
			t.Errorf("%d Hz: peak %g, want %g", rate, peak, s.Amplitude())
		}
		// The envelope is constant: a sine's 3.01 dB and little for the fades.
		if crest := crestFactorDB(s); crest < 3.01 || crest > 3.2 {
			t.Errorf("%d Hz: crest factor %g dB", rate, crest)
		}
	}
}

func TestShaped(t *testing.T) {
	plain := mustDesign(t, nil)
	s, err := plain.Shaped(invented())
	if want := shapedStimulus(t, 48000); err != nil || !reflect.DeepEqual(s, want) {
		t.Errorf("%+v, %v, designed anew %+v", s, err, want)
	}
	if back, err := s.Shaped(nil); err != nil || !reflect.DeepEqual(back, plain) {
		t.Errorf("%+v, %v, want the plain sweep %+v", back, err, plain)
	}
	if _, err := plain.Shaped([]Knot{{20, 1}, {10000, 1}}); err == nil {
		t.Error("a shape that ends at 10 kHz fits a sweep to 20 kHz")
	}
}

// The lead of a harmonic from the times at which the sweep passes f and n f.
func TestHarmonicLeads(t *testing.T) {
	c := shapedStimulus(t, 48000).Course()
	for n := 2; n <= 8; n++ {
		least, most := c.HarmonicLeadsS(n)
		if floor := 0.25 * c.rateS * math.Log(float64(n)); least < floor {
			t.Errorf("harmonic %d comes only %g s before, with this shape not less than %g s", n, least, floor)
		}
		for f := 20.0; f*float64(n) < 20000; f *= 1.07 {
			lead := c.TimeOf(f*float64(n)) - c.TimeOf(f)
			if lead < 0.98*least || lead > 1.02*most {
				t.Errorf("harmonic %d of %g Hz comes %g s before, not within %g and %g s", n, f, lead, least, most)
			}
		}
	}
}

func TestShapeRefused(t *testing.T) {
	for _, c := range []struct {
		shape []Knot
		why   string
	}{
		{[]Knot{{20, 1}}, "has 1 knots"},
		{make([]Knot, maxKnots+1), "has 65 knots"},
		{[]Knot{{30, 1}, {20000, 1}}, "the shape goes from 30 to 20000 Hz, the sweep from 20 to 20000 Hz"},
		{[]Knot{{20, 1}, {19000, 1}}, "the shape goes from 20 to 19000 Hz"},
		{[]Knot{{20, 1}, {500, 1}, {500, 2}, {20000, 1}}, "knot 3 of the shape"},
		{[]Knot{{20, 1}, {500, 1}, {400, 2}, {20000, 1}}, "knot 3 of the shape"},
		{[]Knot{{20, 1}, {500, math.NaN()}, {20000, 1}}, "weight of knot"},
		{[]Knot{{20, 1}, {500, 0}, {20000, 1}}, "weight of knot 2"},
		{[]Knot{{20, 1}, {500, -1}, {20000, 1}}, "weight of knot 2"},
		{[]Knot{{20, 0.001}, {9000, 0.001}, {9100, 100}, {9200, 0.001}, {20000, 0.001}}, "weight of knot"},
		{[]Knot{{20, 1}, {math.NaN(), 1}, {20000, 1}}, "knot 2"},
		{[]Knot{{20, 1}, {math.Inf(1), 1}, {20000, 1}}, ""},
	} {
		r := DefaultRequest()
		r.Shape = c.shape
		s, err := Design(r)
		if err == nil || !strings.Contains(err.Error(), c.why) || !reflect.DeepEqual(s, Stimulus{}) {
			t.Errorf("%v: %v, want %q", c.shape, err, c.why)
		}
	}
}

func TestDecodeShaped(t *testing.T) {
	text, err := shapedStimulus(t, 48000).Encode()
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(text), "[[shape]]"); n != len(invented()) {
		t.Errorf("%d knots in\n%s", n, text)
	}
	for _, c := range []struct{ from, to, why string }{
		{"weight = ", "weight = 1", "weight"},
		{"frequency_hz = 1500.0", "frequency_hz = 19.0", "knot 2"},
		{"frequency_hz = 20.0", "frequency_hz = 25.0", "the shape goes from 25"},
		{"frequency_hz = 3000.0", "frequency_hz = nan", "knot"},
		{"frequency_hz = 3000.0", "frequency = 3000.0", "not known"},
		{"weight = 8.", "weight = 4.", "mean weight"},
	} {
		changed := strings.Replace(string(text), c.from, c.to, 1)
		if changed == string(text) {
			t.Fatalf("no %q in\n%s", c.from, text)
		}
		if _, err := Decode([]byte(changed)); err == nil || !strings.Contains(err.Error(), c.why) {
			t.Errorf("%s: %v, want %q", c.to, err, c.why)
		}
	}
	// A knot moved a little: the numbers still go together, the samples differ.
	moved := strings.Replace(string(text), "frequency_hz = 3000.0", "frequency_hz = 3000.001", 1)
	if _, err := Decode([]byte(moved)); !errors.Is(err, ErrChecksum) {
		t.Errorf("%v, want ErrChecksum", err)
	}
}

func BenchmarkShapedSweep(b *testing.B) {
	s := shapedStimulus(b, 48000)
	for b.Loop() {
		s.Sweep()
	}
}
