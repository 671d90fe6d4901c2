package words

import (
	"strings"
	"time"

	"coilsweep/excite/quantity"
	"coilsweep/fit/change"
	"coilsweep/fit/comparison"
	"coilsweep/report/notation"
)

// short is what a quantity of the circuit is called where its meaning is clear.
func short(f change.Finding) string {
	if f.Name == "C of the coil" {
		return "C"
	}
	return f.Name
}

// Changes are the sentences on the states of one coil in a comparison.
func Changes(c *comparison.Comparison) []string { return notation.Each(change.Of(c), Change) }

// Change says in a sentence what changed about a coil, as far as the takes can tell, and
// what usually does that.
func Change(c change.Change) string {
	by := func(findings []change.Finding) string {
		return strings.Join(notation.Each(findings, func(f change.Finding) string {
			return short(f) + " " + notation.Difference(f.Delta, UnitOf(f.Property))
		}), ", ")
	}
	named := func(findings []change.Finding) string { return list(notation.Each(findings, short)) }
	before := notation.Visible(c.Before.Name)
	if c.Before.State == "" {
		before = "the coil as first measured"
	}
	said := notation.Visible(c.After.Name) + dated(c.After) + ", against " + before + dated(c.Before) + ": "
	changed, same, doubtful := c.With(change.Changed), c.With(change.Unchanged), c.With(change.Doubtful)
	switch {
	case changed != nil:
		said += by(changed)
		if same != nil {
			said += "; " + named(same) + " unchanged"
		}
		if c.Causes != nil {
			said += ": as " + list(c.Causes) + " " + map[bool]string{true: "does", false: "do"}[len(c.Causes) == 1]
		}
	case same == nil && doubtful == nil:
		return said + "too little is known of both to say what changed."
	default:
		said += "nothing changed that the takes can tell"
		if same != nil {
			said += " (" + strings.Join(notation.Each(same, func(f change.Finding) string {
				return short(f) + " within ±" + quantity.Format(f.Delta.U95, UnitOf(f.Property), 2)
			}), ", ") + ")"
		}
	}
	said += "."
	if c.SameDCR {
		said += " The same DC resistance is stated of both, although R changed: measure it again and state it of " +
			"each."
	}
	if doubtful != nil {
		said += " In doubt: " + by(doubtful) + ", since of several quantities one is often beyond its U95 by chance."
	}
	return said
}

// dated is the day of a state's first take, in brackets; empty where it is not known.
func dated(c comparison.Coil) string {
	var first time.Time
	if c.Result.Record == nil {
		return ""
	}
	for _, t := range c.Result.Record.Takes {
		if t.Started != nil && (first.IsZero() || t.Started.Before(first)) {
			first = *t.Started
		}
	}
	if first.IsZero() {
		return ""
	}
	return first.Format(" (" + time.DateOnly + ")")
}
