package batch

import (
	"cmp"
	"fmt"
	"math"
	"strings"
)

// Suspicion says how a coil stands out from its batch and what that may mean;
// empty where it does not.
type Suspicion struct {
	Findings []string // "Q 69 % below the others"
	Cause    string   // what would explain it, as a suspicion; empty: nothing simple would
}

// suspect explains how coil i differs from the others.
func (b *Batch) suspect(i int) Suspicion {
	var s Suspicion
	score := map[string]float64{} // 0 where it does not stand out
	known := map[string]bool{}
	part := map[string]float64{} // relative to the median
	named := map[string]bool{}
	for _, p := range b.Properties {
		known[p.Key] = p.Values[i].Known()
		if !p.Outlying(i) {
			continue
		}
		if named[p.Family()] {
			continue
		}
		named[p.Family()] = true
		score[p.Key] = p.Scores[i]
		direction := "above"
		if p.Scores[i] < 0 {
			direction = "below"
		}
		if p.Decibel || p.Median == 0 {
			s.Findings = append(s.Findings,
				fmt.Sprintf("%s %.1f dB %s the others", p.Name, math.Abs(p.Values[i].Value-p.Median), direction))
			continue
		}
		part[p.Key] = p.Values[i].Value/p.Median - 1
		s.Findings = append(s.Findings,
			fmt.Sprintf("%s %.2g %% %s the others", p.Name, 100*math.Abs(part[p.Key]), direction))
	}
	if known["resistance_ohm"] { // else nothing is told from another
		s.Cause = cause(score, part)
	}
	return s
}

// cause explains a pattern of deviations by the rules of a coil of N turns: L
// goes as N², R as the length of the wire over its cross-section, and any
// conductor coupled to the winding takes from Q, and a little from L, but leaves
// R as it is.
func cause(score, part map[string]float64) string {
	q := cmp.Or(score["bare_q"], score["q"])
	l, r, c := score["inductance_h"], score["resistance_ohm"], score["capacitance_f"]
	switch {
	case q < 0 && part["resistance_ohm"] < math.Max(0.05, -0.3*math.Min(part["bare_q"], part["q"])):
		return "Q is low and the resistance does not explain it: shorted turns, or more metal near the winding than " +
			"in the others, are suspected"
	case q < 0 && r > 0:
		return "the higher resistance takes from Q: a thinner wire or a bad solder joint is suspected"
	case l < 0 && r < 0:
		return fmt.Sprintf("L and R are both low: fewer turns are suspected, by about %.1f %% (L goes as their square)",
			100*(1-math.Sqrt(1+part["inductance_h"])))
	case l > 0 && r > 0:
		return fmt.Sprintf("L and R are both high: more turns are suspected, by about %.1f %% (L goes as their square)",
			100*(math.Sqrt(1+part["inductance_h"])-1))
	case r > 0 && l == 0:
		return "the resistance alone is high: a thinner or more stretched wire, or a bad solder joint, is suspected"
	case r < 0 && l == 0:
		return "the resistance alone is low: a thicker wire is suspected"
	case l != 0 && r == 0:
		return "L alone is off: other pole pieces, slugs or magnets than in the others are suspected, or a take with " +
			"the wrong part"
	case c > 0:
		return "the capacitance is high: a tighter winding, more lead, or another fixture is suspected"
	case c < 0:
		return "the capacitance is low: a looser winding, less lead, or another fixture is suspected"
	}
	return ""
}

// String is the suspicion in one sentence; empty for none.
func (s Suspicion) String() string {
	if s.Findings == nil {
		return ""
	}
	text := strings.Join(s.Findings, ", ")
	if s.Cause != "" {
		text += ": " + s.Cause
	}
	return text
}
