package words

import (
	"coilsweep/fit"
	"coilsweep/fit/batch"
	"coilsweep/fit/comparison"
	"coilsweep/report/notation"
)

// Many is a table of several coils and their properties.
type Many struct {
	Names      []string // of the coils, in order
	Properties []comparison.Property
	Values     [][]fit.Quantity // by property, then coil
	Outlying   func(property, coil int) bool
}

// BatchTable are the coils of a batch; those that stand out in a property are outlying.
func BatchTable(b *batch.Batch) Many {
	m := Many{Outlying: func(property, coil int) bool { return b.Properties[property].Outlying(coil) }}
	for _, c := range b.Coils {
		m.Names = append(m.Names, notation.Visible(c.Name))
	}
	for _, p := range b.Properties {
		m.Properties, m.Values = append(m.Properties, p.Property), append(m.Values, p.Values)
	}
	return m
}

// ComparisonTable are the compared coils in an order, called by names.
func ComparisonTable(c *comparison.Comparison, names []string, order []int) Many {
	m := Many{Names: Ordered(names, order), Outlying: func(int, int) bool { return false }}
	for _, r := range c.Rows {
		m.Properties, m.Values = append(m.Properties, r.Property), append(m.Values, Ordered(r.Values, order))
	}
	return m
}

// Ordered are the items of list with these indices.
func Ordered[T any](list []T, order []int) []T {
	out := make([]T, len(order))
	for place, i := range order {
		out[place] = list[i]
	}
	return out
}
