package quality

import (
	"math"
	"math/cmplx"
	"slices"

	"coilsweep/capture/align"
	"coilsweep/capture/internal/effort"

	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	// mainsOrders is the highest harmonic of the mains that is looked for.
	mainsOrders = 80
	// mainsOffHz is how far the mains may be off its nominal frequency.
	mainsOffHz = 0.6
	// humFound is the log-likelihood ratio of five harmonics from which hum
	// is believed: noise alone gets there once in 10^5 searches.
	humFound = 25
	// orderFound is the same for a single harmonic at a known frequency.
	orderFound = 9
)

// Mains is hum: a waveform of one cycle that repeats at the mains frequency,
// which may change steadily in the course of a take.
//
// It is found in the silent parts of the recording alone, so that nothing of
// the coil's answer can be taken for hum. Blocks of one nominal cycle of the
// mains turn every harmonic into one line of a short transform; the harmonics
// turn from block to block by what the mains is off, all by the same angle
// times their order, which gives the frequency from all of them at once.
type Mains struct {
	nominalHz, rateHz float64
	clock             clock
	originS           float64    // time zero of the phase
	phase             [3]float64 // cycles: phase[0] + phase[1] t + phase[2] t^2, beside nominal
	amplitude         []complex128
	significant       []bool
	table             []float64 // one cycle of the waveform
}

// clock tells the time at which a sample was taken, where samples were lost.
type clock struct {
	rateHz float64
	jumps  []align.Jump
}

// seconds is the time of a sample.
func (c clock) seconds(sample int) float64 {
	t := float64(sample)
	for _, j := range c.jumps {
		if j.Sample <= float64(sample) {
			t -= j.Samples
		}
	}
	return t / c.rateHz
}

// FindMains looks for hum in the silent spans of one channel; nil where there is
// none. jumps are the places where samples were lost.
func FindMains(samples []float64, rateHz int, silent []Span, jumps []align.Jump) *Mains {
	effort.Mains.Add(1)
	var best *mainsBlocks
	bestScore, offHz := float64(humFound), 0.0
	for _, nominal := range [...]float64{50, 60} {
		b := newMainsBlocks(samples, rateHz, nominal, silent, jumps)
		if b == nil {
			continue
		}
		if score, off := b.search(); score > bestScore {
			best, bestScore, offHz = b, score, off
		}
	}
	if best == nil {
		return nil
	}
	return best.fit(offHz)
}

// MainsAt is FindMains where the frequency is known: hum of another one, and hum
// that is too faint to be found, is none.
func MainsAt(hz float64, samples []float64, rateHz int, silent []Span, jumps []align.Jump) *Mains {
	nominal := 50.0
	if hz > 55 {
		nominal = 60
	}
	b := newMainsBlocks(samples, rateHz, nominal, silent, jumps)
	if b == nil || b.score(hz-b.nominalHz) < humFound {
		return nil
	}
	return b.fit(hz - b.nominalHz)
}

// Hz is the mean frequency over the take.
func (m *Mains) Hz() float64 { return m.nominalHz + m.phase[1] }

// LinesHz are the frequencies of the harmonics that were found.
func (m *Mains) LinesHz() []float64 {
	var out []float64
	for h, yes := range m.significant {
		if yes {
			out = append(out, float64(h+1)*m.Hz())
		}
	}
	return out
}

// Power is the mean square of the harmonic of that order, from 1.
func (m *Mains) Power(order int) float64 {
	if order > len(m.amplitude) {
		return 0
	}
	return square(m.amplitude[order-1]) / 2
}

// power is the mean square of all harmonics that were found.
func (m *Mains) power() float64 {
	sum := 0.0
	for h, yes := range m.significant {
		if yes {
			sum += m.Power(h + 1)
		}
	}
	return sum
}

// cycles is the phase at time t after originS.
func (m *Mains) cycles(t float64) float64 {
	return m.nominalHz*t + m.phase[1]*t + m.phase[2]*t*t
}

// tableSteps is the length of the waveform's table. Between steps a straight
// line is good to 1e-5 of the highest harmonic.
const tableSteps = 1 << 16

// makeTable computes one cycle of the waveform.
func (m *Mains) makeTable(plan *fourier.FFT) {
	c := make([]complex128, tableSteps/2+1)
	for h, a := range m.amplitude {
		if m.significant[h] {
			c[h+1] = a / 2
		}
	}
	if m.table == nil {
		m.table = make([]float64, tableSteps+1)
	}
	plan.Sequence(m.table[:tableSteps], c)
	m.table[tableSteps] = m.table[0]
}

// Removed is a span of the recording without its hum.
func (m *Mains) Removed(samples []float64, s Span) []float64 {
	out := slices.Clone(samples[s.From:s.To])
	m.Remove(out, s.From)
	return out
}

// Remove takes the hum off samples, of which the first is the recording's at.
func (m *Mains) Remove(samples []float64, at int) {
	begin, end := at, at+len(samples)
	for _, j := range m.clock.jumps {
		until := min(max(int(math.Ceil(j.Sample)), begin), end)
		m.subtract(samples[begin-at:until-at], begin)
		begin = until
	}
	m.subtract(samples[begin-at:], begin)
}

// subtract takes the hum off the samples from begin on, given in dst, between
// which no samples were lost.
func (m *Mains) subtract(dst []float64, begin int) {
	start := m.clock.seconds(begin) - m.originS
	for i := range dst {
		p := m.cycles(start + float64(i)/m.rateHz)
		p = (p - math.Floor(p)) * tableSteps
		k := min(int(p), tableSteps-1)
		f := p - float64(k)
		dst[i] -= m.table[k] + f*(m.table[k+1]-m.table[k])
	}
}

// mainsBlocks holds the harmonics of the silent blocks.
type mainsBlocks struct {
	Mains
	samples []float64
	length  int
	begin   []int          // first sample of a block
	timeS   []float64      // middle of a block after originS
	c       [][]complex128 // [order-1][block], amplitude, phase as of nominalHz
	still   [][]complex128 // the same, phase as of the mains found
	plan    *fourier.FFT
}

func newMainsBlocks(samples []float64, rate int, nominalHz float64, silent []Span, jumps []align.Jump) *mainsBlocks {
	rateHz, clock := float64(rate), clock{float64(rate), jumps}
	b := &mainsBlocks{samples: samples, length: int(math.Round(rateHz / nominalHz))}
	for _, s := range silent {
		for at := s.From; at+b.length <= s.To; at += b.length {
			b.begin = append(b.begin, at)
		}
	}
	if len(b.begin) < 15 {
		return nil
	}
	b.rateHz, b.clock = rateHz, clock
	b.nominalHz = rateHz / float64(b.length)
	last := b.begin[len(b.begin)-1]
	b.originS = 0.5 * (clock.seconds(b.begin[0]) + clock.seconds(last))
	for _, at := range b.begin {
		b.timeS = append(b.timeS, clock.seconds(at)+0.5*float64(b.length)/rateHz-b.originS)
	}
	b.plan = fourier.NewFFT(b.length)
	orders := min(mainsOrders, b.length/2-1)
	b.c, b.still = make([][]complex128, orders), make([][]complex128, orders)
	for h := range b.c {
		b.c[h], b.still[h] = make([]complex128, len(b.begin)), make([]complex128, len(b.begin))
	}
	b.amplitude = make([]complex128, orders)
	b.significant = make([]bool, orders)
	b.transform()
	return b
}

// transform fills c with what the blocks hold beside the hum found so far.
func (b *mainsBlocks) transform() {
	work := make([]float64, b.length)
	line := make([]complex128, b.length/2+1)
	for i, at := range b.begin {
		copy(work, b.samples[at:])
		if b.table != nil {
			b.subtract(work, at)
		}
		b.plan.Coefficients(line, work)
		// Phase of the nominal frequency from originS to the block's start.
		turn := b.nominalHz * (b.clock.seconds(at) - b.originS)
		for h := range b.c {
			p := float64(h+1) * turn
			b.c[h][i] = line[h+1] * cmplx.Rect(2/float64(b.length), -2*math.Pi*(p-math.Floor(p)))
		}
	}
}

// searchOrders is how many harmonics the search goes by.
const searchOrders = 5

// score is the log-likelihood ratio of these harmonics against noise at an
// offset from nominal.
func (b *mainsBlocks) score(offHz float64) (score float64) {
	n := float64(len(b.begin))
	for h, c := range b.c[:searchOrders] {
		var sum complex128
		power := 0.0
		for i, z := range c {
			sum += z * cmplx.Rect(1, -2*math.Pi*float64(h+1)*offHz*b.timeS[i])
			power += square(z)
		}
		score -= n * math.Log(max(1-square(sum)/(n*power), 1e-12))
	}
	return score
}

// search finds the offset from nominal at which five harmonics add up best,
// and the log-likelihood ratio against noise there.
func (b *mainsBlocks) search() (score, offHz float64) {
	const orders = searchOrders
	n := len(b.begin)
	total := b.timeS[n-1] - b.timeS[0]
	step := 0.2 / (total * orders)
	steps := int(mainsOffHz / step)
	var power [orders]float64
	turn := make([]complex128, n)
	for i, t := range b.timeS {
		turn[i] = cmplx.Rect(1, -2*math.Pi*step*t)
	}
	at := make([][]complex128, orders)
	for h := range at {
		at[h] = make([]complex128, n)
		for i, c := range b.c[h] {
			at[h][i] = c * cmplx.Rect(1, 2*math.Pi*float64(h+1)*float64(steps)*step*b.timeS[i])
			power[h] += square(c)
		}
	}
	for k := -steps; k <= steps; k++ {
		sum := 0.0
		for h := range at {
			var s complex128
			for i, z := range at[h] {
				s += z
				for range h + 1 {
					z *= turn[i]
				}
				at[h][i] = z
			}
			coherence := square(s) / (float64(n) * power[h])
			sum -= float64(n) * math.Log(max(1-coherence, 1e-12))
		}
		if sum > score {
			score, offHz = sum, float64(k)*step
		}
	}
	return score, offHz
}

// fit refines the offset, lets it change steadily in time, and finds the
// waveform. Each round takes the hum found so far off the blocks first: the
// leakage from one harmonic into the others goes with it.
func (b *mainsBlocks) fit(offHz float64) *Mains {
	b.phase = [3]float64{0, offHz, 0}
	table := fourier.NewFFT(tableSteps)
	for round := range 3 {
		if round > 0 {
			b.makeTable(table)
			b.transform()
			for h := range b.c {
				if b.significant[h] {
					for i, t := range b.timeS {
						b.c[h][i] += b.amplitude[h] * b.rotation(h, t)
					}
				}
			}
		}
		for _, orders := range [...]int{3, 6, 12, 25, len(b.c)} {
			for range 2 {
				b.amplitudes()
				b.track(min(orders, len(b.c)), round > 0)
			}
		}
		b.amplitudes()
	}
	b.makeTable(table)
	m := b.Mains
	return &m
}

// rotation is the turn of order h+1 at time t against nominal.
func (b *mainsBlocks) rotation(h int, t float64) complex128 {
	return cmplx.Rect(1, 2*math.Pi*float64(h+1)*(b.phase[1]*t+b.phase[2]*t*t))
}

// amplitudes finds the harmonics for the phase as it is, and fills still with
// the blocks' harmonics as they stand still against it.
func (b *mainsBlocks) amplitudes() {
	n := float64(len(b.begin))
	turn := make([]complex128, len(b.begin))
	power := make([]complex128, len(b.begin))
	for i, t := range b.timeS {
		turn[i] = cmplx.Conj(b.rotation(0, t))
		power[i] = turn[i]
	}
	for h, c := range b.c {
		var sum complex128
		total := 0.0
		for i, z := range c {
			z *= power[i]
			power[i] *= turn[i]
			b.still[h][i] = z
			sum += z
			total += square(z)
		}
		coherence := square(sum) / (n * total)
		b.amplitude[h] = sum / complex(n, 0)
		b.significant[h] = -n*math.Log(max(1-coherence, 1e-300)) > orderFound
	}
}

// track corrects the phase by weighted least squares over the blocks; steady
// change of the frequency only if drifting.
func (b *mainsBlocks) track(orders int, drifting bool) {
	n := len(b.begin)
	weight := make([]float64, orders)
	for h := range weight {
		if !b.significant[h] {
			continue
		}
		scatter := 0.0
		for _, z := range b.still[h] {
			d := z - b.amplitude[h]
			scatter += square(d)
		}
		weight[h] = float64(n) / scatter
	}
	// Normal equations for an angle q0 + q1 t + q2 t^2 (cycles of the mains).
	var a [3][4]float64
	for i, t := range b.timeS {
		var slope, curve float64
		for h, w := range weight {
			if w == 0 || math.IsInf(w, 0) {
				continue
			}
			z := b.still[h][i] * cmplx.Conj(b.amplitude[h])
			k := 2 * math.Pi * float64(h+1)
			slope += w * k * imag(z)
			curve += w * k * k * square(b.amplitude[h])
		}
		p := [3]float64{1, t, t * t}
		for r := range p {
			for c := range p {
				a[r][c] += curve * p[r] * p[c]
			}
			a[r][3] += slope * p[r]
		}
	}
	if a[0][0] == 0 {
		return
	}
	if !drifting {
		a[2] = [4]float64{0, 0, 1, 0}
		a[0][2], a[1][2] = 0, 0
	}
	q, ok := solve3(a)
	if !ok {
		return
	}
	b.phase[1] += q[1]
	b.phase[2] += q[2]
}

// solve3 solves three symmetric positive equations; a[r][3] is the right side.
func solve3(a [3][4]float64) (x [3]float64, ok bool) {
	for c := range 3 {
		if !(a[c][c] > 0) {
			return x, false
		}
		for r := c + 1; r < 3; r++ {
			k := a[r][c] / a[c][c]
			for j := c; j < 4; j++ {
				a[r][j] -= k * a[c][j]
			}
		}
	}
	for r := 2; r >= 0; r-- {
		x[r] = a[r][3]
		for j := r + 1; j < 3; j++ {
			x[r] -= a[r][j] * x[j]
		}
		x[r] /= a[r][r]
	}
	return x, true
}

func square(a complex128) float64 { return real(a)*real(a) + imag(a)*imag(a) }
