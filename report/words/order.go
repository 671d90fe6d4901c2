package words

import (
	"cmp"
	"slices"
	"strings"

	"coilsweep/fit/comparison"
	"coilsweep/report/notation"
)

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
				return unknownLast(x.Known(), y.Known(), false, cmp.Compare(x.Value, y.Value))
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
