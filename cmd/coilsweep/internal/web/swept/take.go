package swept

import (
	"errors"
	"fmt"
	"html/template"
	"strings"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/web/markup"
	"coilsweep/cmd/coilsweep/internal/web/recorded"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
)

// Take is what the take under way shows, or the last one.
type Take struct {
	Coil     string `json:"coil"`
	Take     string `json:"take"`
	Repeats  int    `json:"repeats"` // behind it; 0: no sweep is in yet
	Revision int    `json:"revision"`
	markup.Shows

	Load   capture.Load     `json:"-"`
	Goal   float64          `json:"-"` // for U95 of the resonance, in percent; 0: none
	Glance workbench.Glance `json:"-"`
}

// Digits are resonance and Q, and below them how well the resonance is known.
func Digits(resonance, q fit.Quantity, known string) template.HTML {
	return markup.Fragment("stage digits", struct {
		Resonance, Q template.HTML
		Measured     bool
		Known        string
	}{digitsOf(resonance, quantity.Hertz), digitsOf(q, quantity.Ratio), resonance.Known(), known})
}

// Places are its numbers.
func (t Take) Places() markup.Places {
	if t.Glance.Sweep == 0 {
		t.Glance.Resonance, t.Glance.Q = fit.Unknown("no sweep is in yet"), fit.Unknown("no sweep is in yet")
	}
	return markup.Places{"stage-sweep": Digits(t.Glance.Resonance, t.Glance.Q, t.known())}
}

// known says how well the resonance is known, beside what is wanted.
func (t Take) known() (words string) {
	r := t.Glance.Resonance
	switch {
	case t.Repeats == 0:
	case r.Known() && r.U95 > 0:
		words = fmt.Sprintf("%s: U95 %s", notation.Count(t.Repeats, "sweep"), notation.Percent(100*r.U95/r.Value))
	case t.Glance.Why != "":
		return notation.UpperFirst(t.Glance.Why)
	}
	if t.Goal > 0 {
		words = strings.TrimPrefix(fmt.Sprintf("%s, until %g %%", words, t.Goal), ", ")
	}
	return notation.UpperFirst(words)
}

// Drawing is its curve with another one behind it; empty where there is neither.
func (t Take) Drawing(behind figure.Underway) (figure.Drawing, error) {
	d, err := figure.DrawUnderway(figure.Underway{Name: t.Take, Response: t.Glance.Response}, behind)
	if _, nothing := errors.AsType[*figure.NothingToDrawError](err); nothing {
		err = nil
	}
	return d, err
}

// Before is the latest take of the same coil that e has a response of, but for the one
// called not.
func Before(e *evaluation.Evaluation, not string) (found figure.Underway) {
	for _, t := range e.Takes {
		if in, ok := e.Input(t.Name); ok && t.Name != not {
			found = figure.Underway{Name: t.Name, Response: in.Response}
		}
	}
	return found
}

// Alike is the latest take of another coil with the load of t; of one that has none, with
// nothing added, or any.
func (t Take) Alike(e *evaluation.Evaluation) figure.Underway {
	found, best := figure.Underway{Name: notation.Visible(e.Folder.Coil.Name)}, -1
	added := func(l capture.Load) [2]string { return [2]string{recorded.Text(l.AddedC), recorded.Text(l.AddedR)} }
	for _, one := range e.Takes {
		rank := 0
		switch added(one.Load) {
		case added(t.Load):
			rank = 2
		case [2]string{}:
			rank = 1
		}
		if in, ok := e.Input(one.Name); ok && rank >= best {
			found.Response, best = in.Response, rank
		}
	}
	return found
}
