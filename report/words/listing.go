package words

import (
	"cmp"
	"path/filepath"
	"slices"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/pair"
	"coilsweep/report/notation"
)

// Listed is one coil of a list.
type Listed struct {
	evaluation.Known
	Pair *pair.Member // nil: of no pair
}

// ListOf is a list of coils below root, those of pairs with what they are there.
func ListOf(root string, known []evaluation.Known) []Listed {
	of := pair.Members(root, notation.Each(known, func(k evaluation.Known) string { return k.Folder }))
	return notation.Each(known, func(k evaluation.Known) Listed {
		l := Listed{Known: k}
		if m, ok := of[filepath.Clean(k.Folder)]; ok {
			l.Pair = &m
		}
		return l
	})
}

// PairRole is what a coil folder is of a pair; empty: nothing.
func (l Listed) PairRole() string {
	if l.Pair == nil {
		return ""
	}
	return PairRole(l.Pair.Role)
}

// PairRole is a role in a pair in words.
func PairRole(role string) string {
	if role == pair.Both {
		return "both coils"
	}
	return role + " coil"
}

// Resonance and Q of the coil alone where they are known, else those of the
// take with the least load; of says which.
func (l Listed) Resonance() (hz, q fit.Quantity, of string) {
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
		less := t.AddedC < best.AddedC || t.AddedC == best.AddedC && addedSiemens(t) < addedSiemens(best)
		if t.Used && (!found || less) {
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

// Sought is the text in which somebody finds the coil: name, folder and what tells it from
// others, a line each, in lower case.
func (l Listed) Sought() string {
	return strings.ToLower(strings.Join([]string{l.Coil, l.Folder, l.Serial, l.Lot, l.Customer}, "\n"))
}

// Matches tells whether text stands in one of them.
func (l Listed) Matches(text string) bool { return strings.Contains(l.Sought(), strings.ToLower(text)) }

// ListText is something that may be stated of a coil.
type ListText struct {
	Name string
	Of   func(Listed) string
}

// ListTexts are those that are stated of any coil of the list, in order.
func ListTexts(list []Listed) []ListText {
	all := []ListText{
		{"serial", func(l Listed) string { return l.Serial }}, {"lot", func(l Listed) string { return l.Lot }},
		{"customer", func(l Listed) string { return l.Customer }}, {"pair", Listed.PairRole},
	}
	return slices.DeleteFunc(all, func(t ListText) bool {
		return !slices.ContainsFunc(list, func(l Listed) bool { return t.Of(l) != "" })
	})
}

// ListColumn is a quantity of the list.
type ListColumn struct {
	Key, Name, CSV string // key: for sorting
	Unit           quantity.Unit
	Of             func(Listed) fit.Quantity
}

func ofResult(get func(*fit.Result) fit.Quantity) func(Listed) fit.Quantity {
	return func(l Listed) fit.Quantity {
		if l.Result == nil {
			return fit.Unknown("not fitted yet")
		}
		return get(l.Result)
	}
}

// ListColumns are the quantities of the list, in order.
var ListColumns = []ListColumn{
	{"resonance", "resonance", "resonance_hz", quantity.Hertz,
		func(l Listed) fit.Quantity { hz, _, _ := l.Resonance(); return hz }},
	{"q", "Q", "q", quantity.Ratio, func(l Listed) fit.Quantity { _, q, _ := l.Resonance(); return q }},
	{"l", "L", "inductance_h", quantity.Henry, ofResult(func(r *fit.Result) fit.Quantity { return r.Inductance })},
	{"c", "C", "capacitance_f", quantity.Farad, ofResult(func(r *fit.Result) fit.Quantity { return r.Capacitance })},
	{"r", "R", "resistance_ohm", quantity.Ohm, ofResult(func(r *fit.Result) fit.Quantity { return r.Resistance })},
}

// ListKeys are the words by which SortList sorts.
func ListKeys() []string {
	columns := notation.Each(ListColumns, func(c ListColumn) string { return c.Key })
	return slices.Concat([]string{"folder", "coil", "date"}, columns)
}

// SortList sorts by one of ListKeys; what is not known comes last, and
// equals stay in the order of their folders. ok is false for another key.
func SortList(list []Listed, key string, descending bool) (ok bool) {
	var compare func(a, b Listed) int
	known := func(Listed) bool { return true }
	switch key {
	case "folder":
		compare = func(a, b Listed) int { return cmp.Compare(a.Folder, b.Folder) }
	case "coil":
		compare = func(a, b Listed) int { return cmp.Compare(strings.ToLower(a.Coil), strings.ToLower(b.Coil)) }
	case "date":
		compare = func(a, b Listed) int { return a.Measured.Compare(b.Measured) }
		known = func(l Listed) bool { return !l.Measured.IsZero() }
	}
	for _, c := range ListColumns {
		if c.Key == key {
			compare = func(a, b Listed) int { return cmp.Compare(c.Of(a).Value, c.Of(b).Value) }
			known = func(l Listed) bool { return c.Of(l).Known() }
		}
	}
	if compare == nil {
		return false
	}
	slices.SortStableFunc(list, func(a, b Listed) int {
		order := compare(a, b)
		if descending {
			order = -order
		}
		return cmp.Or(unknownLast(known(a), known(b)), order, cmp.Compare(a.Folder, b.Folder))
	})
	return true
}

// unknownLast puts what is not known last.
func unknownLast(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return -1
	}
	return 1
}

// State says in one word for programs whether the result can be relied on.
func (l Listed) State() string {
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

// UpToDate is what State says while nothing has changed since the fit, as
// people read it.
const UpToDate = "up to date"

// StateWords is State as people read it.
func (l Listed) StateWords() string {
	switch state := l.State(); state {
	case "stale":
		return "out of date"
	case "fresh":
		return UpToDate
	default:
		return state
	}
}
