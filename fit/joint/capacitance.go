package joint

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// item is a capacitance made of what the fit says and of stated values.
type item struct {
	what, source string
	fromFit      func(j *joint, x []float64) float64
	stated       float64 // added to it
	u2           float64 // of the stated values
	signed       bool    // it may be zero or negative
}

func (i *item) less(v quantity.Value) {
	i.stated -= v.SI
	i.u2 += v.U() * v.U()
}

// Account draws up the account. Parts that are not stated are worked out from the
// rest: the winding as the remainder of the total, the cable from the fixture or,
// with two cables of different lengths on different takes, from the difference of
// their totals. Parts without a tolerance have the usual one. The error is for lengths
// that name no take or tell nothing.
func (f *Fitted) Account(t fit.Terminals) (*fit.Account, error) {
	a := f.a
	warnings := assumeTolerances(&t)
	totalOf := func(take int) func(*joint, []float64) float64 {
		return func(j *joint, x []float64) float64 {
			l := j.loadOf(take, x)
			return math.Exp(x[atC]) + l.fixtureC - l.firstFixtureC
		}
	}
	zero := func(*joint, []float64) float64 { return 0 }
	known := a.request.parts.fixtureKnown
	fixture := func(j *joint, x []float64) float64 { return j.loadOf(0, x).fixtureC }

	perMetre, lengthM, err := f.perMetre(t.CableM, totalOf)
	if err != nil {
		return nil, err
	}
	// The parts that are known apart from the winding, and the name of the rest.
	rest := item{what: "winding", source: "the fit's total less the rest", fromFit: totalOf(0)}
	var with []string
	items := []item{}
	given := func(what string, c *quantity.Capacitance) bool {
		if c == nil {
			return false
		}
		items = append(items, item{what: what, source: "stated: " + c.String(), fromFit: zero, stated: c.SI,
			u2: c.U() * c.U()})
		rest.less(c.Value)
		return true
	}
	if !given("lead", t.Lead) {
		with = append(with, "lead")
	}
	switch {
	case given("cable", t.Cable):
	case perMetre != nil:
		cable := func(j *joint, x []float64) float64 { return lengthM * perMetre(j, x) }
		items = append(items, item{what: "cable",
			source: fmt.Sprintf("two cables; %g m on take %s", lengthM, a.request.takes[0].Name), fromFit: cable})
		total := rest.fromFit
		rest.fromFit = func(j *joint, x []float64) float64 { return total(j, x) - cable(j, x) }
	case known && t.Input != nil:
		cable := item{what: "cable", source: "the fixture as stated, less the input", fromFit: fixture}
		cable.less(t.Input.Value)
		items = append(items, cable)
		total := rest.fromFit
		rest.fromFit = func(j *joint, x []float64) float64 { return total(j, x) - fixture(j, x) }
		rest.stated += t.Input.SI // taken off below, and already in the fixture
		rest.u2 -= t.Input.U() * t.Input.U()
	case known:
		items = append(items, item{what: "cable and input", source: "the fixture as stated with the takes",
			fromFit: fixture})
		total := rest.fromFit
		rest.fromFit = func(j *joint, x []float64) float64 { return total(j, x) - fixture(j, x) }
	default:
		with = append(with, "cable")
	}
	if len(t.CableM) > 0 && perMetre == nil && t.Cable == nil && !(known && t.Input != nil) {
		return nil, errors.New("the length of the cable tells nothing here: state the capacitance of the input, so that " +
			"the cable is what remains of the fixture, or that of the cable, or the lengths of two different cables")
	}
	fixtureTaken := known && t.Cable == nil && perMetre == nil
	if !given("input", t.Input) && !fixtureTaken {
		with = append(with, "input")
	}
	accounted := append([]item{}, items...)
	if t.Winding != nil {
		items = append([]item{{what: "winding", source: "stated: " + t.Winding.String(), fromFit: zero,
			stated: t.Winding.SI, u2: t.Winding.U() * t.Winding.U()}}, items...)
		accounted = items
	} else {
		if len(with) > 0 {
			rest.what += " with " + strings.Join(with, ", ")
		}
		items = append([]item{rest}, items...)
	}

	out := &fit.Account{Lines: []fit.AccountLine{}, Added: []fit.AccountLine{}, Warnings: warnings}
	sum := sumOf(items)
	rests := sumOf(accounted)
	stands := rests.fromFit
	rests.fromFit = func(j *joint, x []float64) float64 { return totalOf(0)(j, x) - stands(j, x) }
	rests.stated, rests.signed = -rests.stated, true
	if fixtureTaken && t.Input != nil {
		// Cable and input together are the fixture, whatever the input's share.
		rests.u2 -= 2 * t.Input.U() * t.Input.U()
		sum.u2 = rests.u2
	}
	all := append([]item{{fromFit: totalOf(0)}, sum, rests}, items...)
	added := f.addedItems()
	firstAdded := len(all)
	all = append(all, added...)
	if perMetre != nil {
		all = append(all, item{fromFit: perMetre})
	}
	quantities := f.items(all)
	out.Total, out.Sum, out.Unaccounted = quantities[0], quantities[1], quantities[2]
	for k, i := range items {
		out.Lines = append(out.Lines, fit.AccountLine{What: i.what, Farad: quantities[3+k], Source: i.source})
	}
	if t.Winding == nil {
		out.Sum = out.Total // the winding is what was left
	}
	switch {
	case perMetre != nil:
		out.PerMetre = &quantities[len(quantities)-1]
	case lengthM > 0:
		for _, l := range out.Lines {
			if l.What == "cable" && l.Farad.Known() {
				out.PerMetre = &fit.Quantity{Value: l.Farad.Value / lengthM, U: l.Farad.U / lengthM,
					U95: l.Farad.U95 / lengthM}
			}
		}
	}
	f.score(out, t, with)
	for k, i := range added {
		out.Added = append(out.Added, fit.AccountLine{What: i.what, Farad: quantities[firstAdded+k], Source: i.source})
	}
	return out, nil
}

// assumeTolerances gives the stated parts the usual tolerance where they have none, and
// says so.
func assumeTolerances(t *fit.Terminals) []string {
	warnings := []string{}
	for _, c := range []struct {
		name string
		at   **quantity.Capacitance
	}{{"winding", &t.Winding}, {"lead", &t.Lead}, {"cable", &t.Cable}, {"input", &t.Input}} {
		if *c.at == nil {
			continue
		}
		with := **c.at
		var said string
		if with.Value, said = WithTolerance(c.name, with.Value); said != "" {
			warnings, *c.at = append(warnings, said), &with
		}
	}
	return warnings
}

// addedItems are the added capacitors as the fit has them.
func (f *Fitted) addedItems() []item {
	var added []item
	for i, p := range f.a.request.parts.parts {
		if p.source == sourceAddedC {
			added = append(added, item{what: p.what, source: "stated; as the fit has it",
				fromFit: func(j *joint, x []float64) float64 { return math.Exp(x[j.firstPart+i]) }})
		}
	}
	return added
}

// sumOf is a sum of items.
func sumOf(items []item) item {
	sum := item{fromFit: func(j *joint, x []float64) float64 {
		var s float64
		for _, i := range items {
			s += i.fromFit(j, x)
		}
		return s
	}}
	for _, i := range items {
		sum.stated, sum.u2 = sum.stated+i.stated, sum.u2+i.u2
	}
	return sum
}

// score judges what is not accounted for, and compares cable and input with the fixture
// as stated with the takes; with are the parts that are not stated beside the winding.
func (f *Fitted) score(out *fit.Account, t fit.Terminals, with []string) {
	switch q := out.Unaccounted; {
	case !q.Known():
		out.Verdict = "it cannot be told whether all is accounted for"
	default:
		en := fit.En(q.Value, q.U95, 0, 0)
		out.En = &en
		open := with
		if t.Winding == nil {
			open = append([]string{"winding"}, with...)
		}
		switch {
		case en < -1:
			out.Verdict = "more is stated than the takes show: a stated part is smaller than stated, or was not connected"
		case en <= 1 && t.Winding == nil:
			out.Verdict = "nothing is left for the winding: a stated part is smaller than stated, or was not connected"
		case en <= 1:
			out.Verdict = "all is accounted for"
		case len(open) > 0:
			out.Verdict = "the takes show more than is stated; not stated: " + strings.Join(open, ", ")
		default:
			out.Verdict = "the takes show more than is stated: a part is larger than stated, or one is missing"
		}
	}
	parts := f.a.best.joint.parts
	at := parts.firstFixture()
	if at < 0 || t.Cable == nil || t.Input == nil {
		return
	}
	p := parts.parts[at]
	value, u95 := t.Cable.SI+t.Input.SI, quantity.Coverage95*math.Hypot(t.Cable.U(), t.Input.U())
	check := &fit.AccountCheck{En: fit.En(value, u95, p.nominal, quantity.Coverage95*p.u*p.nominal)}
	word := "agree with"
	if math.Abs(check.En) > 1 {
		word = "do not agree with"
	}
	check.Verdict = fmt.Sprintf("cable and input together, %s, %s the fixture as stated with the takes",
		quantity.FormatWithU95(value, u95, quantity.Farad), word)
	out.Fixture = check
}

// items works out the items with their uncertainty.
func (f *Fitted) items(items []item) []fit.Quantity {
	values := func(j *joint, x, dst []float64) {
		for k, i := range items {
			dst[k] = i.fromFit(j, x) + i.stated
		}
	}
	best := make([]float64, len(items))
	values(f.a.best.joint, f.a.best.x, best)
	spread := f.a.propagatedFrom(len(items), f.a.best.joint.steps(), true, values)
	out := make([]fit.Quantity, len(items))
	for k, v := range spread {
		v.Fit += items[k].u2
		switch {
		case f.a.ambiguous != "":
			out[k] = fit.Unknown(f.a.ambiguous)
		case items[k].signed && out[0].Known():
			u := math.Sqrt(v.Fit + v.Model)
			out[k] = fit.Quantity{Value: best[k], U: u, U95: quantity.Coverage95 * u}
		case items[k].signed:
			out[k] = out[0] // the total is not known
		case best[k] <= 0:
			out[k] = fit.Unknown("the stated parts are as large as all that the takes show")
		default:
			out[k] = v.Judge(best[k], fit.Sought{}, f.a.missingFact())
		}
	}
	return out
}

// perMetre is the capacitance of a metre from two takes with cables of
// different lengths, nil with one length only; lengthM is that of the first
// take's cable, 0 where it is not stated.
func (f *Fitted) perMetre(lengths map[string]float64,
	totalOf func(take int) func(*joint, []float64) float64) (per func(*joint, []float64) float64, lengthM float64,
	err error) {
	if len(lengths) == 0 {
		return nil, 0, nil
	}
	for name, m := range lengths {
		if !(m > 0 && m <= 1000) {
			return nil, 0, fmt.Errorf("a cable of %g m: want more than 0, up to 1000", m)
		}
		found := name == ""
		for _, take := range f.a.request.takes {
			found = found || take.Name == name
		}
		if !found {
			return nil, 0, fmt.Errorf("a length of cable is stated for take %q, and there is no such take in the fit",
				name)
		}
	}
	if m, every := lengths[""]; every {
		if len(lengths) > 1 {
			return nil, 0, errors.New("give one length of cable for all takes, or one for each of them")
		}
		return nil, m, nil
	}
	j := f.a.best.joint
	first, other := 0, -1
	for i, take := range f.a.request.takes {
		m, ok := lengths[take.Name]
		if !ok {
			return nil, 0, fmt.Errorf("the length of the cable on take %q is not stated: give it for every take",
				take.Name)
		}
		if m != lengths[f.a.request.takes[first].Name] {
			other = i
		}
	}
	lengthM = lengths[f.a.request.takes[first].Name]
	if other < 0 {
		return nil, lengthM, nil
	}
	if !j.otherFixture(other) {
		return nil, 0, fmt.Errorf(`takes %q and %q have different cables, but the same fixture stated: state roughly what each has (fixture_c = "300p 90%%" under [load] of its take.toml)`,
			f.a.request.takes[first].Name, f.a.request.takes[other].Name)
	}
	difference := lengths[f.a.request.takes[other].Name] - lengthM
	one, two := totalOf(first), totalOf(other)
	return func(j *joint, x []float64) float64 { return (two(j, x) - one(j, x)) / difference }, lengthM, nil
}
