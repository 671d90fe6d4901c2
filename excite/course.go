package excite

import (
	"fmt"
	"math"
	"sort"
)

// Knot is a point of the shape of a sweep: how long the sweep stays at a
// frequency.
type Knot struct {
	FrequencyHz float64 `toml:"frequency_hz"`
	// Weight is the time an octave takes there over the mean of all octaves.
	Weight float64 `toml:"weight"`
}

// The bounds of a shape. With the least weight a harmonic still comes well
// before the linear response.
const (
	maxKnots             = 64
	minWeight, maxWeight = 0.05, 100
	// knotRatio is the least ratio of neighbouring frequencies.
	knotRatio = 1.001
	// weightDigits is what Design rounds weights to.
	weightDigits = 1e4
	// meanTolerance is how far the rounding of the weights may move their mean
	// from 1.
	meanTolerance = 1e-3
)

// Course is how a sweep runs through the frequencies. With u = ln(f/f1) and
// the dwell w(u), linear in u between the knots of the shape (1 everywhere
// without one),
//
//	dt/du = L w(u),  phase = f1 L integral of e^u w du cycles,
//
// both in closed form. At constant envelope the spectrum is then
// |X(f)|^2 = A^2/4 L w/f (S. Müller, P. Massarani, "Transfer-Function
// Measurement with Sweeps", J. Audio Eng. Soc. 49(6), 2001: the group delay
// grows in proportion to the wanted power spectrum). Beyond its ends the sweep
// is taken to go on with the dwell that it has there.
type Course struct {
	fromHz, toHz, rateS float64
	cycles              int
	pieces              []piece // nil: w = 1
}

// piece is what lies between two knots.
type piece struct {
	u, t   float64 // where it begins: ln(f/f1), time over L
	ratio  float64 // e^u
	cycles float64 // phase where it begins
	w      float64 // dwell where it begins
	slope  float64 // dw/du
}

// Course works out the course of the sweep.
func (s Stimulus) Course() *Course {
	c := &Course{fromHz: s.FromHz, toHz: s.ToHz, rateS: s.SweepRateS(), cycles: s.Cycles}
	if len(s.Shape) == 0 {
		return c
	}
	c.pieces = append(c.pieces, piece{ratio: 1, w: s.Shape[0].Weight})
	p := c.pieces[0]
	for i := range len(s.Shape) - 1 {
		next := s.Shape[i+1]
		ratio := next.FrequencyHz / s.FromHz
		u := portableLog(ratio)
		length := u - p.u
		p.slope = (next.Weight - p.w) / length
		c.pieces = append(c.pieces, p)
		p = piece{
			u: u, ratio: ratio, w: next.Weight,
			t:      p.t + float64(float64(length*(p.w+next.Weight))/2),
			cycles: p.cycles + c.cyclesIn(p, length, portableExp),
		}
	}
	c.pieces = append(c.pieces, p)
	return c
}

// cyclesIn is the phase that a piece adds over its first v of ln f:
// f1 L e^u (e^v (w + b v - b) - (w - b)), b the slope.
func (c *Course) cyclesIn(p piece, v float64, exp func(float64) float64) float64 {
	b := p.w - p.slope
	inner := float64(exp(v)*(b+float64(p.slope*v))) - b
	return float64(float64(float64(c.cycles)*p.ratio) * inner)
}

// at is the piece in which key reaches x.
func (c *Course) at(x float64, key func(*piece) float64) *piece {
	i := sort.Search(len(c.pieces), func(i int) bool { return key(&c.pieces[i]) > x })
	return &c.pieces[max(i-1, 0)]
}

// phaseAt is the phase in cycles at a time over L.
func (c *Course) phaseAt(t float64, exp func(float64) float64) float64 {
	p := c.at(t, func(p *piece) float64 { return p.t })
	return p.cycles + c.cyclesIn(*p, p.after(t), exp)
}

// greatestPhase is as far as the phase runs, in cycles; with a shape, as far as
// its greatest term does.
func (c *Course) greatestPhase() float64 {
	whole := float64(c.cycles) * c.toHz / c.fromHz
	greatest := 1.0
	for i, p := range c.pieces {
		length := c.pieces[min(i+1, len(c.pieces)-1)].u - p.u
		greatest = max(greatest, p.w+math.Abs(p.slope)*(1+length))
	}
	return whole * greatest
}

// after is the v at which the piece reaches a time: w v + b v^2/2 is that less
// its beginning's.
func (p *piece) after(t float64) float64 {
	d := t - p.t
	return float64(2*d) / (p.w + math.Sqrt(float64(p.w*p.w)+float64(float64(2*p.slope)*d)))
}

func (c *Course) pieceOf(frequencyHz float64) (p *piece, v float64) {
	u := math.Log(frequencyHz / c.fromHz)
	p = c.at(u, func(p *piece) float64 { return p.u })
	return p, u - p.u
}

// TimeOf is when, in seconds from its beginning, the sweep passes a frequency.
func (c *Course) TimeOf(frequencyHz float64) float64 {
	if c.pieces == nil {
		return c.rateS * math.Log(frequencyHz/c.fromHz)
	}
	p, v := c.pieceOf(frequencyHz)
	return c.rateS * (p.t + v*(p.w+0.5*p.slope*v))
}

// FrequencyAt is the sweep's frequency in Hz at a time in seconds from its
// beginning.
func (c *Course) FrequencyAt(timeS float64) float64 {
	if c.pieces == nil {
		return c.fromHz * math.Exp(timeS/c.rateS)
	}
	t := timeS / c.rateS
	p := c.at(t, func(p *piece) float64 { return p.t })
	return c.fromHz * p.ratio * math.Exp(p.after(t))
}

// Weight is the dwell w: the time an octave takes at a frequency over the mean.
func (c *Course) Weight(frequencyHz float64) float64 {
	if c.pieces == nil {
		return 1
	}
	p, v := c.pieceOf(frequencyHz)
	return p.w + p.slope*v
}

// DwellS is L w in seconds: the time in which the frequency would rise by the
// factor e.
func (c *Course) DwellS(frequencyHz float64) float64 { return c.rateS * c.Weight(frequencyHz) }

// SpectrumPhase is the phase of the sweep's spectrum at a frequency, in
// radians, without its constant -pi/4: 2 pi (phase - f t) at the time at which
// the sweep passes it, by the method of stationary phase. A sweep that is
// played slower by the factor k has it at k times the frequency.
func (c *Course) SpectrumPhase(frequencyHz float64) float64 {
	if c.pieces == nil {
		return 2 * math.Pi * frequencyHz * c.rateS * (1 - math.Log(frequencyHz/c.fromHz))
	}
	p, v := c.pieceOf(frequencyHz)
	b := p.w - p.slope
	cycles := p.cycles + float64(c.cycles)*p.ratio*(math.Exp(v)*(b+p.slope*v)-b)
	return 2 * math.Pi * (cycles - frequencyHz*c.rateS*(p.t+v*(p.w+0.5*p.slope*v)))
}

// HarmonicLeadsS is by how much, in seconds, the n-th harmonic comes earlier
// than the linear response at the same frequency, from the least to the most
// over the band: L ln n everywhere for the exponential sweep.
func (c *Course) HarmonicLeadsS(n int) (least, most float64) {
	order := float64(n)
	if c.pieces == nil {
		lead := c.rateS * math.Log(order)
		return lead, lead
	}
	least, most = math.Inf(1), 0
	step := math.Exp2(1.0 / 48)
	for f := c.toHz; ; f /= step {
		lead := c.TimeOf(f) - c.TimeOf(f/order)
		least, most = min(least, lead), max(most, lead)
		if f <= c.fromHz*order {
			return least, most
		}
	}
}

// lengthS is the time from the beginning of the sweep to its end.
func (c *Course) lengthS() float64 {
	if c.pieces == nil {
		return c.rateS * math.Log(c.toHz/c.fromHz)
	}
	return float64(c.rateS * c.pieces[len(c.pieces)-1].t)
}

// checkShape checks a shape against the ends of the sweep.
func checkShape(shape []Knot, fromHz, toHz float64) error {
	if len(shape) == 0 {
		return nil
	}
	if len(shape) < 2 || len(shape) > maxKnots {
		return fmt.Errorf("the shape has %d knots; it must have from 2 to %d", len(shape), maxKnots)
	}
	if first, last := shape[0].FrequencyHz, shape[len(shape)-1].FrequencyHz; first != fromHz || last != toHz {
		return fmt.Errorf("the shape goes from %.10g to %.10g Hz, the sweep from %.10g to %.10g Hz", first, last, fromHz, toHz)
	}
	for i, k := range shape {
		if i > 0 && !(k.FrequencyHz >= knotRatio*shape[i-1].FrequencyHz) {
			return fmt.Errorf("knot %d of the shape is at %.10g Hz, not well above the one before it at %.10g Hz", i+1, k.FrequencyHz, shape[i-1].FrequencyHz)
		}
		weight := fmt.Sprintf("the weight of knot %d of the shape", i+1)
		if err := inRange(bounds{weight, k.Weight, minWeight, maxWeight, ""}); err != nil {
			return err
		}
	}
	return nil
}

// Shaped is s with a sweep of that shape in place of its own, of the same length
// but for the rounding of the weights, at the same level and period.
func (s Stimulus) Shaped(shape []Knot) (Stimulus, error) {
	s.Shape = normalised(shape)
	if err := checkShape(s.Shape, s.FromHz, s.ToHz); err != nil {
		return Stimulus{}, err
	}
	s.SweepSamples = s.sweepLength()
	s.FadeInSamples, s.FadeOutSamples = s.fadeLengths()
	return s.described()
}

// meanWeight is the mean of a shape over ln f.
func meanWeight(shape []Knot) float64 {
	var area, length float64
	for i := range len(shape) - 1 {
		a, b := shape[i], shape[i+1]
		d := math.Log(b.FrequencyHz / a.FrequencyHz)
		area += d * (a.Weight + b.Weight) / 2
		length += d
	}
	return area / length
}

// normalised is a shape scaled to a mean weight of 1, the weights rounded; as
// it is where it has no such mean.
func normalised(shape []Knot) []Knot {
	if len(shape) == 0 {
		return nil
	}
	mean := meanWeight(shape)
	if !(mean > 0) || math.IsInf(mean, 1) {
		return shape
	}
	out := make([]Knot, len(shape))
	for i, k := range shape {
		out[i] = Knot{k.FrequencyHz, math.Round(k.Weight/mean*weightDigits) / weightDigits}
	}
	return out
}
