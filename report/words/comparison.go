package words

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit/comparison"
	"coilsweep/report/notation"
)

// UnitOf is the unit in which a property is shown.
func UnitOf(p comparison.Property) quantity.Unit {
	if p.Decibel {
		return quantity.Decibel
	}
	return p.Unit
}

// mostSaid bounds the differences of one coil in the summary, beside those in L and C.
const mostSaid = 3

// isLC tells whether a property is the inductance or the capacitance: of every coil it is
// said how it stands with them.
func isLC(key string) bool { return key == "inductance_h" || key == "capacitance_f" }

// Comparison are the summary: what changed about a coil in several states; of other
// coils what differs, the largest first.
func Comparison(c *comparison.Comparison, names []string) []string {
	out := Changes(c)
	for i, coil := range c.Coils {
		if i == c.Reference || coil.SameCoil(c.Coils[c.Reference]) {
			continue
		}
		var differs []comparison.Row
		var open, words []string
		unknown := 0
		for _, r := range c.Rows {
			switch r.Differences[i].Verdict {
			case comparison.Open:
				unknown++
				// What repeats a property is open because that is, or by itself.
				if r.Base == "" || open == nil {
					open = append(open, r.Name)
				}
			case comparison.Differs:
				differs = append(differs, r)
			}
		}
		slices.SortStableFunc(differs, func(a, b comparison.Row) int {
			return cmp.Compare(math.Abs(*b.Differences[i].En), math.Abs(*a.Differences[i].En))
		})
		// The largest of each family speaks for it.
		said := map[string]bool{}
		differs = slices.DeleteFunc(differs, func(r comparison.Row) bool {
			again := said[r.Family()]
			said[r.Family()] = true
			return again
		})
		for n, r := range differs {
			if n >= mostSaid && !isLC(r.Family()) {
				continue
			}
			d := r.Differences[i]
			by := r.Name + " by " + notation.Difference(d.Delta, UnitOf(r.Property))
			if percent := notation.Change(d.Percent); percent != "" {
				by += " (" + percent + ")"
			}
			words = append(words, by)
		}
		if more := len(differs) - len(words); more > 0 {
			words = append(words, fmt.Sprintf("and in %d more", more))
		}
		switch {
		case unknown == len(c.Rows):
			out = append(out, names[i]+" cannot be compared: too little is known of it or of the reference.")
		case words == nil:
			out = append(out, names[i]+" agrees with "+names[c.Reference]+" in everything that was measured, within "+
				"the uncertainty.")
		default:
			out = append(out, names[i]+" differs in "+strings.Join(words, ", ")+".")
		}
		var chance []string
		for _, r := range c.Rows {
			if d := r.Differences[i]; isLC(r.Key) && d.Verdict == comparison.Agrees && !said[r.Key] {
				chance = append(chance, "in "+r.Name+", "+notation.Difference(d.Delta, UnitOf(r.Property))+",")
			}
		}
		if chance != nil {
			out[len(out)-1] += " The difference " + strings.Join(chance, " and ") + " may be chance."
		}
		if 0 < unknown && unknown < len(c.Rows) {
			out[len(out)-1] += " Not comparable: " + strings.Join(open, ", ") + "."
		}
		if len(out) == 8 && len(c.Coils) > 10 {
			out = append(out, fmt.Sprintf("The tables below show the other %d.", len(c.Coils)-1-len(out)))
			break
		}
	}
	return out
}

// Remarks are the remarks on a comparison, as sentences.
func Remarks(c *comparison.Comparison) []string {
	return notation.Each(c.Remarks, func(remark string) string {
		return notation.UpperFirst(notation.Typeset(remark)) + "."
	})
}

// ComparisonOrder is the coils' indices sorted by one of its SortKeys, what is not known
// last. Another key leaves the coils as given.
func ComparisonOrder(c *comparison.Comparison, key string) []int {
	order := make([]int, len(c.Coils))
	for i := range order {
		order[i] = i
	}
	if key == "name" {
		slices.SortStableFunc(order, func(a, b int) int {
			return cmp.Compare(strings.ToLower(c.Coils[a].Name), strings.ToLower(c.Coils[b].Name))
		})
	}
	for _, r := range c.Rows {
		if r.Key == key {
			slices.SortStableFunc(order, func(a, b int) int {
				x, y := r.Values[a], r.Values[b]
				return cmp.Or(unknownLast(x.Known(), y.Known()), cmp.Compare(x.Value, y.Value))
			})
		}
	}
	return order
}

// CoilNames are the coils' names, with the folder where a name is not the only
// one of its kind.
func CoilNames(coils []comparison.Coil) []string {
	count := map[string]int{}
	for _, c := range coils {
		count[c.Name]++
	}
	names := make([]string, len(coils))
	for i, c := range coils {
		names[i] = notation.Visible(c.Name)
		if count[c.Name] > 1 {
			names[i] += " (" + notation.Visible(c.Folder) + ")"
		}
	}
	return names
}
