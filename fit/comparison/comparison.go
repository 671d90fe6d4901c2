package comparison

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"coilsweep/fit"
)

// Comparison is coils against one of them, the reference.
type Comparison struct {
	Coils     []Coil
	Reference int // index into Coils
	Rows      []Row
	// Remarks name assumptions, such as correlations.
	Remarks []string
}

// Row is one property of all coils, in the order of Coils.
type Row struct {
	Property
	Values      []fit.Quantity
	Differences []Difference
}

// Difference is how far a coil is from the reference.
type Difference struct {
	// Delta is coil minus reference; unknown for the reference itself and
	// where either is unknown.
	Delta fit.Quantity
	// Percent is Delta over the reference; NaN where that means nothing.
	Percent float64
	En      *float64
	Verdict Verdict
}

// Verdict says what a difference means.
type Verdict string

// The verdicts.
const (
	IsReference Verdict = "reference"
	Agrees      Verdict = "agrees"  // |En| <= 1
	Differs     Verdict = "differs" // |En| > 1
	Open        Verdict = "?"       // not both are known
)

// ErrTooFew: there is nothing to compare.
var ErrTooFew = errors.New("at least two coils are needed to compare")

// Compare compares coils with coils[reference]. With sameBench the errors of
// parts that both coils name alike count as the same errors, which cancel in the
// difference as far as both coils feel them alike: the contributions of a part to
// both are subtracted, with their signs (JCGM 100:2008, F.1.2.3: an input in
// common). Of the states of one coil parts of one name always count as the same, and
// so does a DC resistance that is stated alike.
func Compare(coils []Coil, reference int, sameBench bool) (*Comparison, error) {
	if len(coils) < 2 {
		return nil, ErrTooFew
	}
	if reference < 0 || reference >= len(coils) {
		return nil, fmt.Errorf("there is no coil %d to compare with", reference+1)
	}
	c := &Comparison{Coils: coils, Reference: reference}
	ref := coils[reference].Result
	var n counts
	for i, coil := range coils {
		switch same := sameParts(ref, coil.Result); {
		case i == reference:
		case coil.SameCoil(coils[reference]):
			n.states++
		case same:
			n.alike++
		default:
			n.unlike++
		}
	}
	for _, p := range Properties(coils) {
		row := Row{Property: p}
		for i, coil := range coils {
			value := p.Of(coil.Result)
			row.Values = append(row.Values, value)
			d := Difference{Verdict: IsReference, Delta: fit.Unknown("the reference itself"), Percent: math.NaN()}
			if i != reference {
				d = Between(p, coil, coils[reference], sameBench)
			}
			row.Differences = append(row.Differences, d)
		}
		c.Rows = append(c.Rows, row)
	}
	c.remarks(n, sameBench)
	return c, nil
}

// counts are how many coils are the reference in another state, and how many others
// name the same parts, and other ones.
type counts struct{ states, alike, unlike int }

func (c *Comparison) remarks(n counts, sameBench bool) {
	add := func(format string, args ...any) { c.Remarks = append(c.Remarks, fmt.Sprintf(format, args...)) }
	if n.states > 0 {
		add("of the states of one coil parts of the same name and a DC resistance that is stated alike count as the " +
			"same: their errors cancel in the differences; noise, the sound card and its clock do not. The difference of R is " +
			"that which the takes show, without what is stated of both")
	}
	switch {
	case n.alike == 0 && n.unlike == 0:
	case sameBench && n.alike > 0:
		add("parts of the same name count as the same pieces: their errors cancel in the differences as far as both " +
			"coils feel them alike, except in the peak height; all else counts as independent")
	case n.alike > 0:
		add("the coils count as independent, but name the same parts and fixture. If these are the same pieces, " +
			"state that the coils were measured on the same bench: otherwise U95 of the differences is too large, " +
			"and a real difference may be missed")
	default:
		add("the coils count as independent: errors that they share, such as those of one meter, do not cancel")
	}
	if sameBench && n.unlike > 0 {
		add("%d of the coils name no part that the reference names, and count as independent of it", n.unlike)
	}
	if slices.ContainsFunc(c.Rows, func(r Row) bool { return r.Key == "resonance_hz" }) {
		add("resonance, Q and peak of a take include the fixture: they compare coils on the same fixture only")
	}
}

// mostlyStated is the part of R from a statement beyond which that two states agree is no
// finding.
const mostlyStated = 0.5

// dcResistance begins the name of a stated DC resistance among the parts of a result.
const dcResistance = "DC resistance"

// SameDCR tells whether the same DC resistance is stated of both.
func SameDCR(a, b *fit.Result) bool {
	stated := func(r *fit.Result) string {
		i := slices.IndexFunc(r.Parts, func(p fit.Part) bool { return strings.HasPrefix(p.What, dcResistance) })
		if i < 0 {
			return ""
		}
		return r.Parts[i].What
	}
	return stated(a) != "" && stated(a) == stated(b)
}

// statedR is how far R follows the DC resistance that is stated, from 0 to 1: at 1 the
// takes say nothing of it.
func statedR(r *fit.Result) float64 {
	for _, c := range contributions(r, "resistance_ohm") {
		i := slices.IndexFunc(r.Parts, func(p fit.Part) bool { return p.What == c.What })
		if i >= 0 && r.Parts[i].U > 0 && strings.HasPrefix(c.What, dcResistance) {
			return math.Abs(c.U) / r.Parts[i].U
		}
	}
	return 0
}

// sameParts tells whether both results name a known part alike. A coil with one take has
// the fixture in common with one that has several.
func sameParts(a, b *fit.Result) bool {
	of := partsOf(b)
	return slices.ContainsFunc(partsOf(a), func(name string) bool { return slices.Contains(of, name) })
}

// partsOf are the names of the known parts that coils can have in common.
func partsOf(r *fit.Result) (names []string) {
	for _, p := range r.Parts {
		if !strings.HasPrefix(p.What, dcResistance) && !strings.HasPrefix(p.What, "meter") {
			names = append(names, p.What)
		}
	}
	return names
}

// OwnU is the standard uncertainty of a property of a coil without the errors of those
// parts that all coils name alike: how far coils that were measured with the same pieces
// may seem to differ.
func OwnU(p Property, coil Coil, all []Coil) float64 {
	v := p.Of(coil.Result).U * p.Of(coil.Result).U
	for _, c := range contributions(coil.Result, p.budget(coil.Result)) {
		if !slices.ContainsFunc(all, func(o Coil) bool { return !slices.Contains(partsOf(o.Result), c.What) }) {
			v -= c.U * c.U
		}
	}
	return math.Sqrt(math.Max(0, v))
}

// Between is the difference of a property from reference to coil, as Compare has it.
func Between(p Property, coil, reference Coil, sameBench bool) Difference {
	x, y := p.Of(coil.Result), p.Of(reference.Result)
	d := Difference{Verdict: Open, Percent: math.NaN()}
	switch {
	case !x.Known():
		d.Delta = fit.Unknown(x.Why)
		return d
	case !y.Known():
		d.Delta = fit.Unknown("reference: " + y.Why)
		return d
	}
	delta := x.Value - y.Value
	// Where intervals are not symmetric, the sides that face each other count.
	ux, uy := side(x, delta > 0), side(y, delta < 0)
	u, u95 := math.Hypot(x.U, y.U), math.Hypot(ux, uy)
	if states := coil.SameCoil(reference); states || sameBench && sameParts(coil.Result, reference.Result) {
		if left := math.Sqrt(math.Max(u*u-sharedVariance(p, coil.Result, reference.Result, states), 0)); u > 0 {
			u95 *= left / u
			u = left
		}
	}
	if p.Key == "resistance_ohm" && coil.SameCoil(reference) && SameDCR(coil.Result, reference.Result) {
		// R = w stated + (1 - w) shown by the takes: what they show differs by more.
		w := (statedR(coil.Result) + statedR(reference.Result)) / 2
		if w > mostlyStated {
			d.Delta = fit.Unknown("the same DC resistance is stated of both, and the takes hardly show it")
			return d
		}
		delta, u, u95 = delta/(1-w), u/(1-w), u95/(1-w)
	}
	d.Delta = fit.Quantity{Value: delta, U: u, U95: u95}
	if !p.Decibel && y.Value != 0 {
		d.Percent = 100 * delta / y.Value
	}
	if u95 > 0 {
		en := delta / u95
		d.En = &en
		d.Verdict = Agrees
		if math.Abs(en) > 1 {
			d.Verdict = Differs
		}
	}
	return d
}

// side is the half-width of the 95 % interval below or above the value.
func side(q fit.Quantity, below bool) float64 {
	switch {
	case q.Low == 0 && q.High == 0:
		return q.U95
	case below:
		return q.Value - q.Low
	}
	return q.High - q.Value
}

// sharedVariance is to be subtracted from u_x² + u_y² for errors in common:
// twice the covariance, which is the sum of c_xi u_i c_yi u_i over the parts
// (JCGM 100:2008, F.1.2.3, equation F.1), by the budgets of both. A reading of the DC
// resistance is of one coil: two coils of which the same is stated share none, the
// states of one do.
func sharedVariance(p Property, coil, reference *fit.Result, states bool) float64 {
	ofReference := map[string]float64{}
	for _, c := range contributions(reference, p.budget(reference)) {
		if states || !strings.HasPrefix(c.What, dcResistance) {
			ofReference[c.What] = c.U
		}
	}
	sum := 0.0
	for _, c := range contributions(coil, p.budget(coil)) {
		sum += 2 * c.U * ofReference[c.What]
	}
	return sum
}

// contributions are those of the parts to the uncertainty of a quantity.
func contributions(r *fit.Result, quantity string) []fit.Contribution {
	for _, b := range r.Budget {
		if b.Quantity == quantity {
			return b.Parts
		}
	}
	return nil
}

// SortKeys are what coils of a comparison can be sorted by: as they were given, by
// name, or by a property that is compared.
func (c *Comparison) SortKeys() []string {
	keys := []string{"given", "name"}
	for _, r := range c.Rows {
		keys = append(keys, r.Key)
	}
	return keys
}
