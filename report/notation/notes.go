package notation

import (
	"strconv"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// Notes numbers the reasons of unknown quantities, each once.
type Notes struct{ Reasons []string }

// Cell is what a quantity shows in a table cell; unknowns collect the reasons.
func (n *Notes) Cell(q fit.Quantity, unit quantity.Unit) string {
	if q.Known() {
		return WithU95(q, unit)
	}
	return n.Sign(q.Why)
}

// Sign is the sign for "cannot be known" with the number of its reason.
func (n *Notes) Sign(why string) string {
	for i, have := range n.Reasons {
		if have == why {
			return Unknown + strconv.Itoa(i+1)
		}
	}
	n.Reasons = append(n.Reasons, why)
	return Unknown + strconv.Itoa(len(n.Reasons))
}
