package notation

import (
	"math"
	"regexp"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// Notes numbers the reasons of unknown quantities, each once, for the cells of
// a table. Columns of it have one SI prefix.
type Notes struct{ reasons []string }

// Cell is a quantity with its uncertainty in a cell by itself.
func (n *Notes) Cell(q fit.Quantity, unit quantity.Unit) string {
	return n.Cells(unit, q)[0]
}

// Cells are quantities below each other, with their uncertainties.
func (n *Notes) Cells(unit quantity.Unit, column ...fit.Quantity) []string {
	return n.column(withU95, unit, column)
}

// Values are quantities below each other, without their uncertainties.
func (n *Notes) Values(unit quantity.Unit, column ...fit.Quantity) []string {
	return n.column(value, unit, column)
}

// Differences are differences below each other, with their signs and
// uncertainties; unknown ones have no reason of their own.
func Differences(unit quantity.Unit, column ...fit.Quantity) []string {
	var n Notes
	out := n.Cells(unit, column...)
	for i, q := range column {
		if !q.Known() {
			out[i] = None
			continue
		}
		out[i] = signed(q.Value, out[i])
	}
	return out
}

type writer func(fit.Quantity, quantity.Unit, quantity.Scale) string

// column writes quantities that stand below each other in one scale.
func (n *Notes) column(write writer, unit quantity.Unit, column []fit.Quantity) []string {
	var scale columnScale
	for _, q := range column {
		if q.Known() && !math.IsNaN(q.Value) && (q.Value != 0 || halfOf(q) > 0) {
			scale.take(scaleOf(q, unit), unit)
		}
	}
	out := make([]string, len(column))
	for i, q := range column {
		if q.Known() {
			out[i] = write(q, unit, scale.Scale)
		} else {
			out[i] = n.Sign(q.Why)
		}
	}
	return out
}

// columnScale is the scale of a column: that of the largest value, of
// capacitances that of the smallest, as parts are marked.
type columnScale struct {
	quantity.Scale
	some bool
}

func (c *columnScale) take(s quantity.Scale, unit quantity.Unit) {
	if !c.some || (s < c.Scale) == (unit == quantity.Farad) {
		c.Scale, c.some = s, true
	}
}

// Sign is the sign for "cannot be known" with the number of its reason: "–¹".
func (n *Notes) Sign(why string) string {
	for i, have := range n.reasons {
		if have == why {
			return None + superscript(i+1)
		}
	}
	n.reasons = append(n.reasons, why)
	return None + superscript(len(n.reasons))
}

// Reasons are the reasons behind the signs, each with its number.
func (n *Notes) Reasons() []string {
	out := make([]string, len(n.reasons))
	for i, why := range n.reasons {
		out[i] = superscript(i+1) + " " + reason(why)
	}
	return out
}

// ownWords are what a reason says that is not to be called unknown once more,
// or is known not to exist.
var ownWords = regexp.MustCompile(`not known|undetermined|without a peak|no peak|no resonance|nothing resonates|not fitted`)

// Lacking is what stands in the place of a number that has none for a reason: what is known
// not to exist is not called unknown.
func Lacking(why string) string {
	switch {
	case strings.Contains(why, "without a peak"), strings.Contains(why, "no peak"):
		return "no peak"
	case strings.Contains(why, "no resonance"), strings.Contains(why, "nothing resonates"):
		return "no resonance"
	}
	return "not known"
}

// reason is why there is no number.
func reason(why string) string {
	if ownWords.MatchString(why) {
		return Typeset(why)
	}
	return "not known: " + Typeset(why)
}

// Mark is where the notes are, to go back to by Back: cells of a table that is
// not shown leave no reason behind.
func (n *Notes) Mark() int { return len(n.reasons) }

// Back forgets the reasons since Mark.
func (n *Notes) Back(mark int) { n.reasons = n.reasons[:mark] }

func superscript(n int) string {
	const digits = "⁰¹²³⁴⁵⁶⁷⁸⁹"
	out := ""
	for ; n > 0; n /= 10 {
		out = string([]rune(digits)[n%10]) + out
	}
	return out
}
