package pair

import (
	"errors"
	"math"
	"slices"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/harness"
	"coilsweep/fit/joint"
)

// InGuitar is what one connection of the pair does in a guitar.
type InGuitar struct {
	// Wiring is "series", "parallel", "split" or "partial split".
	Wiring string `json:"wiring"`
	// Phase of the coils for the strings: "in" or "out"; "" where one coil sounds.
	Phase string `json:"phase,omitempty"`
	// Coil is the one that sounds in a split, and alone is not bridged in a partial one.
	Coil string `json:"coil,omitempty"`
	// Part is that from the junction to ground in a partial split.
	Part string `json:"part,omitempty"`
	harness.Sound
	Response []harness.Point `json:"-"`
}

// Partial is the part of a partial split, from the junction of the coils to ground: a
// resistor or a capacitor.
type Partial struct{ quantity.Value }

// ErrNotBalanced: what strings do in both coils is not known without the balance.
var ErrNotBalanced = errors.New("what the connections do in a guitar follows from the balance of the halves: " +
	balanceMissing)

// errOneCoil: the guitar has a wiring of its own.
var errOneCoil = errors.New("the guitar is wired for two coils; a pair brings its own connections: leave wiring out")

// connection is a variant of the guitar.
type connection struct {
	shown InGuitar
	alter func(h *circuit.Harness, partial float64)
	swap  bool // the second coil is the one that sounds
	out   bool
}

// connections are all that are shown; the names are the coils'.
func connections(names [2]string, partial *Partial) []connection {
	wired := func(w circuit.Wiring) func(*circuit.Harness, float64) {
		return func(h *circuit.Harness, _ float64) { h.Wiring = w }
	}
	list := []connection{
		{shown: InGuitar{Wiring: "series", Phase: "in"}, alter: wired(circuit.InSeries)},
		{shown: InGuitar{Wiring: "parallel", Phase: "in"}, alter: wired(circuit.InParallel)},
		{shown: InGuitar{Wiring: "split", Coil: names[0]}, alter: wired(circuit.Split)},
		{shown: InGuitar{Wiring: "split", Coil: names[1]}, alter: wired(circuit.Split), swap: true},
	}
	if partial != nil {
		part := func(h *circuit.Harness, si float64) {
			h.Wiring = circuit.InSeries
			h.Junction = &circuit.Load{ResistanceOhm: math.Inf(1), CapacitanceF: si}
			if partial.Unit == quantity.Ohm {
				h.Junction = &circuit.Load{ResistanceOhm: si}
			}
		}
		for i, name := range names {
			list = append(list, connection{alter: part, swap: i == 1,
				shown: InGuitar{Wiring: "partial split", Phase: "in", Coil: name, Part: partial.String()}})
		}
	}
	return append(list,
		connection{shown: InGuitar{Wiring: "series", Phase: "out"}, alter: wired(circuit.InSeries), out: true},
		connection{shown: InGuitar{Wiring: "parallel", Phase: "out"}, alter: wired(circuit.InParallel), out: true})
}

// mostU95DB is the largest U95 of a level that means anything.
const mostU95DB = 6

// InGuitar works out what the connections do in the guitar h, and keeps it in r.Guitar: the
// same string gives each coil a signal by its turns and area, and the magnets are
// opposed, so that the connection that cancels hum has the strings in phase. It brings what
// was assumed of the guitar into r.Warnings. partial nil: no partial split. The errors are
// ErrNotBalanced and a mistake in h.
func (r *Result) InGuitar(h harness.Harness, partial *Partial) error {
	f := r.fitted
	coils, err := h.Check()
	place := f.balanced()
	switch {
	case err != nil:
		return err
	case coils != 1:
		return errOneCoil
	case place < 0:
		return ErrNotBalanced
	}
	parts, assumed := h.Parts()
	names := [2]string{r.Halves[0].Name, r.Halves[1].Name}
	list := connections(names, partial)
	values := make([]quantity.Value, 0, len(parts)+1)
	for _, p := range parts {
		values = append(values, p.Value)
	}
	if partial != nil {
		v, said := joint.WithTolerance("the part of the partial split,", partial.Value)
		if values = append(values, v); said != "" {
			assumed = append(assumed, said)
		}
	}
	hz := frequencies()
	each := len(harness.Sought(len(hz)))
	sizes := make([]float64, len(values))
	for i, v := range values {
		sizes[i] = v.SI
	}
	evaluate := func(x, at, dst []float64) {
		p, ratio := f.pair(x), f.ratio(x, place)
		for i, c := range list {
			halves, shared := p.Coils, p.Shared
			emf := [2]float64{1, -ratio}
			if c.swap {
				halves[0], halves[1] = halves[1], halves[0]
				emf[0], emf[1] = emf[1], emf[0]
			}
			part := 0.0
			if partial != nil {
				part = at[len(parts)]
			}
			h.EvaluateAs(halves[:1], func(b *circuit.Harness) {
				b.Coils = []circuit.HarnessCoil{{Coil: halves[0], EMF: emf[0]},
					{Coil: halves[1], EMF: emf[1], Reversed: (ratio > 0) != c.out}}
				b.Coupling, b.BetweenF, b.GroundF, b.Lay = p.Coupling, p.BetweenF, p.GroundF, p.Lay
				b.Shared = share(b.Coils, shared)
				c.alter(b, part)
			}, parts, at, hz, dst[each*i:each*(i+1)])
		}
	}
	count := each * len(list)
	value, variances := f.spreadOf(count, f.circuitColumns(), func(x, dst []float64) { evaluate(x, sizes, dst) })
	up, down := make([]float64, count), make([]float64, count)
	moved := slices.Clone(sizes)
	for i, v := range values {
		if v.U() == 0 {
			continue
		}
		const step = 1e-4
		moved[i] = v.SI * (1 + step)
		evaluate(f.x, moved, up)
		moved[i] = v.SI * (1 - step)
		evaluate(f.x, moved, down)
		moved[i] = v.SI
		for k := range variances {
			u := (up[k] - down[k]) / (2 * step) * v.U() / v.SI
			variances[k].Fit += u * u
		}
	}
	// The field's sameness is that of the signals.
	shifted := slices.Clone(f.x)
	shifted[f.place+ofPlace*place] *= 1 + f.fieldU()
	evaluate(shifted, sizes, up)
	for k := range variances {
		if u := up[k] - value[k]; !math.IsNaN(u) {
			variances[k].Fit += u * u
		}
	}
	r.Guitar = r.Guitar[:0]
	for i, c := range list {
		var known []fit.Quantity
		for k, s := range harness.Sought(len(hz)) {
			q := variances[each*i+k].Judge(value[each*i+k], s, "it follows from what the takes do not tell")
			if s.Decibel && q.Known() && q.U95 > mostU95DB {
				q = fit.Unknown("undetermined: the coils nearly cancel, and what is left depends on how nearly")
			}
			known = append(known, q)
		}
		shown := c.shown
		shown.Sound, shown.Response = harness.NewSound(known, hz)
		r.Guitar = append(r.Guitar, shown)
	}
	r.Warnings = append(r.Warnings, assumed...)
	return nil
}

// share makes what two coils share a coupling of the second to the first's loops, and takes
// it off the second's own loops: the metal of a loop of the second is then that of the
// first's as far as they share it.
func share(coils []circuit.HarnessCoil, shared []circuit.Ring) (by []float64) {
	coils[1].Rings = slices.Clone(coils[1].Rings)
	for k, first := range coils[0].Rings {
		second := &coils[1].Rings[k]
		most := math.Sqrt(first.Share * second.Share)
		amount := max(-most, min(most, shared[k].Share))
		by = append(by, amount)
		if first.Share > 0 {
			second.Share -= amount * amount / first.Share
		}
	}
	return by
}

// frequencies are those of the curves.
func frequencies() []float64 { return every(harness.ShownFrequencies(), 2) }
