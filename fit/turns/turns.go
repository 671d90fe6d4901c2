// Package turns works out what to wind: from measured coils of one bobbin, how many
// turns of which wire give a wanted peak in a guitar, inductance, resistance, or the
// peak of another coil, and what such a coil would do.
//
// The laws that carry a coil to another winding, each with its own uncertainty (law.go):
//
//	L  as the square of the turns, times a power of what the shape of the winding makes
//	   of it: the handbook inductance of a winding without pole pieces
//	   (winding.Plan.AirPerTurn2H);
//	R  as turns, mean turn length and the wire's resistance per metre;
//	C  weakly known: it follows turns and wire by exponents between those of the layer
//	   formula and none;
//	eddy currents as measured: shares and corners belong to the metal.
//
// With two or more coils the exponents are fitted, as deviations from the laws with
// what is known of them beforehand. The fits of the coils are taken to be independent: an
// added capacitor that they share is an error of all, which leaves the exponents alone.
package turns

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/harness"
	"coilsweep/fit/winding"
)

// Coil is a measured coil and how it was wound.
type Coil struct {
	Name    string
	Plan    winding.Plan // with its turns and the grade of its wire
	Celsius float64      // of its takes
	Fitted  fit.Uncertain
}

// Wish is what the coil to come shall have; one of its fields is set.
type Wish struct {
	Peak       *float64 // Hz, in the guitar
	Inductance *quantity.Inductance
	Resistance *quantity.Resistance
	Like       *harness.Coil // a coil whose peak in the guitar is wanted
	Turns      int           // with every wire
}

// Request is what is asked for.
type Request struct {
	Coils    []Coil // measured, of one bobbin; the first is the reference
	Guitar   harness.Harness
	Wish     Wish
	Wires    []exciter.Wire // to choose from; nil: standard sizes about the first coil's
	Grades   []int          // insulation builds to choose from; nil: both
	RoomM    float64        // depth of the bobbin's room; 0: as the coils state it
	SameReel bool           // wire of a measured coil's name comes from its reel
}

// Option is one wire with the turns that the wish needs, and the coil that it would be.
type Option struct {
	Wire   exciter.Wire
	Grade  int
	Turns  int          // rounded
	Needed fit.Quantity // turns
	WireM  float64      // length of wire
	DepthM float64      // of the winding
	Filled float64      // part of the room; above 1 it does not fit
	Tight  bool         // it fits with the usual packing, not with a loose one

	Inductance  fit.Quantity
	Resistance  fit.Quantity // at Sheet.Celsius
	Capacitance fit.Quantity // the coil's own
	Resonance   fit.Quantity // coil alone
	Q           fit.Quantity // coil alone
	harness.Sound
	// PeakFrom is the U95 of the peak frequency in Hz by where it comes from; nil where
	// there is no peak.
	PeakFrom *Shares
	Response []harness.Point
	// Circuit of the coil, without its uncertainty.
	Circuit circuit.Coil
	// FromWantedDB is the largest difference of the response from that of the coil whose
	// sound is wanted, plateau on plateau, up to 10 kHz; nil where none is wanted.
	FromWantedDB *float64
}

// Shares are the parts of an expanded uncertainty; their squares add up.
type Shares struct {
	Coils  float64 `json:"coils"`
	Laws   float64 `json:"laws"`
	Guitar float64 `json:"guitar"`
}

// Refusal is a wire with which the wish cannot be had, and why.
type Refusal struct {
	Wire  exciter.Wire
	Grade int
	Why   string
}

// Sheet is what to wind.
type Sheet struct {
	Coils    []string
	Guitar   string
	Wish     Wish
	Celsius  float64
	RoomM    float64
	RoomFrom string // where it comes from
	Laws     []Law
	Options  []Option
	Refused  []Refusal
	Wanted   []harness.Point // response of the coil whose sound is wanted
	WantedAt fit.Quantity    // its peak
	Assumed  []string        // what was not stated
	Warnings []string
}

const (
	uReel = winding.WireLimit / 1.7320508075688772
	// lossLimit bounds by how much the losses of the metal change with the winding about
	// it (typical value, no source).
	lossLimit = 0.1
	// leastTurns and mostTimes bound the search: from there to so many times what the
	// bobbin holds.
	leastTurns, mostTimes = 20, 20
	// widthOfSizes is how many standard sizes to either side of the coil's wire are shown.
	widthOfSizes = 3
	// unlikelyWidening is how much further than thought coils may lie from a law before
	// something is said.
	unlikelyWidening = 2
	// mostPacking is that of neatly nested layers (package exciter).
	mostPacking  = 1.15
	comparedToHz = 10e3
)

// own are the quantities of an option before those of the guitar.
var own = []fit.Sought{
	{}, {}, {}, // L, R, C
	{Missing: "no resonance (overdamped)", Frequency: true}, {Missing: "no resonance (overdamped)"},
}

// bench is a request made ready.
type bench struct {
	Request
	parts   []harness.Part
	hz      []float64
	coils   []circuit.Coil // as fitted
	u       [][properties]float64
	room    float64
	air     map[int]float64 // by depth: shapeAt
	celsius float64
}

// Plan works out the options. The errors are coils that cannot be used together, or
// whose own circuit is not known, and a wrong harness.
func Plan(q Request) (*Sheet, error) {
	b, s, err := prepare(q)
	if err != nil {
		return nil, err
	}
	want, uWant, err := b.wanted(s)
	if err != nil {
		return nil, err
	}
	for _, wire := range b.wires() {
		for _, grade := range b.grades() {
			w, err := wire.WithGrade(grade)
			if err != nil {
				return nil, err
			}
			o, why := b.option(w, want)
			if why != "" {
				s.Refused = append(s.Refused, Refusal{w, grade, why})
				continue
			}
			o.Grade = grade
			if err := b.predict(&o, s, want, uWant); err != nil {
				return nil, err
			}
			s.Options = append(s.Options, o)
		}
	}
	for of := range properties {
		samples := b.samples(of, b.packing())
		s.Laws = append(s.Laws, fittedLaws(of, samples)...)
		if inverse := system(of, samples); inverse != nil {
			if by := widening(of, samples, inverse); by > unlikelyWidening {
				s.Warnings = append(s.Warnings, fmt.Sprintf("the measured coils lie %.1f times as far from the law of %s "+
					"as it allows: check turns, wire and bobbin in coil.toml; U95 is made as much larger", by,
					[...]string{"L", "R", "C"}[of]))
			}
		}
	}
	return s, nil
}

// Check is the first thing that is wrong with what is stated, before any coil is fitted.
func (q Request) Check() error {
	if len(q.Coils) == 0 {
		return errors.New("there is no measured coil")
	}
	if n, err := q.Guitar.Check(); err != nil || n != 1 {
		return cmp.Or(err, errors.New("the harness is wired for two coils; this is about one"))
	}
	first := q.Coils[0]
	for _, c := range q.Coils {
		p := c.Plan
		switch {
		case p.Turns < 1:
			return fmt.Errorf("%s: coil.toml: winding.turns is missing: what to wind follows from it", c.Name)
		case p.Grade == 0:
			return fmt.Errorf("%s: coil.toml: winding.grade is missing: state the wire's insulation build, 1 or 2", c.Name)
		case p.CoreLengthM != first.Plan.CoreLengthM || p.CoreWidthM != first.Plan.CoreWidthM ||
			p.HeightM != first.Plan.HeightM:
			return fmt.Errorf("%s and %s have different bobbins: the laws hold for one bobbin", first.Name, c.Name)
		}
	}
	return nil
}

// prepare works out what all options share.
func prepare(q Request) (*bench, *Sheet, error) {
	if err := q.Check(); err != nil {
		return nil, nil, err
	}
	b := &bench{Request: q, air: map[int]float64{}, hz: harness.ShownFrequencies(), celsius: q.Coils[0].Celsius}
	if r := q.Wish.Resistance; r != nil && r.Celsius != nil {
		b.celsius = *r.Celsius
	}
	s := &Sheet{Guitar: q.Guitar.Name, Wish: q.Wish, Celsius: b.celsius}
	for _, c := range q.Coils {
		bare, err := c.Fitted.Bare()
		if err != nil {
			return nil, nil, fmt.Errorf("%s: %w", c.Name, err)
		}
		if err := q.Wish.known(c); err != nil {
			return nil, nil, err
		}
		b.coils = append(b.coils, bare)
		b.u = append(b.u, relativeU(c.Fitted))
		s.Coils = append(s.Coils, c.Name)
	}
	b.parts, s.Assumed = q.Guitar.Parts()
	b.findRoom(s)
	return b, s, nil
}

// known is the error for a coil of which that is not known which the wish needs: nothing
// follows from it then. What so many turns would be can be shown in part.
func (w Wish) known(c Coil) error {
	needs := []int{ofL, ofC}
	switch {
	case w.Turns > 0:
		return nil
	case w.Inductance != nil:
		needs = []int{ofL}
	case w.Resistance != nil:
		needs = []int{ofR}
	}
	values, err := fit.Propagate([]fit.Uncertain{c.Fitted}, nil, own[:properties],
		func(coils []circuit.Coil, _, dst []float64) {
			for of := range properties {
				dst[of] = valueOf(of, coils[0])
			}
		})
	if err != nil {
		return err
	}
	for _, of := range needs {
		if q := values[of]; !q.Known() {
			return fmt.Errorf("%s: the %s of the coil is not known: %s", c.Name,
				[...]string{"inductance", "resistance", "capacitance"}[of], q.Why)
		}
	}
	return nil
}

// findRoom is how deep a winding may be: as stated, or as deep as the deepest coil.
func (b *bench) findRoom(s *Sheet) {
	b.room, s.RoomFrom = b.RoomM, "as given"
	if b.room == 0 {
		s.RoomFrom = "coil.toml"
		for _, c := range b.Coils {
			b.room = max(b.room, c.Plan.RoomM)
		}
	}
	if b.room == 0 {
		s.RoomFrom = "assumed"
		for _, c := range b.Coils {
			b.room = max(b.room, c.Plan.DepthM(float64(c.Plan.Turns), winding.Packing))
		}
		s.Assumed = append(s.Assumed, fmt.Sprintf("the room on the bobbin is not stated (winding.room in coil.toml): "+
			"%s is assumed, as deep as the measured winding should be", quantity.Format(b.room, quantity.Metre, 2)))
	}
	s.RoomM = b.room
	if tight := b.tightest(); tight > mostPacking {
		s.Warnings = append(s.Warnings, fmt.Sprintf("a measured coil fills the room of %s to %.0f %%: its turns, its "+
			"wire, or the room is stated wrongly", quantity.Format(b.room, quantity.Metre, 2), 100*tight))
	}
}

// relativeU are the relative standard uncertainties of L, R and C by the fit.
func relativeU(c fit.Uncertain) (u [properties]float64) {
	carried := c.Carry(int(properties), func(bare circuit.Coil, dst []float64) {
		copy(dst, []float64{math.Log(bare.InductanceH), math.Log(bare.ResistanceOhm), math.Log(bare.CapacitanceF)})
	})
	for k, v := range carried.Variances {
		u[k] = math.Sqrt(v.Fit + v.Model)
	}
	return u
}

func (b *bench) wires() []exciter.Wire {
	if b.Wires != nil {
		return b.Wires
	}
	mine := b.Coils[0].Plan.Wire
	wires := []exciter.Wire{mine}
	standard := exciter.Standard()
	at, _ := slices.BinarySearch(standard, mine.BareM)
	for _, bare := range standard[max(at-widthOfSizes, 0):min(at+widthOfSizes+1, len(standard))] {
		if math.Abs(bare/mine.BareM-1) > 0.02 { // about the same wire
			wires = append(wires, exciter.Enamelled(bare))
		}
	}
	slices.SortFunc(wires, func(a, b exciter.Wire) int { return cmp.Compare(a.BareM, b.BareM) })
	return wires
}

func (b *bench) grades() []int {
	if b.Grades != nil {
		return b.Grades
	}
	return []int{1, 2}
}

// plan is a winding of wire on the bobbin.
func (b *bench) plan(wire exciter.Wire) winding.Plan {
	p := b.Coils[0].Plan
	p.Wire = wire
	return p
}

// holdsAt is how many turns of a wire fit with a packing.
func (b *bench) holdsAt(wire exciter.Wire, packing float64) float64 {
	return packing * b.room * b.Coils[0].Plan.HeightM / (wire.OuterM * wire.OuterM)
}

// packing is the usual one, or that of the tightest measured coil where the usual one
// would not have let it fit.
func (b *bench) packing() float64 {
	return min(max(winding.Packing, b.tightest()), mostPacking)
}

// tightest is the packing with which the fullest measured coil just fits.
func (b *bench) tightest() float64 {
	tightest := 0.0
	for _, c := range b.Coils {
		tightest = max(tightest, float64(c.Plan.Turns)/b.holdsAt(c.Plan.Wire, 1))
	}
	return tightest
}

// shape is the logarithm of the handbook inductance of a winding, over the square of
// its turns; NaN where the winding is too deep to be worked out. It depends on the
// depth alone, and is interpolated between depths that differ by a tenth (cubic,
// Lagrange; to about 1e-6).
func (b *bench) shape(p winding.Plan, turns, packing float64) float64 {
	const step = 0.1
	at := math.Log(p.DepthM(turns, packing)) / step
	from := int(math.Floor(at)) - 1
	sum := 0.0
	for i := from; i < from+4; i++ {
		weight := 1.0
		for j := from; j < from+4; j++ {
			if j != i {
				weight *= (at - float64(j)) / float64(i-j)
			}
		}
		sum += weight * b.shapeAt(p, i, step)
	}
	return sum
}

func (b *bench) shapeAt(p winding.Plan, i int, step float64) float64 {
	l, ok := b.air[i]
	if !ok {
		depth := math.Exp(step * float64(i))
		p.Wire.OuterM = depth // one turn of it is as deep
		h, err := p.AirPerTurn2H(0, winding.Packing)
		if l = math.Log(h); err != nil {
			l = math.NaN()
		}
		b.air[i] = l
	}
	return l
}

// sampleOf is a winding as the law of a property sees it.
func (b *bench) sampleOf(of int, p winding.Plan, turns, celsius, packing float64) sample {
	first := b.Coils[0].Plan
	ratio := math.Log(turns / float64(first.Turns))
	s := sample{value: math.NaN()}
	switch of {
	case ofL:
		shape := b.shape(p, turns, packing)
		s.law = 2*math.Log(turns) + shapePower*shape
		s.x = []float64{1, ratio, shape - b.shape(first, float64(first.Turns), packing)}
	case ofR:
		s.law, s.x = math.Log(p.OhmAt(turns, packing, celsius)), []float64{1, ratio}
	case ofC:
		s.x = []float64{1, ratio, math.Log(p.Wire.OuterM / first.Wire.OuterM)}
		s.law = turnsPowerC*s.x[1] + wirePowerC*s.x[2]
	}
	return s
}

// samples are the measured coils as the law of a property sees them.
func (b *bench) samples(of int, packing float64) []sample {
	var out []sample
	for i, c := range b.Coils {
		s := b.sampleOf(of, c.Plan, float64(c.Plan.Turns), c.Celsius, packing)
		s.value, s.u = math.Log(valueOf(of, b.coils[i])), b.u[i][of]
		s.reel = b.reel(c.Plan.Wire, i)
		out = append(out, s)
	}
	return out
}

// reel names the reel that a wire comes from: by the wire's name where it is the same,
// else each coil has one of its own.
func (b *bench) reel(w exciter.Wire, coil int) string {
	if b.SameReel {
		return w.Name
	}
	return fmt.Sprintf("%s of %d", w.Name, coil)
}

func valueOf(of int, c circuit.Coil) float64 {
	return [...]float64{c.InductanceH, c.ResistanceOhm, c.CapacitanceF}[of]
}

// next is a coil to come: how its circuit follows from those of the measured coils.
type next struct {
	b       *bench
	plan    winding.Plan
	turns   float64
	nearest int // of the measured coils by its turns: its losses are taken
	by      [properties]kriged
	reels   []string // that are known of, the coming one's included
}

func (b *bench) next(wire exciter.Wire, turns float64) next {
	n := next{b: b, plan: b.plan(wire), turns: turns}
	for i, c := range b.Coils {
		far := func(c Coil) float64 { return math.Abs(math.Log(turns / float64(c.Plan.Turns))) }
		if far(c) < far(b.Coils[n.nearest]) {
			n.nearest = i
		}
		n.reels = append(n.reels, b.reel(c.Plan.Wire, i))
	}
	n.reels = append(n.reels, b.reel(wire, -1))
	slices.Sort(n.reels)
	n.reels = slices.Compact(n.reels)
	for of := range n.by {
		s := b.sampleOf(of, n.plan, turns, b.celsius, b.packing())
		s.reel = b.reel(wire, -1)
		n.by[of] = krige(of, b.samples(of, b.packing()), s)
	}
	return n
}

// deviations are what circuit needs beside the measured coils, all factors about 1: the
// packing, the losses, then for each property its terms, the scatter of the coils and
// of the coming one, and for R the reels.
func (n next) deviations() []quantity.Value {
	about1 := func(u float64) quantity.Value {
		return quantity.Value{SI: 1, Half: 2 * u, Basis: quantity.Expanded} // k = 2
	}
	out := []quantity.Value{about1(winding.PackingLimit / winding.Packing / root3), about1(lossLimit / root3)}
	for of, k := range n.by {
		for i, t := range terms[of] {
			u := k.widen * t.u
			if i == 0 && unknownFactor(of) {
				u = 0 // it cancels
			}
			out = append(out, about1(u))
		}
		for range len(n.b.Coils) + 1 {
			out = append(out, about1(k.widen*scatter[of]))
		}
	}
	for range n.reels {
		out = append(out, about1(n.by[ofR].widen*uReel))
	}
	return out
}

// nominal are deviations that are none.
func (n next) nominal() []float64 { return slices.Repeat([]float64{1}, len(n.deviations())) }

// circuit is the coming coil, for circuits of the measured coils and deviations.
func (n next) circuit(coils []circuit.Coil, deviations []float64) circuit.Coil {
	b := n.b
	packing := b.packing() * deviations[0]
	loss := deviations[1]
	at := deviations[2:]
	take := func() float64 { d := at[0] - 1; at = at[1:]; return d }
	reels := map[string]float64{}
	for i, name := range n.reels {
		reels[name] = deviations[len(deviations)-len(n.reels)+i] - 1
	}
	var value [properties]float64
	for of, k := range n.by {
		off := make([]float64, len(terms[of]))
		for i := range off {
			off[i] = take()
		}
		departs := func(s sample, own float64) float64 {
			for i, x := range s.x {
				own += x * off[i]
			}
			if of == ofR {
				own += reels[s.reel]
			}
			return own
		}
		sum := 0.0
		for i, c := range b.Coils {
			s := b.sampleOf(of, c.Plan, float64(c.Plan.Turns), c.Celsius, packing)
			s.reel = b.reel(c.Plan.Wire, i)
			sum += k.weights[i] * (math.Log(valueOf(of, coils[i])) - s.law - departs(s, take()))
		}
		s := b.sampleOf(of, n.plan, n.turns, b.celsius, packing)
		s.reel = b.reel(n.plan.Wire, -1)
		value[of] = math.Exp(s.law + sum + departs(s, take()))
	}
	c := coils[n.nearest]
	c.InductanceH, c.ResistanceOhm, c.CapacitanceF = value[ofL], value[ofR], value[ofC]
	c.Rings = slices.Clone(c.Rings)
	for i := range c.Rings {
		c.Rings[i].Share *= loss
	}
	c.Cylinder.Share *= loss
	return c
}
