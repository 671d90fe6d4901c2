package turns

import (
	"errors"
	"fmt"
	"math"

	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/harness"
	"coilsweep/fit/winding"
)

// at is where the wish stands among the quantities of an option.
func (w Wish) at() int {
	switch {
	case w.Inductance != nil:
		return ofL
	case w.Resistance != nil:
		return ofR
	}
	return len(own) // the peak
}

// Unit of what is wished for.
func (w Wish) Unit() quantity.Unit {
	return map[int]quantity.Unit{ofL: quantity.Henry, ofR: quantity.Ohm, len(own): quantity.Hertz}[w.at()]
}

// wanted is the value of the wish with its own uncertainty.
func (b *bench) wanted(s *Sheet) (value, u float64, err error) {
	switch w := b.Wish; {
	case w.Inductance != nil:
		return w.Inductance.SI, w.Inductance.U(), nil
	case w.Resistance != nil:
		return w.Resistance.SI, w.Resistance.U(), nil
	case w.Peak != nil:
		return *w.Peak, 0, nil
	case w.Turns > 0:
		return float64(w.Turns), 0, nil
	case w.Like != nil:
		p, err := b.Guitar.Preview([]harness.Coil{*w.Like})
		if err != nil {
			return 0, 0, err
		}
		if !p.Peak.Known() {
			return 0, 0, fmt.Errorf("%s has no peak in this guitar to aim at: %s", w.Like.Name, p.Peak.Why)
		}
		s.Wanted, s.WantedAt = p.Response, p.Peak
		return p.Peak.Value, p.Peak.U, nil
	}
	return 0, 0, errors.New("nothing is asked for: a peak, an inductance, a resistance, turns or another coil's sound")
}

// quantities writes L, R, C, resonance and Q of a coil, and what the guitar does with it.
func (b *bench) quantities(c circuit.Coil, parts, hz, dst []float64) {
	dst[0], dst[1], dst[2] = c.InductanceH, c.ResistanceOhm, c.CapacitanceF
	dst[3], dst[4] = math.NaN(), math.NaN()
	if math.IsNaN(c.InductanceH) {
		for i := range dst {
			dst[i] = math.NaN()
		}
		return
	}
	if f, q, ok := c.Resonance(circuit.Load{ResistanceOhm: math.Inf(1)}); ok {
		dst[3], dst[4] = f, q
	}
	b.Guitar.Evaluate([]circuit.Coil{c}, b.parts, parts, hz, dst[len(own):])
}

// sizes of the guitar's parts.
func (b *bench) sizes() []float64 {
	var s []float64
	for _, p := range b.parts {
		s = append(s, p.Value.SI)
	}
	return s
}

// reached is what the wish is about, for turns of a wire.
func (b *bench) reached(wire exciter.Wire, turns float64) float64 {
	n := b.next(wire, turns)
	c, at := n.circuit(b.coils, n.nominal()), b.Wish.at()
	if at < properties && !math.IsNaN(c.InductanceH) {
		return valueOf(at, c) // whatever the guitar
	}
	dst := make([]float64, len(own)+len(harness.Sought(0)))
	b.quantities(c, b.sizes(), nil, dst)
	return dst[at]
}

// option finds the turns of a wire for the wish. why says what keeps it from being had.
func (b *bench) option(wire exciter.Wire, want float64) (o Option, why string) {
	packing := b.packing()
	holds := b.holdsAt(wire, packing)
	if holds < leastTurns || wire.OuterM > b.room {
		return o, fmt.Sprintf("the bobbin holds %.0f turns of it", holds)
	}
	turns, reach := want, ""
	if b.Wish.Turns == 0 {
		turns, reach = b.search(wire, want, holds)
	}
	unit := b.Wish.Unit()
	if math.IsNaN(turns) {
		return o, reach
	}
	p := b.plan(wire)
	filled := turns / holds
	if filled > 1 && b.Wish.Turns > 0 {
		return o, fmt.Sprintf("the bobbin holds %.0f turns of it", holds)
	}
	if filled > 1 {
		return o, fmt.Sprintf("%.0f turns are needed for %s, and the bobbin holds %.0f%s", turns,
			quantity.Format(want, unit, 3), holds, b.best(wire, holds))
	}
	whole := max(1, math.Round(turns))
	o = Option{Wire: wire, Turns: int(whole), Needed: fit.Quantity{Value: turns}, WireM: whole * p.MeanTurnM(whole),
		DepthM: p.DepthM(whole, packing), Filled: filled,
		Tight: turns > b.holdsAt(wire, packing*(1-winding.PackingLimit/winding.Packing))}
	return o, ""
}

// best is what a full bobbin of a wire reaches.
func (b *bench) best(wire exciter.Wire, holds float64) string {
	if at := b.reached(wire, holds); !math.IsNaN(at) {
		return fmt.Sprintf(": full, it reaches %s", quantity.Format(at, b.Wish.Unit(), 3))
	}
	return ""
}

// search finds the turns that reach the wish, up to mostTimes of what the bobbin holds.
// reach says what was found where it is not.
func (b *bench) search(wire exciter.Wire, want, holds float64) (turns float64, reach string) {
	const steps = 48
	turns, lowest, highest := harness.Reach(func(n float64) float64 { return b.reached(wire, n) }, want, leastTurns,
		mostTimes*holds, steps, 1e-3)
	if !math.IsNaN(turns) {
		return turns, ""
	}
	unit := b.Wish.Unit()
	if math.IsInf(lowest, 1) {
		return math.NaN(), "there is no peak, whatever the turns: the losses or the guitar's load damp it"
	}
	return math.NaN(), fmt.Sprintf("from %d turns up it moves between %s and %s: %s is out of reach", leastTurns,
		quantity.Format(lowest, unit, 3), quantity.Format(highest, unit, 3), quantity.Format(want, unit, 3))
}

// predict fills in what the option would do, each quantity with its uncertainty.
func (b *bench) predict(o *Option, s *Sheet, want, uWant float64) error {
	n := b.next(o.Wire, float64(o.Turns))
	o.Circuit = n.circuit(b.coils, n.nominal())
	laws := n.deviations()
	var guitar []quantity.Value
	for _, p := range b.parts {
		guitar = append(guitar, p.Value)
	}
	var fitted []fit.Uncertain
	for _, c := range b.Coils {
		fitted = append(fitted, c.Fitted)
	}
	exact := func(values []quantity.Value) []quantity.Value {
		out := append([]quantity.Value{}, values...)
		for i := range out {
			out[i].Half = 0
		}
		return out
	}
	propagate := func(laws, guitar []quantity.Value, hz []float64) ([]fit.Quantity, error) {
		sought := append(append([]fit.Sought{}, own...), harness.Sought(len(hz))...)
		return fit.Propagate(fitted, append(append([]quantity.Value{}, laws...), guitar...), sought,
			func(coils []circuit.Coil, values, dst []float64) {
				b.quantities(n.circuit(coils, values[:len(laws)]), values[len(laws):], hz, dst)
			})
	}
	all, err := propagate(laws, guitar, b.hz)
	if err != nil {
		return err
	}
	o.Inductance, o.Resistance, o.Capacitance, o.Resonance, o.Q = all[0], all[1], all[2], all[3], all[4]
	o.Sound, o.Response = harness.NewSound(all[len(own):], b.hz)
	if o.Peak.Known() {
		coils, err := propagate(exact(laws), exact(guitar), nil)
		if err != nil {
			return err
		}
		both, err := propagate(laws, exact(guitar), nil)
		if err != nil {
			return err
		}
		at := len(own)
		rest := func(a, b float64) float64 { return math.Sqrt(math.Max(0, a*a-b*b)) }
		o.PeakFrom = &Shares{Coils: coils[at].U95, Laws: rest(both[at].U95, coils[at].U95),
			Guitar: rest(all[at].U95, both[at].U95)}
	}
	if b.Wish.Turns == 0 {
		b.needed(o, all[b.Wish.at()], want, uWant)
	}
	if s.Wanted != nil {
		o.FromWantedDB = apart(o.Response, s.Wanted)
	}
	return nil
}

// needed gives the turns their uncertainty: that of what is reached, over its slope.
func (b *bench) needed(o *Option, reached fit.Quantity, want, uWant float64) {
	const step = 0.01
	n := o.Needed.Value
	slope := (b.reached(o.Wire, n*(1+step)) - b.reached(o.Wire, n*(1-step))) / (2 * step * n)
	u := math.Hypot(reached.U, uWant) / math.Abs(slope)
	if !reached.Known() || math.IsNaN(u) || u > 0.5*n {
		o.Needed = fit.Unknown(fmt.Sprintf("it is known too poorly at how many turns %s is reached",
			quantity.Format(want, b.Wish.Unit(), 3)))
		return
	}
	o.Needed = quantityOf(n, u)
}

// apart is the largest difference of two responses, plateau on plateau, in dB; nil where
// they are not known together.
func apart(a, b []harness.Point) *float64 {
	most := -1.0
	for i, p := range a {
		off := math.Abs(p.LevelDB.Value - a[0].LevelDB.Value - b[i].LevelDB.Value + b[0].LevelDB.Value)
		if p.FrequencyHz <= comparedToHz && off > most { // NaN is not
			most = off
		}
	}
	if most < 0 {
		return nil
	}
	return &most
}
