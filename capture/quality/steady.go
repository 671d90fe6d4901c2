package quality

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/stat"

	"coilsweep/capture"
	"coilsweep/capture/align"
	"coilsweep/excite"
)

const (
	// steadyFromHz is where sweeps are compared from: below, hum is strong.
	steadyFromHz = 300
	// windowSteps is over how many steps passages are averaged before they are
	// compared: a twelfth of an octave, half the width of a sharp resonance.
	windowSteps = stepsPerOctave / 12
	// noiseSteps is over how many steps to each side the noise is taken as equal.
	noiseSteps = stepsPerOctave / 2
	// changeNoise is how many standard deviations two responses may be apart: noise
	// alone, circular, gets there once in exp(36).
	changeNoise = 6
	// changeFloor is what a difference between two responses must be, relative to
	// them, to matter: at a resonance with Q = 3 it is a shift by 2.5e-4. Copper
	// that warms up by a kelvin, and a sound card from sweep to sweep, do less.
	changeFloor = 1.5e-3
	// gainFloor is how far the gains of two sweeps may be apart: within a sweep it
	// then slopes by less than 0.02 dB over an octave.
	gainFloor = 0.02
	// disturbance is how many times more noise than in other sweeps marks a
	// disturbed window.
	disturbance = 30
	// codedOver is how many times more noise in the sweeps than beside them a lossy
	// coder leaves, in power, and codedNoise what it is over the signal, at least:
	// coarse steps of a converter leave less.
	codedOver, codedNoise = 4, 3e-5
	// lostShiftS is a shift that no coil makes, whatever happens to it.
	lostShiftS = 1e-3
	// overwrittenShare is the power of a difference, relative to the response, from
	// which samples may have been overwritten. silenced is what is left of a response
	// where that was by zeros, and coherent the least share of the power that is the
	// same all over a window: a circuit does that, and overwritten samples do not.
	overwrittenShare, silenced, coherent = 0.05, 0.1, 0.5
)

// assessSteadiness compares the sweeps of the take with each other in their
// responses, those that are not clipped and have lost no samples. Where they
// differ the take is flagged as changed, and the sweeps that are not of the steady
// part are left out where it is clear which part that is. hum is that of the
// coil's channel, nil: none.
func (of Assessor) assessSteadiness(q *capture.Quality, rec capture.Recording, take capture.Take, hum *Mains) {
	a := take.Alignment
	passages := of.passages
	if passages == nil {
		passages = newPassages(take.Stimulus, steadyFromHz)
	}
	if passages == nil {
		return
	}
	// What looks like damage may be the circuit.
	doubted := slices.DeleteFunc(slices.Clone(a.Damaged), func(k int) bool {
		return shifted(*a, k, float64(rec.RateHz)) || slices.Contains(q.ClippedRepeats, k)
	})
	among := *a
	among.Damaged = slices.DeleteFunc(slices.Clone(q.DamagedRepeats), func(k int) bool {
		return slices.Contains(doubted, k)
	})
	coil := rec.Samples[0]
	if hum != nil {
		coil = hum.Removed(coil, Span{To: len(coil)})
	}
	periods, repeats, err := align.Periods(coil, take.Stimulus, among)
	if len(repeats) < 2 && len(among.Damaged) >= 2 && len(q.Xruns) == 0 {
		// Losses hardly ever hit all sweeps but one: something else may look like them.
		among.Damaged = q.ClippedRepeats
		if periods, repeats, _ = align.Periods(coil, take.Stimulus, among); len(repeats) < 3 {
			return
		}
		c := comparison{passages: passages, coil: passages.ofAll(periods)}
		c.average(func(int) bool { return false })
		c.compare()
		c.flagProcessed(q, take.Stimulus)
		return
	}
	if err != nil || len(repeats) < 2 {
		return
	}
	c := comparison{passages: passages, coil: passages.ofAll(periods), twoClocks: a.DriftPPM != 0}
	if take.HasReference() {
		if periods, _, err = align.Periods(rec.Samples[1], take.Stimulus, among); err != nil {
			return
		}
		if c.reference = passages.ofAll(periods); !hears(c.reference[0]) {
			c.reference = nil
		}
	}
	c.average(func(i int) bool { return slices.Contains(doubted, repeats[i]) })
	c.compare()
	if c.flagProcessed(q, take.Stimulus) {
		return // that the sweeps differ is the coder's doing
	}
	c.findDisturbed()

	// Damage that is the circuit's is none.
	var kept []int
	for i, k := range repeats {
		switch {
		case !slices.Contains(doubted, k):
		case c.overwritten(i):
			kept = append(kept, i)
		default:
			is := func(l int) bool { return l == k }
			a.Damaged = slices.DeleteFunc(slices.Clone(a.Damaged), is)
			a.Jumps = slices.DeleteFunc(slices.Clone(a.Jumps), func(j align.Jump) bool { return j.Repeat == k })
			q.DamagedRepeats = slices.DeleteFunc(q.DamagedRepeats, is)
		}
	}
	odd, clear := c.odd(kept)
	if len(odd) == 0 {
		return
	}
	q.Flag(capture.Changed)
	if clear {
		for _, i := range odd {
			q.ChangedRepeats = append(q.ChangedRepeats, repeats[i])
			q.DamagedRepeats = append(q.DamagedRepeats, repeats[i])
		}
		slices.Sort(q.DamagedRepeats)
	}
}

// shifted tells whether samples are lost in repeat k: what comes after a loss is
// late or early by whole samples until the end of the repeat. A circuit that
// changes bends the delay about its resonance alone.
func shifted(a align.Alignment, k int, rateHz float64) bool {
	sum := 0.0
	for _, j := range a.Jumps {
		if j.Repeat != k {
			continue
		}
		if math.Abs(j.Samples) > lostShiftS*rateHz {
			return true
		}
		sum += j.Samples
	}
	return math.Abs(sum) > 0.5 && math.Abs(sum-math.Round(sum)) < 0.15
}

// comparison is of the passages of several sweeps.
type comparison struct {
	*passages
	coil, reference [][]complex128 // [sweep][step]
	mean            []complex128   // of the coil's
	// twoClocks: clocks wander against each other within a sweep, and phases tell
	// nothing of the circuit.
	twoClocks bool
	pairs     [][]pair // [sweep][earlier sweep]
	disturbed [][]bool // [sweep][window]; nil: nowhere
}

// average makes the mean of the sweeps, without doubtful ones where others are left.
func (c *comparison) average(doubtful func(i int) bool) {
	c.mean = make([]complex128, len(c.hz))
	for n, all := 0, false; n == 0; all = true {
		for i, h := range c.coil {
			if all || !doubtful(i) {
				n++
				for s, v := range h {
					c.mean[s] += v
				}
			}
		}
		for s := range c.mean {
			c.mean[s] /= complex(float64(max(n, 1)), 0)
		}
	}
}

// pair is how two sweeps differ in each window, relative to the mean of the two.
type pair struct {
	apart []complex128 // gain and delay taken off
	gain  float64      // of the one over the other, minus 1
	hz, u []float64    // u of apart, from noise that is everywhere
	noise []float64    // the same from the noise in the window itself
	// density is the noise that is everywhere, as the square of its rms for a stimulus
	// with the amplitude 1, were it white.
	density []float64
	// alike is the share of the difference that is the same all over the window.
	alike []float64
}

// compare compares all sweeps with each other.
func (c *comparison) compare() {
	n := len(c.hz)
	d, weight, scatter := make([]complex128, n), make([]float64, n), make([]float64, n)
	for j := range c.coil {
		c.pairs = append(c.pairs, make([]pair, j))
		for k := range j {
			for s := range d {
				h, g := c.coil[j][s], c.coil[k][s]
				d[s] = 2 * (h - g) / (h + g)
				if c.reference != nil {
					// What moves both channels cancels out of the response.
					v, w := c.reference[j][s], c.reference[k][s]
					d[s] -= 2 * (v - w) / (v + w)
				}
				if c.twoClocks {
					d[s] = complex(real(d[s]), 0)
				}
				weight[s] = square(h+g) / 4 * c.samples(s)
			}
			// What is smooth over three steps is no noise.
			for s := 1; s < n-1; s++ {
				scatter[s] = square(d[s-1]-2*d[s]+d[s+1]) / (1/weight[s-1] + 4/weight[s] + 1/weight[s+1])
			}
			scatter[0], scatter[n-1] = scatter[1], scatter[n-2]
			c.pairs[j][k] = c.windows(d, weight, scatter)
		}
	}
}

// windows averages the differences d of two sweeps in windows.
func (c *comparison) windows(d []complex128, weight, scatter []float64) (p pair) {
	n := len(d)
	var gains, delays, gainWeight, delayWeight []float64
	for s := 0; s+windowSteps <= n; s += windowSteps / 2 {
		var sum complex128
		w, noise, power := 0.0, 0.0, 0.0
		for i := s; i < s+windowSteps; i++ {
			sum += d[i] * complex(weight[i], 0)
			power += weight[i] * square(d[i])
			w += weight[i]
			noise += scatter[i] / windowSteps
		}
		near := slices.Sorted(slices.Values(scatter[max(0, s-noiseSteps):min(n, s+noiseSteps)]))
		density := near[len(near)/2] / math.Ln2 // of an exponential distribution with that median
		if c.twoClocks {
			density = near[len(near)/2] / 0.455 // of a chi-squared distribution with one degree of freedom
		}
		mean, u, hz := sum/complex(w, 0), math.Sqrt(density/w), c.hz[s+windowSteps/2]
		p.apart, p.u, p.hz = append(p.apart, mean), append(p.u, u), append(p.hz, hz)
		p.density = append(p.density, density/8)
		p.noise, p.alike = append(p.noise, math.Sqrt(noise/w)), append(p.alike, square(sum)/max(w*power, 1e-300))
		known := 1 / (u*u + changeFloor*changeFloor)
		gains, gainWeight = append(gains, real(mean)), append(gainWeight, known)
		delays, delayWeight = append(delays, imag(mean)/hz), append(delayWeight, known*hz*hz)
	}
	middle := func(x, weight []float64) float64 {
		stat.SortWeighted(x, weight)
		return stat.Quantile(0.5, stat.Empirical, x, weight)
	}
	gain, delay := middle(gains, gainWeight), middle(delays, delayWeight)
	p.gain = gain
	for i := range p.apart {
		p.apart[i] -= complex(gain, delay*p.hz[i])
	}
	return p
}

// flagProcessed flags a take with far more noise in the sweeps than beside them: lossy
// coders hide their noise beneath the signal.
func (c *comparison) flagProcessed(q *capture.Quality, stim excite.Stimulus) bool {
	if q.NoiseDBFS == 0 {
		return false // there is no silence
	}
	silence := math.Pow(10, q.NoiseDBFS/10) / 2 / square(complex(stim.Amplitude(), 0))
	var over, relative []float64
	for _, pairs := range c.pairs {
		for _, p := range pairs {
			for w, d := range p.density {
				over = append(over, d/silence)
				relative = append(relative, d/square(c.mean[(w+1)*windowSteps/2]))
			}
		}
	}
	if medianOf(over) <= codedOver || medianOf(relative) <= codedNoise {
		return false
	}
	q.Flag(capture.Processed)
	return true
}

// pairOf is the pair of two sweeps.
func (c *comparison) pairOf(j, k int) *pair { return &c.pairs[max(j, k)][min(j, k)] }

// findDisturbed marks the windows of a sweep in which it is far noisier, against
// every other sweep, than other sweeps are: a knock, a contact that crackles.
func (c *comparison) findDisturbed() {
	if len(c.coil) < 3 {
		return // nobody knows in which
	}
	c.disturbed = make([][]bool, len(c.coil))
	for j := range c.coil {
		c.disturbed[j] = make([]bool, len(c.pairs[1][0].hz))
		for w := range c.disturbed[j] {
			own, quietest := math.Inf(1), math.Inf(1)
			for a := range c.coil {
				for b := range a {
					u := c.pairs[a][b].noise[w]
					if a == j || b == j {
						own = min(own, u)
					}
					quietest = min(quietest, u)
				}
			}
			c.disturbed[j][w] = own > changeFloor && own*own > disturbance*quietest*quietest
		}
	}
}

// disturbedIn tells whether sweep j is disturbed in window w, or beside it.
func (c *comparison) disturbedIn(j, w int) bool {
	if c.disturbed == nil {
		return false
	}
	return slices.Contains(c.disturbed[j][max(0, w-2):min(len(c.disturbed[j]), w+3)], true)
}

// differ tells whether the responses of two sweeps have another shape, where neither
// is disturbed, or another gain.
func (c *comparison) differ(j, k int) (circuit, gain bool) {
	if j == k {
		return false, false
	}
	p := c.pairOf(j, k)
	for w, d := range p.apart {
		if !c.disturbedIn(j, w) && !c.disturbedIn(k, w) {
			circuit = circuit || cmplx.Abs(d) > max(changeFloor, changeNoise*p.u[w])
		}
	}
	return circuit, math.Abs(p.gain) > gainFloor
}

// overwritten tells whether the sweep i differs from the others as samples do that
// something else, or silence, was written over.
func (c *comparison) overwritten(i int) bool {
	for j := range c.coil {
		if j == i {
			continue
		}
		p, off, alien := c.pairOf(i, j), 0, 0
		for w, d := range p.apart {
			if square(d) < overwrittenShare*p.alike[w] {
				continue
			}
			off++
			s := (w + 1) * windowSteps / 2
			if p.alike[w] < coherent || cmplx.Abs(c.coil[i][s]) < silenced*cmplx.Abs(c.mean[s]) {
				alien++
			}
		}
		if 3*alien <= off {
			return false
		}
	}
	return true
}

// odd are the sweeps that are not of the steady part, of all but those in without,
// and whether it is clear that this is the part to use. None: all are alike.
//
// It is clear where the circuit is the same at both ends of the take, and where the
// take goes on as it began for three quarters of its sweeps: what was connected when
// it began is what was said. Of a circuit that changed early nobody knows whether
// that was before or after. A gain that changed is no other circuit.
func (c *comparison) odd(without []int) (odd []int, clear bool) {
	var all []int
	for i := range c.coil {
		if !slices.Contains(without, i) {
			all = append(all, i)
		}
	}
	if len(all) == 0 {
		return nil, true // something was written over each of them
	}
	var steady []int
	for _, seed := range all {
		group := []int{seed}
		for _, j := range all {
			differs := func(k int) bool {
				circuit, gain := c.differ(j, k)
				return circuit || gain
			}
			if j != seed && !slices.ContainsFunc(group, differs) {
				group = append(group, j)
			}
		}
		if len(group) > len(steady) {
			steady = group
		}
	}
	same := slices.DeleteFunc(slices.Clone(all), func(j int) bool {
		return slices.ContainsFunc(steady, func(k int) bool {
			circuit, _ := c.differ(j, k)
			return circuit
		})
	})
	begins, ends := slices.Contains(same, all[0]), slices.Contains(same, all[len(all)-1])
	clear = len(steady) == len(all) || len(steady) >= 2 && begins &&
		(ends && 2*len(same) > len(all) || len(same) >= 3 && 4*len(same) >= 3*len(all))
	quiet := slices.DeleteFunc(slices.Clone(steady), func(j int) bool {
		return c.disturbed != nil && slices.Contains(c.disturbed[j], true)
	})
	if len(quiet) >= 2 && 2*len(quiet) >= len(all) {
		steady = quiet
	}
	for _, j := range all {
		if !slices.Contains(steady, j) {
			odd = append(odd, j)
		}
	}
	return odd, clear
}
