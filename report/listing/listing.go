// Package listing is coils in a row: what a list tells of each, the keys by which
// lists and comparisons are sorted, and what the coils are called there.
package listing

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
)

// Coil is one coil of a list.
type Coil struct {
	Folder   string
	Coil     string
	Measured time.Time // of the latest take; zero: no take yet
	Takes    int
	Flags    []string    // of all takes, each once
	Result   *fit.Result // nil: not fitted yet
	Stale    []string    // why Result is out of date; none: it is fresh
}

// Resonance and Q of the coil alone where they are known, else those of the
// take with the least load; of says which.
func (l Coil) Resonance() (hz, q fit.Quantity, of string) {
	if l.Result == nil {
		unknown := fit.Unknown("not fitted yet")
		return unknown, unknown, ""
	}
	r := l.Result
	if r.BareResonance.Known() {
		return r.BareResonance, r.BareQ, "coil alone"
	}
	if t, ok := leastLoaded(r.Takes); ok {
		return t.Resonance, t.Q, "take " + t.Name
	}
	return r.BareResonance, r.BareQ, ""
}

// leastLoaded is the used take with the least added C, and of those the one
// with the least added conductance.
func leastLoaded(takes []fit.TakeResult) (fit.TakeResult, bool) {
	var best fit.TakeResult
	found := false
	for _, t := range takes {
		if t.Used && (!found || t.AddedC < best.AddedC || t.AddedC == best.AddedC && addedSiemens(t) < addedSiemens(best)) {
			best, found = t, true
		}
	}
	return best, found
}

func addedSiemens(t fit.TakeResult) float64 {
	if t.AddedR == nil {
		return 0
	}
	return 1 / *t.AddedR
}

// Column is a quantity of the list.
type Column struct {
	Key, Name, CSV string // key: for sorting
	Unit           quantity.Unit
	Of             func(Coil) fit.Quantity
}

func ofResult(get func(*fit.Result) fit.Quantity) func(Coil) fit.Quantity {
	return func(l Coil) fit.Quantity {
		if l.Result == nil {
			return fit.Unknown("not fitted yet")
		}
		return get(l.Result)
	}
}

// Columns are the quantities of the list, in order.
var Columns = []Column{
	{"resonance", "resonance", "resonance_hz", quantity.Hertz, func(l Coil) fit.Quantity { hz, _, _ := l.Resonance(); return hz }},
	{"q", "Q", "q", notation.Ratio, func(l Coil) fit.Quantity { _, q, _ := l.Resonance(); return q }},
	{"l", "L", "inductance_h", quantity.Henry, ofResult(func(r *fit.Result) fit.Quantity { return r.Inductance })},
	{"c", "C", "capacitance_f", quantity.Farad, ofResult(func(r *fit.Result) fit.Quantity { return r.Capacitance })},
	{"r", "R", "resistance_ohm", quantity.Ohm, ofResult(func(r *fit.Result) fit.Quantity { return r.Resistance })},
}

// Keys are the words by which Sort sorts.
func Keys() []string {
	keys := []string{"folder", "coil", "date"}
	for _, c := range Columns {
		keys = append(keys, c.Key)
	}
	return keys
}

// Sort sorts by one of Keys; what is not known comes last, and
// equals stay in the order of their folders. ok is false for another key.
func Sort(list []Coil, key string, descending bool) (ok bool) {
	var compare func(a, b Coil) int
	switch key {
	case "folder":
		compare = func(a, b Coil) int { return cmp.Compare(a.Folder, b.Folder) }
	case "coil":
		compare = func(a, b Coil) int {
			return cmp.Compare(strings.ToLower(a.Coil), strings.ToLower(b.Coil))
		}
	case "date":
		compare = func(a, b Coil) int {
			return unknownLast(!a.Measured.IsZero(), !b.Measured.IsZero(), descending, a.Measured.Compare(b.Measured))
		}
	}
	for _, c := range Columns {
		if c.Key == key {
			compare = func(a, b Coil) int {
				x, y := c.Of(a), c.Of(b)
				return unknownLast(x.Known(), y.Known(), descending, cmp.Compare(x.Value, y.Value))
			}
		}
	}
	if compare == nil {
		return false
	}
	slices.SortStableFunc(list, func(a, b Coil) int {
		order := compare(a, b)
		if descending {
			order = -order
		}
		return cmp.Or(order, cmp.Compare(a.Folder, b.Folder))
	})
	return true
}

// unknownLast puts what is not known last, even where the order is turned
// round afterwards.
func unknownLast(a, b, turned bool, known int) int {
	order := 0
	switch {
	case a && b:
		return known
	case a:
		order = -1
	case b:
		order = 1
	}
	if turned {
		return -order
	}
	return order
}

// State says in one word whether the result can be relied on.
func (l Coil) State() string {
	switch {
	case l.Takes == 0:
		return "no take"
	case l.Result == nil:
		return "not fitted"
	case len(l.Stale) > 0:
		return "stale"
	}
	return "fresh"
}
