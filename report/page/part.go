package page

import (
	"errors"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit/winding"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Parts are parts of a page as markup, by their names, for a page that stays
// open and frames them itself: the same tables and numbers by the same templates.
// A part that has nothing to show is not there.
type Parts map[string]template.HTML

// add fills the template called name.
func (p Parts) add(t *template.Template, name string, view any) error {
	var b strings.Builder
	if err := t.ExecuteTemplate(&b, name, view); err != nil {
		return fmt.Errorf("part %s: %w", name, err)
	}
	if text := strings.TrimSpace(b.String()); text != "" {
		p[name] = template.HTML(text)
	}
	return nil
}

// CoilParts are "summary", "warnings", "takes", "circuit", "shares", "meter" and
// "account" of a coil's page.
func CoilParts(d CoilDocument) (Parts, error) {
	view, err := newCoilPage(d)
	if err != nil {
		return nil, err
	}
	r, parts := d.Result, Parts{}
	for _, one := range []struct {
		name  string
		there bool
		view  any
	}{
		{"summary", true, view}, {"warnings", true, view}, {"takes", len(view.Takes) > 0, view},
		{"circuit", true, view}, {"shares", view.HasUncertainty(), view},
		{"meter", len(r.Meter) > 0, r.Meter}, {"account", view.Account != nil, view.Account},
	} {
		if !one.there {
			continue
		}
		if err := parts.add(coilTemplate, one.name, one.view); err != nil {
			return nil, err
		}
	}
	return parts, nil
}

// ComparisonParts are "compared" and "differences" of a comparison's page, and
// its figures.
func ComparisonParts(d ComparisonDocument) (Parts, []figure.Drawing, error) {
	view, err := newComparisonPage(d)
	if err != nil {
		return nil, nil, err
	}
	return view.parts(comparisonTemplate, view, "compared", "differences")
}

// BatchParts are "batch" and "judged" of a batch's page, and its figures.
func BatchParts(d BatchDocument) (Parts, []figure.Drawing, error) {
	view, err := newBatchPage(d)
	if err != nil {
		return nil, nil, err
	}
	return view.parts(batchTemplate, view, "batch", "judged")
}

func (p *manyPage) parts(t *template.Template, view any, names ...string) (Parts, []figure.Drawing, error) {
	parts := Parts{}
	for _, name := range names {
		if err := parts.add(t, name, view); err != nil {
			return nil, nil, err
		}
	}
	return parts, p.drawings(), nil
}

// drawings are the figures of a page: wide and narrow, or one for both.
func (p *manyPage) drawings() (out []figure.Drawing) {
	for _, t := range slices.Concat(p.Overlays, p.Charts) {
		d := figure.Drawing{Title: t.Title, Wide: string(t.SVG), Narrow: string(t.Narrow)}
		if d.Narrow != "" {
			d.Columns = string(p.Data)
		}
		out = append(out, d)
	}
	return out
}

// PredictionParts are "numbers" of a prediction's page and, where the prediction is
// whole and no preview, "said" and "knobs".
func PredictionParts(d PredictionDocument, whole bool) (Parts, error) {
	parts := Parts{}
	err := parts.add(partTemplate, "numbers", words.PredictedNumbers(d.Prediction, d.Target))
	if !whole || err != nil {
		return parts, err
	}
	return parts, errors.Join(parts.add(partTemplate, "said", words.Prediction(d.Prediction, d.Target)),
		parts.add(partTemplate, "knobs", newInHarness(d.Prediction)))
}

var partTemplate = template.Must(template.Must(frameTemplate.Clone()).New("parts").Parse(source("part.html")))

// WindingParts are "winding": a coil checked against its wire and turns.
func WindingParts(s winding.Sheet) (Parts, error) {
	var n notation.Notes
	check, view := s.Check, struct {
		Facts               []fact
		Suspicions, Remarks []string
		Shorted             []benchRow
		Reasons             []string
	}{}
	add := func(name, format string, args ...any) {
		view.Facts = append(view.Facts, fact{name, fmt.Sprintf(format, args...)})
	}
	add("wire", "%s", notation.Visible(s.Plan.Wire.Name))
	if turns := float64(s.Plan.Turns); turns > 0 {
		mean := s.Plan.MeanTurnM(turns)
		add("turns", "%.0f, mean turn length %s", turns, quantity.Format(mean, quantity.Metre, 3))
		add("length of the wire", "%s", quantity.Format(turns*mean, quantity.Metre, 3))
	}
	ohm := n.Cells(quantity.Ohm, check.Measured, check.Expected)
	add("resistance, "+notation.Typeset(check.From), "%s", ohm[0])
	add(fmt.Sprintf("expected from wire and bobbin at %s °C", notation.TwoDigits(check.Celsius)), "%s", ohm[1])
	if check.En != nil {
		agrees := math.Abs(*check.En) <= 1
		add("En", "%s: %s", notation.En(check.En), map[bool]string{true: "agrees", false: "differs"}[agrees])
	}
	add("turns that give this resistance", "%s", n.Cell(check.Turns, quantity.Ratio))
	if !math.IsNaN(check.AirH) {
		add("winding without pole pieces and magnets", "about %s; this coil has %s times that",
			quantity.Format(check.AirH, quantity.Henry, 2), notation.TwoDigits(check.Factor))
	}
	sentence := func(text string) string { return notation.UpperFirst(notation.Typeset(text)) + "." }
	view.Suspicions, view.Remarks = notation.Each(check.Suspicions, sentence), notation.Each(check.Remarks, sentence)
	for _, one := range s.Shorted {
		row := benchRow{notation.TwoDigits(100*one.Part) + " %", []string{notation.None, notation.None, notation.None}}
		if s.Plan.Turns > 0 {
			row.Cells[0] = fmt.Sprintf("%.0f", one.Part*float64(s.Plan.Turns))
		}
		if !math.IsNaN(one.ResonanceHz) {
			row.Cells[1] = quantity.Format(one.ResonanceHz, quantity.Hertz, 3)
			row.Cells[2] = quantity.Format(one.Q, quantity.Ratio, 3)
		}
		view.Shorted = append(view.Shorted, row)
	}
	view.Reasons = n.Reasons()
	parts := Parts{}
	return parts, parts.add(partTemplate, "winding", view)
}
