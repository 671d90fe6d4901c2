package align

import (
	"math"
	"math/rand/v2"
	"testing"

	"coilsweep/excite"
)

// scene describes a simulated recording: the sweep at arbitrary instants by
// its closed form, a coil as a difference (the slope of a current-driven
// exciter) and a matched pole pair run in time, then the faults of recordings.
type scene struct {
	request func(*excite.Request)
	// played is another stimulus than the one looked for.
	played *excite.Stimulus

	f0, q    float64 // of the coil; f0 = 0: flat path
	inverted bool
	// delay is where sample 0 of the stimulus lands in the recording.
	delay    float64
	length   int // 0: delay + stimulus, rounded up
	driftPPM float64
	gain     float64 // 0: 1
	snrDB    float64 // signal at 1 kHz over white noise, rms; 0: no noise
	humDB    float64 // mains over signal at 1 kHz; 0: none
	mainsHz  float64
	clip     float64 // limit, of the largest value; 0: none
	cuts     []cut
	seed     uint64
}

// cut is a place where samples are lost (n < 0), inserted (n > 0) or, with
// zero set, silenced (n of them).
type cut struct {
	repeat int
	at     float64 // part of the sweep, 0 … 1; above 1 in the gap
	n      int
	zero   bool
}

func design(t testing.TB, change func(*excite.Request)) excite.Stimulus {
	t.Helper()
	r := excite.DefaultRequest()
	if change != nil {
		change(&r)
	}
	s, err := excite.Design(r)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// record runs the scene. startOf[k] is where repeat k begins, as long as
// nothing was cut before.
func (s scene) record(t testing.TB) (samples []float64, stim excite.Stimulus, startOf []float64) {
	t.Helper()
	stim = design(t, s.request)
	played := stim
	if s.played != nil {
		played = *s.played
	}
	stretch := 1 + 1e-6*s.driftPPM
	for k := range stim.Repeats {
		startOf = append(startOf, s.delay+float64(stim.RepeatStart(k))*stretch)
	}
	n := s.length
	if n == 0 {
		n = int(math.Ceil(s.delay + float64(stim.TotalSamples())*stretch))
	}
	// A stretch before sample 0 lets the filter run in on what came earlier.
	lead := max(0, int(-s.delay))
	y := make([]float64, lead+n)
	amplitude, course := played.Amplitude(), played.Course()
	for k := range played.Repeats {
		start := s.delay + float64(played.RepeatStart(k))*stretch + float64(lead)
		for i := max(0, int(math.Ceil(start))); i < min(len(y), int(start+float64(played.SweepSamples)*stretch)); i++ {
			y[i] += amplitude * sweepAt(played, course, (float64(i)-start)/stretch)
		}
	}
	if s.f0 > 0 {
		matchedCoil(y, s.f0, s.q, float64(stim.RateHz))
	}
	y = y[lead:]
	random := rand.New(rand.NewPCG(s.seed, 1))
	if s.humDB != 0 {
		mains := s.mainsHz
		if mains == 0 {
			mains = 50.02
		}
		a := amplitude * math.Pow(10, s.humDB/20)
		for h, part := range []float64{1, 0.2, 0.5, 0.1, 0.3, 0.05, 0.2, 0.05, 0.1, 0.02, 0.05} {
			phase, w := 2*math.Pi*random.Float64(), 2*math.Pi*mains*float64(h+1)/float64(stim.RateHz)
			for i := range y {
				y[i] += a * part * math.Sin(w*float64(i)+phase)
			}
		}
	}
	if s.snrDB != 0 {
		sigma := amplitude / math.Sqrt2 * math.Pow(10, -s.snrDB/20)
		for i := range y {
			y[i] += sigma * random.NormFloat64()
		}
	}
	y = applyCuts(y, s.cuts, startOf, stim)
	gain := s.gain
	if gain == 0 {
		gain = 1
	}
	if s.inverted {
		gain = -gain
	}
	peak := 0.0
	for i := range y {
		y[i] *= gain
		peak = math.Max(peak, math.Abs(y[i]))
	}
	if s.clip > 0 {
		for i := range y {
			y[i] = math.Max(-s.clip*peak, math.Min(s.clip*peak, y[i]))
		}
	}
	return y, stim, startOf
}

// applyCuts works from the end, so that positions hold.
func applyCuts(y []float64, cuts []cut, startOf []float64, stim excite.Stimulus) []float64 {
	for i := len(cuts) - 1; i >= 0; i-- {
		c := cuts[i]
		at := int(startOf[c.repeat] + c.at*float64(stim.SweepSamples))
		switch {
		case c.zero:
			clear(y[at : at+c.n])
		case c.n < 0:
			y = append(y[:at:at], y[at-c.n:]...)
		default:
			y = append(append(y[:at:at], make([]float64, c.n)...), y[at:]...)
		}
	}
	return y
}

// sweepAt is the sweep at any instant, in samples from its start, amplitude 1.
// A shaped one has its phase from the course.
func sweepAt(s excite.Stimulus, c *excite.Course, n float64) float64 {
	rate := float64(s.Cycles) / s.FromHz * float64(s.RateHz)
	fade := 1.0
	if n < float64(s.FadeInSamples) {
		fade = 0.5 - 0.5*math.Cos(math.Pi*n/float64(s.FadeInSamples))
	}
	if left := float64(s.SweepSamples-1) - n; left < float64(s.FadeOutSamples) {
		fade *= 0.5 - 0.5*math.Cos(math.Pi*left/float64(s.FadeOutSamples))
	}
	if len(s.Shape) > 0 {
		// The spectrum's phase at f is 2 pi (phase - f t).
		t := n / float64(s.RateHz)
		f := c.FrequencyAt(t)
		return fade * math.Sin(c.SpectrumPhase(f)+2*math.Pi*f*t)
	}
	return fade * math.Sin(2*math.Pi*float64(s.Cycles)*math.Exp(n/rate))
}

// matchedCoil filters y in place by a difference and the pole pair exp(s T),
// with gain 1 on the slope at 1 kHz.
func matchedCoil(y []float64, f0, q, rate float64) {
	w := 2 * math.Pi * f0 / rate
	decay := w / (2 * q)
	r := math.Exp(-decay)
	turn := math.Sqrt(math.Abs(w*w - decay*decay))
	c := math.Cos(turn)
	if q < 0.5 {
		c = math.Cosh(turn)
	}
	a1, a2 := 2*r*c, -r*r
	b := (1 - a1 - a2) * rate / (2 * math.Pi * 1000)
	var x1, y1, y2 float64
	for i, x := range y {
		v := b*(x-x1) + a1*y1 + a2*y2
		x1, y2, y1 = x, y1, v
		y[i] = v
	}
}
