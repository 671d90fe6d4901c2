package words

import (
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

// mostSaid bounds the differences of one coil in the summary.
const mostSaid = 3

// Comparison are the summary: per coil what differs, the largest first.
func Comparison(c *comparison.Comparison, names []string) []string {
	var out []string
	for i := range c.Coils {
		if i == c.Reference {
			continue
		}
		type found struct {
			words, family string
			en            float64
		}
		var differs []found
		var open []string
		unknown := 0
		for _, r := range c.Rows {
			d := r.Differences[i]
			if d.Verdict == comparison.Open {
				unknown++
				// What repeats a property is open because that is, or by itself.
				if r.Base == "" || open == nil {
					open = append(open, r.Name)
				}
			}
			if d.Verdict != comparison.Differs {
				continue
			}
			words := r.Name + " by " + notation.Difference(d.Delta, UnitOf(r.Property))
			if percent := notation.Change(d.Percent); percent != "" {
				words += " (" + percent + ")"
			}
			differs = append(differs, found{words, r.Family(), math.Abs(*d.En)})
		}
		slices.SortStableFunc(differs, func(a, b found) int {
			if a.en > b.en {
				return -1
			}
			return 1
		})
		var words []string
		// The largest of each family speaks for it.
		said := map[string]bool{}
		differs = slices.DeleteFunc(differs, func(f found) bool {
			again := said[f.family]
			said[f.family] = true
			return again
		})
		for _, d := range differs[:min(len(differs), mostSaid)] {
			words = append(words, d.words)
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
	var out []string
	for _, remark := range c.Remarks {
		out = append(out, notation.UpperFirst(notation.Typeset(remark))+".")
	}
	return out
}
