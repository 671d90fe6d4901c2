// Package swept is what sweeps show that have just come in, in large digits and as a
// curve: those of live mode, and those of a take under way.
package swept

import (
	"fmt"
	"html/template"
	"strings"
	"time"

	"coilsweep/cmd/coilsweep/internal/web/markup"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
)

// Live is what live mode shows. Nothing of it is kept.
type Live struct {
	Wanted   float64          // level in dBFS
	Looked   time.Time        // when a page asked last
	Last     workbench.Glance // Sweep is 0: none yet
	Mark     workbench.Glance // with which the last one is compared; Sweep is 0: with none
	Revision int
}

// digits are a number that is read from afar, with its unit and its U95.
func digits(whole, spread string) template.HTML {
	number, prefixed, _ := strings.Cut(whole, " ")
	return markup.Fragment("digits", struct{ Number, Unit, Spread string }{number, prefixed, spread})
}

func digitsOf(q fit.Quantity, unit quantity.Unit) template.HTML {
	if !q.Known() {
		return digits(notation.None, "")
	}
	return digits(notation.Apart(q, unit))
}

// Places are the numbers of live mode.
func (l Live) Places() markup.Places {
	g := l.Last
	words := g.Sentence()
	if words == "" {
		words = g.Heard()
	}
	return markup.Places{
		"live-resonance": digitsOf(g.Resonance, quantity.Hertz), "live-q": digitsOf(g.Q, quantity.Ratio),
		"live-level": digits(notation.Level(g.PeakDBFS), ""), "live-words": markup.Text(markup.Said(words)),
		"live-played": markup.Text(markup.Said(fmt.Sprintf("Sweep %d, played at %.0f dBFS.", g.Sweep, g.LevelDBFS))),
		"live-since":  markup.Text(markup.Said(l.since())),
	}
}

// since says by how much resonance and Q differ from those of the mark.
func (l Live) since() string {
	g, m := l.Last, l.Mark
	if m.Sweep == 0 || !g.Resonance.Known() || !m.Resonance.Known() {
		return ""
	}
	apart := func(a, b fit.Quantity) string { return notation.Change(100 * (a.Value/b.Value - 1)) }
	words := "since the mark: resonance " + apart(g.Resonance, m.Resonance)
	if g.Q.Known() && m.Q.Known() {
		words += ", Q " + apart(g.Q, m.Q)
	}
	return notation.UpperFirst(words)
}
