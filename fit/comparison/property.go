// Package comparison compares the results of coils: by which numbers they can be
// compared, their differences with U95, and whether a difference is more than the
// uncertainties explain.
//
// The difference d = x - x_ref of independent measurements has
// U95(d) = sqrt(U95(x)² + U95(x_ref)²), and E_n = d/U95(d); |E_n| > 1 is a
// difference (ISO/IEC 17043:2010, B.3; ISO 13528:2015, 9.7).
package comparison

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// Coil is one coil to be compared.
type Coil struct {
	Name string // with its state
	// Of is the name without its state; coils of one such name in different states are
	// one coil. Empty: of no coil that is known to have states.
	Of, State string
	Folder    string
	Result    *fit.Result
}

// SameCoil tells whether both are one coil in two states.
func (c Coil) SameCoil(d Coil) bool { return c.Of != "" && c.Of == d.Of && c.State != d.State }

// Property is one number of a coil by which coils can be compared.
type Property struct {
	Key  string        // as in result.json, with the load before it for that of a take
	Name string        // in words
	Unit quantity.Unit // empty for ratios
	// Decibel: the number is a level in dB.
	Decibel bool
	Of      func(*fit.Result) fit.Quantity
	// Base is the key of the property that this one repeats at another frequency;
	// empty where it stands for itself. Coils that differ in the one mostly differ
	// in the other: prose names one of them.
	Base string

	ofTake func(fit.TakeResult) fit.Quantity // nil: of the coil itself
	load   Load
}

// Repeated are the values of the property that were measured each by itself: one
// for a coil's own, one for each usable take with the load for a take's.
func (p Property) Repeated(r *fit.Result) []float64 {
	var values []float64
	add := func(q fit.Quantity) {
		if q.Known() {
			values = append(values, q.Value)
		}
	}
	switch {
	case r == nil:
	case p.ofTake == nil:
		add(p.Of(r))
	default:
		for _, t := range r.Takes {
			if t.Used && LoadOf(t) == p.load {
				add(p.ofTake(t))
			}
		}
	}
	return values
}

// budget is the name of the property's budget in a result.
func (p Property) budget(r *fit.Result) string {
	if p.ofTake == nil {
		return p.Key
	}
	t, _ := TakeWith(r, p.load)
	return p.Key + " of " + t.Name
}

// Family is the key that a property shares with those that repeat it.
func (p Property) Family() string { return cmp.Or(p.Base, p.Key) }

// ofBranch are inductance and AC resistance of the winding at the frequencies of
// meters and at each coil's resonance with nothing added.
func ofBranch() []Property {
	var list []Property
	const resonance = 0
	for _, hz := range append(fit.BranchHz(), resonance) {
		point := fit.BranchPoint{Hz: hz}
		at := fmt.Sprintf(" at %g Hz", hz)
		switch {
		case point.AtResonance():
			at = " at resonance, nothing added"
		case hz >= 1000:
			at = fmt.Sprintf(" at %g kHz", hz/1000)
		}
		inductance, resistance := point.Keys()
		of := func(r *fit.Result) fit.BranchPoint { return r.BranchAt(point.Hz) }
		list = append(list,
			Property{Key: inductance, Name: "L" + at, Unit: quantity.Henry, Base: "inductance_h",
				Of: func(r *fit.Result) fit.Quantity { return of(r).Inductance }},
			Property{Key: resistance, Name: "AC R" + at, Unit: quantity.Ohm, Base: "resistance_ohm",
				Of: func(r *fit.Result) fit.Quantity { return of(r).Resistance }})
	}
	return list
}

// properties are those of the coil itself, in the order of interest; branch is
// looked at last.
var (
	branch     = ofBranch()
	properties = []Property{
		{Key: "bare_resonance_hz", Name: "resonance", Unit: quantity.Hertz,
			Of: func(r *fit.Result) fit.Quantity { return r.BareResonance }},
		{Key: "bare_q", Name: "Q", Of: func(r *fit.Result) fit.Quantity { return r.BareQ }},
		{Key: "inductance_h", Name: "L", Unit: quantity.Henry,
			Of: func(r *fit.Result) fit.Quantity { return r.Inductance }},
		{Key: "capacitance_f", Name: "C", Unit: quantity.Farad,
			Of: func(r *fit.Result) fit.Quantity { return r.Capacitance }},
		{Key: "capacitance_coil_f", Name: "C of the coil", Unit: quantity.Farad,
			Of: func(r *fit.Result) fit.Quantity { return r.CapacitanceCoil }},
		{Key: "resistance_ohm", Name: "R", Unit: quantity.Ohm,
			Of: func(r *fit.Result) fit.Quantity { return r.Resistance }},
	}
)

// Load is what was added across the coil in a take.
type Load struct {
	Farad float64
	Ohm   float64 // 0: no resistor added
}

func (l Load) String() string {
	var parts []string
	if l.Farad != 0 {
		parts = append(parts, quantity.Format(l.Farad, quantity.Farad, 3))
	}
	if l.Ohm != 0 {
		parts = append(parts, quantity.Format(l.Ohm, quantity.Ohm, 3))
	}
	if parts == nil {
		return "nothing added"
	}
	return "with " + strings.Join(parts, " and ")
}

// LoadOf is the load of a take.
func LoadOf(t fit.TakeResult) Load {
	l := Load{Farad: t.AddedC}
	if t.AddedR != nil {
		l.Ohm = *t.AddedR
	}
	return l
}

// CommonLoads are the loads with which every coil has a usable take, the
// smallest capacitance first. Coils without a result count as having none.
func CommonLoads(coils []Coil) []Load {
	count := map[Load]int{}
	for _, c := range coils {
		seen := map[Load]bool{}
		if c.Result == nil {
			continue
		}
		for _, t := range c.Result.Takes {
			if l := LoadOf(t); t.Used && !seen[l] {
				seen[l] = true
				count[l]++
			}
		}
	}
	var common []Load
	for l, n := range count {
		if n == len(coils) {
			common = append(common, l)
		}
	}
	slices.SortFunc(common, func(a, b Load) int {
		return cmp.Or(cmp.Compare(a.Farad, b.Farad), cmp.Compare(a.conductance(), b.conductance()))
	})
	return common
}

func (l Load) conductance() float64 {
	if l.Ohm == 0 {
		return 0
	}
	return 1 / l.Ohm
}

// TakeWith is the first usable take with a load.
func TakeWith(r *fit.Result, l Load) (fit.TakeResult, bool) {
	if r != nil {
		for _, t := range r.Takes {
			if t.Used && LoadOf(t) == l {
				return t, true
			}
		}
	}
	return fit.TakeResult{}, false
}

// Properties are the numbers by which the coils can be compared: those of the
// coil itself that at least one of them has, those of the takes with the least
// load that all have, and the winding at the frequencies of meters.
func Properties(coils []Coil) []Property {
	var out []Property
	known := func(list []Property) {
		for _, p := range list {
			if slices.ContainsFunc(coils, func(c Coil) bool { return c.Result != nil && p.Of(c.Result).Known() }) {
				out = append(out, p)
			}
		}
	}
	known(properties)
	if loads := CommonLoads(coils); len(loads) > 0 {
		out = append(out, ofTake(loads[0])...)
	}
	known(branch)
	return out
}

// ofTake are the properties of the first usable take with a load.
func ofTake(l Load) []Property {
	list := []Property{
		{Key: "resonance_hz", Name: "resonance", Unit: quantity.Hertz,
			ofTake: func(t fit.TakeResult) fit.Quantity { return t.Resonance }},
		{Key: "q", Name: "Q", ofTake: func(t fit.TakeResult) fit.Quantity { return t.Q }},
		{Key: "peak_db", Name: "peak height", Decibel: true,
			ofTake: func(t fit.TakeResult) fit.Quantity { return t.PeakDB }},
	}
	for i := range list {
		p := &list[i]
		of := p.ofTake
		p.Name += ", " + l.String()
		p.load = l
		p.Of = func(r *fit.Result) fit.Quantity {
			t, ok := TakeWith(r, l)
			if !ok {
				return fit.Unknown(fmt.Sprintf("no take %s", l))
			}
			return of(t)
		}
	}
	return list
}

// PropertyNamed is the property of a key; that of a take has no load yet and
// serves for its unit alone.
func PropertyNamed(key string) (Property, bool) {
	for _, p := range slices.Concat(properties, ofTake(Load{}), branch) {
		if p.Key == key {
			return p, true
		}
	}
	return Property{}, false
}

// PropertyKeys are the keys of all properties.
func PropertyKeys() []string {
	var keys []string
	for _, p := range slices.Concat(properties, ofTake(Load{}), branch) {
		keys = append(keys, p.Key)
	}
	return keys
}
