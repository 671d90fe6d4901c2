package joint

import (
	"math"
	"math/cmplx"
	"slices"

	"coilsweep/fit/circuit"
)

// shape is read off the magnitude of one take: where it peaks and how high over
// the plateau.
type shape struct {
	peakHz float64
	q      float64
}

// shapeOf reads a peak off the magnitude. The peak must stand at the same
// place in a curve smoothed over neighbours, so that a noisy take does not
// start the fit at a spike.
func shapeOf(t Take) shape {
	r := t.Response
	n := len(r.H)
	smooth := make([]float64, n)
	for i := range r.H {
		var sum, weight float64
		for k := max(0, i-3); k <= min(n-1, i+3); k++ {
			w := 1 / r.Variance[k]
			sum += w * cmplx.Abs(r.H[k])
			weight += w
		}
		smooth[i] = sum / weight
	}
	var low []float64
	for i, f := range r.FrequencyHz {
		if f >= 100 && f <= 500 {
			low = append(low, smooth[i])
		}
	}
	plateau := smooth[0]
	if len(low) > 0 {
		plateau = median(low)
	}
	best := -1
	for i := 1; i < n; i++ {
		if r.FrequencyHz[i] > 700 && (best < 0 || smooth[i] > smooth[best]) {
			best = i
		}
	}
	if best < 0 {
		best = n - 1
	}
	s := shape{peakHz: r.FrequencyHz[best], q: smooth[best] / plateau}
	if s.q < 1.05 {
		// No peak: the frequency where the magnitude has fallen by 3 dB.
		s.q = 0.7
		for i := range smooth {
			if r.FrequencyHz[i] > 300 && smooth[i] < plateau/math.Sqrt2 {
				s.peakHz = r.FrequencyHz[i]
				break
			}
		}
	}
	return s
}

// startCoils gives loss-free circuits in closed form to start from, most
// likely first: from the line of 1/w² over added C where the takes differ in
// it, else from what the DC resistance and the Q of the first take allow.
func startCoils(takes []Take, parts partList, know knowledge) []circuit.Coil {
	resistance := 8000.0
	if know.resistance != nil {
		resistance = know.resistance.nominal
	}
	var fixed circuit.Coil
	fixed.ResistanceOhm = resistance
	shapes := make([]shape, len(takes))
	var x, y []float64
	conductance := make([]float64, len(takes))
	extra := make([]float64, len(takes))
	for i, t := range takes {
		shapes[i] = shapeOf(t)
		at := parts.ofTake[i]
		nominal := func(k int) float64 {
			if k < 0 {
				return 0
			}
			return parts.parts[k].nominal
		}
		for _, k := range append([]int{at.load}, at.addedR[:]...) {
			if k >= 0 {
				conductance[i] += 1 / parts.parts[k].nominal
			}
		}
		extra[i] = nominal(at.fixtureC) - nominal(parts.firstFixture())
		for _, k := range at.addedC {
			extra[i] += nominal(k)
		}
		w := 2 * math.Pi * shapes[i].peakHz
		// The pole's w over the peak's, and the LC frequency over the pole's.
		w /= math.Sqrt(max(0.3, 1-1/(2*shapes[i].q*shapes[i].q)))
		w /= math.Sqrt(1 + resistance*conductance[i])
		x, y = append(x, extra[i]), append(y, 1/(w*w))
	}
	var starts []circuit.Coil
	add := func(l float64) {
		// C from the take with the least load.
		i := 0
		for k := range x {
			if x[k] < x[i] {
				i = k
			}
		}
		c := y[i]/l - x[i]
		if c < 5e-12 {
			c = 5e-12
		}
		coil := fixed
		coil.InductanceH, coil.CapacitanceF = l, c
		starts = append(starts, coil)
	}
	if slices.Max(x)-slices.Min(x) > 1e-11 {
		if slope, ok := lineSlope(x, y); ok {
			add(slope)
		}
	}
	if know.inductance != nil {
		add(know.inductance.nominal)
	}
	// One take: 1/Q = R sqrt(C/L) + sqrt(L/C)/R_load, a quadratic in the
	// impedance level sqrt(L/C), with one root on either side of the blind
	// spot sqrt(R R_load).
	w0 := 1 / math.Sqrt(y[0])
	g := conductance[0]
	q := shapes[0].q
	root := 1/(q*q) - 4*resistance*g
	if root < 0 {
		root = 0
	}
	for _, sign := range []float64{-1, 1} {
		level := (1/q + sign*math.Sqrt(root)) / (2 * g)
		if level > 1e3 && level < 1e7 {
			add(level / w0)
		}
	}
	if len(starts) == 0 {
		add(3)
	}
	return starts
}

// lineSlope is the least-squares slope of y over x; ok where it is positive.
func lineSlope(x, y []float64) (float64, bool) {
	var mx, my float64
	for i := range x {
		mx += x[i] / float64(len(x))
		my += y[i] / float64(len(x))
	}
	var sxx, sxy float64
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
	}
	return sxy / sxx, sxx > 0 && sxy > 0
}

func median(v []float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}
