// Package consistency compares the takes of a coil with each other before any
// circuit is fitted: does what is stated to be connected show in the resonances as
// it must? A capacitor that was forgotten, a value off by a power of ten, labels that
// were swapped leave a signature of their own, and a fit could only say that no
// circuit explains the takes.
//
// 1/w² of the resonance is a line over the added capacitance, whatever the coil
// (Bureau of Standards Circular 74, 1924); peaks give it within a few per cent.
package consistency

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit/response"
)

// Take is a take with its response.
type Take struct {
	Name     string
	Load     capture.Load
	Response *response.Response
}

// Kind is what is wrong with a take, as a flag of it.
type Kind string

const (
	// SameAs: the part that is stated has no effect against another take; the flag
	// is this with the name of that take behind it.
	SameAs Kind = "same-as"
	// Swapped: the take and another have each other's parts; as SameAs.
	Swapped Kind = "swapped-with"
	// PartDoubted: the part has the effect of one of another size.
	PartDoubted Kind = "part-doubted"
)

// Finding is something stated of takes that their resonances contradict.
type Finding struct {
	Kind Kind
	// Takes are those in question, the first of them or all as Kind says; With is the
	// take that SameAs and Swapped compare with.
	Takes []string
	With  string
	// LeaveOut: it is clear that what is stated of Takes is wrong, and they are of
	// no use with it.
	LeaveOut bool
	Text     string // what is seen, as a clause; what to do after a colon
}

// Flag is the flag of the takes in question.
func (f Finding) Flag() string {
	if f.With == "" {
		return string(f.Kind)
	}
	return string(f.Kind) + " " + f.With
}

// Concerns tells whether the take called name is in question.
func (f Finding) Concerns(name string) bool { return f.With == name || slices.Contains(f.Takes, name) }

// IsFlag tells whether the flag of a take is that of a Finding.
func IsFlag(flag string) bool {
	kind, _, _ := strings.Cut(flag, " ")
	switch Kind(kind) {
	case SameAs, Swapped, PartDoubted:
		return true
	}
	return false
}

const (
	// mostC is more than a coil and its cable have (typical, no source): what an
	// added capacitor shifts at least follows from it. leastC is less than they have.
	mostC, leastC = 1e-9, 15e-12
	// noEffect is the share of that least shift below which there is none.
	noEffect = 0.15
	// leastApart is by how much more capacitance on another fixture must show.
	leastApart = 100e-12
	// dampsOhm is the greatest added resistor whose effect on the peak must show,
	// and sameHeight how little that may be, as a ratio.
	dampsOhm, sameHeight = 2.2e6, 0.01
	// byResistor is how far a resistor may move the undamped resonance, as a logarithm:
	// with eddy currents, too.
	byResistor = 0.35
	// misfit is how far 1/w² may be off the line for peaks and tolerances, relative,
	// and explained the share of it that a right explanation leaves.
	misfit, explained = 0.1, 0.15
	// falling is how much lower 1/w² must be where more is connected.
	falling = 0.02
	// mostCoilC is more than the own capacitance of any pickup (typical, no source).
	mostCoilC = 1.2e-9
)

// Check compares takes. Those without a response or a resonance in it say nothing.
func Check(takes []Take) []Finding {
	var all []seen
	for _, t := range takes {
		if t.Response == nil {
			continue
		}
		if r, ok := resonanceOf(t.Response); ok {
			all = append(all, seen{Take: t, resonance: r})
		}
	}
	same := sameAs(all)
	all = slices.DeleteFunc(all, func(s seen) bool {
		return slices.ContainsFunc(same, func(f Finding) bool { return f.Takes[0] == s.Name })
	})
	return slices.Concat(same, undamped(all), offLine(all))
}

// seen is a take with its resonance.
type seen struct {
	Take
	resonance
}

func (s seen) addedC() float64 {
	if s.Load.AddedC == nil {
		return 0
	}
	return s.Load.AddedC.SI
}

// conductance is that of the added resistor.
func (s seen) conductance() float64 {
	if s.Load.AddedR == nil {
		return 0
	}
	return 1 / s.Load.AddedR.SI
}

// added says what is stated to be connected.
func (s seen) added() string {
	var parts []string
	if s.Load.AddedC != nil {
		parts = append(parts, s.Load.AddedC.String())
	}
	if s.Load.AddedR != nil {
		parts = append(parts, s.Load.AddedR.String())
	}
	if parts == nil {
		return "nothing"
	}
	return strings.Join(parts, " and ")
}

func comparable(a, b seen) bool { return Comparable(a.Load, b.Load) }

// Comparable tells whether what is stated says by how much the capacitances of two loads
// differ: the fixture's is stated in both, or it is one fixture, as far as is stated.
func Comparable(a, b capture.Load) bool {
	return a.FixtureC != nil && b.FixtureC != nil || SameFixture(a, b)
}

// SameFixture tells whether the same fixture is stated in both loads.
func SameFixture(a, b capture.Load) bool {
	same := func(x, y quantity.Value) bool { return x.SI == y.SI }
	c, d, r, s := a.FixtureC, b.FixtureC, a.FixtureR, b.FixtureR
	return (c == nil) == (d == nil) && (c == nil || same(c.Value, d.Value)) &&
		(r == nil) == (s == nil) && (r == nil || same(r.Value, s.Value))
}

// fixtureC is the fixture's capacitance; 0: it is not stated.
func (s seen) fixtureC() float64 {
	if s.Load.FixtureC == nil {
		return 0
	}
	return s.Load.FixtureC.SI
}

// besideC is what a take has in capacitance over another with nothing added: what is added,
// and by how much more its fixture has.
func (s seen) besideC(other seen) float64 { return s.addedC() + s.fixtureC() - other.fixtureC() }

// sameAs finds takes whose added part has no effect. Each is named with the take that
// it is like, with as little else as can be.
func sameAs(all []seen) (found []Finding) {
	less := func(a, b seen) bool { return a.besideC(b)+1e-6*a.conductance() < b.addedC()+1e-6*b.conductance() }
	for i, more := range all {
		for j, other := range all {
			if i == j || !comparable(more, other) || !less(other, more) || !alike(more, other) ||
				slices.ContainsFunc(found, func(f Finding) bool { return f.Takes[0] == more.Name || f.Takes[0] == other.Name }) {
				continue
			}
			f := Finding{Kind: SameAs, Takes: []string{more.Name}, With: other.Name, LeaveOut: true,
				Text: sameText(more, other)}
			// A third take tells which of the two it is.
			for _, third := range all {
				if SameFixture(third.Load, other.Load) && SameFixture(third.Load, more.Load) &&
					third.conductance() == other.conductance() &&
					third.addedC() > other.addedC() && third.addedC() < more.addedC() && third.hz > 1.02*other.hz {
					f.Takes, f.With, f.Text = []string{other.Name}, more.Name, sameText(other, more)
				}
			}
			found = append(found, f)
		}
	}
	return found
}

// sameText says that take s has the resonance of another.
func sameText(s, other seen) string {
	if !SameFixture(s.Load, other.Load) {
		return fmt.Sprintf("take %s has the resonance of take %s, although %s more is stated to be across the coil, the "+
			"fixture included: check what was connected, and record the take again or correct what is stated", s.Name,
			other.Name, quantity.Format(s.besideC(other)-other.addedC(), quantity.Farad, 2))
	}
	return fmt.Sprintf("take %s has the resonance of take %s with %s added, although %s is stated to be added: check "+
		"what was connected, and record the take again or correct what is stated", s.Name, other.Name, other.added(),
		s.added())
}

// alike tells whether two takes with different parts have one resonance.
func alike(more, less seen) bool {
	shift := math.Abs(math.Log(less.hz / more.hz))
	if c, d := more.besideC(less), less.addedC(); !SameFixture(more.Load, less.Load) {
		// Their tolerances, and what damping does, must not look like no effect.
		apart := leastApart + 2*(more.Load.FixtureC.Half+less.Load.FixtureC.Half)
		return c-d > apart && shift < noEffect*0.5*math.Log((mostC+c)/(mostC+d))
	} else if c != d {
		return shift < noEffect*0.5*math.Abs(math.Log((mostC+c)/(mostC+d)))
	}
	by := math.Abs(more.conductance() - less.conductance())
	return by > 1/dampsOhm && shift < 1e-3 && math.Abs(more.height/less.height-1) < sameHeight
}

// undamped finds takes with a resistor more than another that do what no resistor does:
// raise the peak, or move the resonance.
func undamped(all []seen) (found []Finding) {
	for _, more := range all {
		for _, other := range all {
			if !SameFixture(more.Load, other.Load) || more.addedC() != other.addedC() ||
				more.conductance() <= other.conductance() {
				continue
			}
			if math.Abs(math.Log(more.hz/other.hz)) > byResistor || more.height > (1+5*sameHeight)*other.height {
				found = append(found, Finding{Kind: PartDoubted, Takes: []string{more.Name}, Text: fmt.Sprintf(
					"take %s differs from take %s as no resistor of %s makes it: check which take is which, and correct what "+
						"is stated", more.Name, other.Name, more.Load.AddedR)})
				break
			}
		}
	}
	return found
}

// offLine finds parts that are not what they are stated to be by the line of 1/w²
// over the added capacitance, of takes that differ in that alone.
func offLine(all []seen) (found []Finding) {
	for len(all) > 0 {
		var group, rest []seen
		for _, s := range all {
			if comparable(s, all[0]) && s.conductance() == all[0].conductance() {
				group = append(group, s)
			} else {
				rest = append(rest, s)
			}
		}
		found, all = append(found, lineOf(group)...), rest
	}
	return found
}

// hypothesis is another reading of what was connected.
type hypothesis struct {
	c      []float64 // of the takes
	left   float64   // what it leaves of 1/w², relative
	takes  []int
	factor float64 // of the part; 0: the labels of two takes are swapped
}

// factors are how a value is misread or a part mistaken: by a power of ten, or two
// parts in series or in parallel in place of one.
var factors = []float64{0.1, 0.5, 2, 10}

func lineOf(group []seen) []Finding {
	n := len(group)
	stated, y := make([]float64, n), make([]float64, n)
	for i, s := range group {
		stated[i], y[i] = s.besideC(group[0]), 1/(s.hz*s.hz)
	}
	mixed, unsure := false, 0.0 // of several fixtures, whose tolerances are no misfit
	for _, s := range group {
		if !SameFixture(s.Load, group[0].Load) {
			mixed = true
		}
	}
	for i := 0; mixed && i < n; i++ {
		unsure = max(unsure, group[i].Load.FixtureC.Half)
	}
	lever := slices.Max(stated) - slices.Min(stated)
	if lever == 0 || mixed && lever < leastApart+4*unsure {
		return nil
	}
	slope, crossing, left := line(stated, y)
	if mixed && slope > 0 && left < misfit+unsure*slope/slices.Min(y) {
		return nil
	}
	if slope > 0 && left < misfit {
		return implausible(group, crossing)
	}
	var best []hypothesis
	consider := func(h hypothesis) {
		slope, crossing, left := line(h.c, y)
		if h.left = left; slope > 0 && crossing > leastC && left < explained*misfit {
			best = append(best, h)
		}
	}
	for i := range group {
		for j := range i {
			if c := slices.Clone(stated); group[i].addedC() != group[j].addedC() && c[i] != c[j] &&
				(c[i]-c[j])*(y[i]-y[j]) < -falling*math.Abs(c[i]-c[j])*y[i] {
				swap := group[j].addedC() - group[i].addedC()
				c[i], c[j] = c[i]+swap, c[j]-swap
				consider(hypothesis{c: c, takes: []int{j, i}})
			}
		}
	}
	if len(best) == 0 {
		for i := range group {
			for _, k := range factors {
				if c := slices.Clone(stated); group[i].addedC() > 0 {
					c[i] += (k - 1) * group[i].addedC()
					consider(hypothesis{c: c, takes: []int{i}, factor: k})
				}
			}
		}
	}
	if len(best) == 0 {
		return disordered(group)
	}
	slices.SortStableFunc(best, func(a, b hypothesis) int { return cmp.Compare(a.left, b.left) })
	best = slices.DeleteFunc(best, func(h hypothesis) bool { return h.left > max(5*best[0].left, 0.25*explained*misfit) })
	var f Finding
	var texts []string
	for _, h := range best {
		of := group[h.takes[0]]
		if h.factor == 0 {
			with := group[h.takes[1]]
			f.Kind, f.Takes, f.With = Swapped, []string{of.Name}, with.Name
			texts = append(texts, fmt.Sprintf("takes %s and %s have the resonances of each other", of.Name, with.Name))
			continue
		}
		f.Kind = PartDoubted
		f.Takes = append(f.Takes, of.Name)
		texts = append(texts, fmt.Sprintf("%s in take %s has the effect of %s", of.added(), of.Name,
			quantity.Format(h.factor*of.addedC(), quantity.Farad, 2)))
	}
	if f.Kind == Swapped && len(best) > 1 {
		f.Takes, f.With = []string{group[best[0].takes[0]].Name}, group[best[0].takes[1]].Name
	}
	f.Text = strings.Join(texts, ", or ") + ": check the parts and which take is which, and correct what is stated"
	f.LeaveOut = f.Kind == PartDoubted && len(f.Takes) == 1 && n >= 4
	return []Finding{f}
}

// disordered names takes whose resonance rises where more is connected.
func disordered(group []seen) []Finding {
	for _, a := range group {
		for _, b := range group {
			if a.besideC(b) < b.addedC() && b.hz > (1+falling/2)*a.hz {
				return []Finding{{Kind: PartDoubted, Takes: []string{a.Name, b.Name}, Text: fmt.Sprintf(
					"take %s has a higher resonance than take %s, although more is stated to be connected: check which take "+
						"is which, and correct what is stated", b.Name, a.Name)}}
			}
		}
	}
	return nil
}

// implausible judges the capacitance that a line without contradiction leaves to the
// coil: it tells parts apart that are all off in one direction, or the only one.
//
// Without a take to which nothing is added, tolerances make too much of it.
func implausible(group []seen, crossing float64) []Finding {
	if !slices.ContainsFunc(group, func(s seen) bool { return s.addedC() == 0 }) {
		return nil
	}
	least, known := 0.0, 0.0
	if c := group[0].Load.FixtureC; c != nil {
		known = c.SI
		least = 0.6 * (known - c.Half)
	}
	least = max(least, leastC)
	var names []string
	for _, s := range group {
		if s.addedC() > 0 {
			names = append(names, s.Name)
		}
	}
	text := ""
	switch {
	case crossing < least:
		text = "shifts the resonance more than it can"
	case crossing > known+mostCoilC:
		text = "shifts the resonance less than it must"
	default:
		return nil
	}
	one := group[slices.IndexFunc(group, func(s seen) bool { return s.Name == names[0] })]
	return []Finding{{Kind: PartDoubted, Takes: names, Text: fmt.Sprintf("%s in take %s %s (%s would be left for coil "+
		"and cable): check its value", one.added(), one.Name, text, quantity.Format(max(crossing, 0), quantity.Farad, 2))}}
}

// line lays a straight line through y over c, of least relative squares. crossing is
// where it meets zero, to the left; left is the largest relative distance from it.
func line(c, y []float64) (slope, crossing, left float64) {
	var s, sx, sxx, sy, sxy float64
	for i, x := range c {
		w := 1 / (y[i] * y[i])
		s += w
		sx += w * x
		sxx += w * x * x
		sy += w * y[i]
		sxy += w * x * y[i]
	}
	slope = (s*sxy - sx*sy) / (s*sxx - sx*sx)
	offset := (sy - slope*sx) / s
	for i, x := range c {
		left = max(left, math.Abs(offset+slope*x-y[i])/y[i])
	}
	return slope, offset / slope, left
}
