package page

import (
	_ "embed"
	"fmt"
	"html/template"
	"math"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit/winding"
	"coilsweep/report/notation"
	"coilsweep/report/picture"
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
	parts := Parts{}
	for _, one := range []struct {
		name  string
		there bool
		view  any
	}{
		{"summary", true, view}, {"warnings", true, view}, {"takes", len(view.Takes) > 0, view}, {"circuit", true, view},
		{"shares", view.HasUncertainty(), view}, {"meter", len(view.Meter) > 0, view.Meter}, {"account", view.Account != nil, view.Account},
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
func ComparisonParts(d ComparisonDocument) (Parts, []picture.Drawing, error) {
	view, err := newComparisonPage(d)
	if err != nil {
		return nil, nil, err
	}
	return view.parts(comparisonTemplate, view, "compared", "differences")
}

// BatchParts are "batch" and "judged" of a batch's page, and its figures.
func BatchParts(d BatchDocument) (Parts, []picture.Drawing, error) {
	view, err := newBatchPage(d)
	if err != nil {
		return nil, nil, err
	}
	return view.parts(batchTemplate, view, "batch", "judged")
}

func (p *manyPage) parts(t *template.Template, view any, names ...string) (Parts, []picture.Drawing, error) {
	parts := Parts{}
	for _, name := range names {
		if err := parts.add(t, name, view); err != nil {
			return nil, nil, err
		}
	}
	return parts, p.drawings(), nil
}

// drawings are the figures of a page: each wide and narrow, or one for both.
func (p *manyPage) drawings() []picture.Drawing {
	var out []picture.Drawing
	for _, t := range append(append([]titled{}, p.Overlays...), p.Charts...) {
		parts := strings.SplitAfter(string(t.SVG), "</svg>")
		d := picture.Drawing{Title: t.Title, Wide: parts[0]}
		if len(parts) > 1 {
			d.Narrow = strings.TrimSpace(parts[1])
		}
		out = append(out, d)
	}
	return out
}

// PredictionParts are "numbers" of a prediction's page and, where the prediction is
// whole and no preview, "said" and "knobs".
func PredictionParts(d PredictionDocument, whole bool) (Parts, error) {
	view := &predictionPage{Sound: newInHarness(d.Prediction)}
	view.numbers(d)
	parts := Parts{}
	if err := parts.add(predictionTemplate, "numbers", view.Numbers); err != nil {
		return nil, err
	}
	if !whole {
		return parts, nil
	}
	for _, s := range words.Prediction(d.Prediction, d.Target) {
		view.Summary = append(view.Summary, notation.Tied(s))
	}
	if err := parts.add(partTemplate, "said", view); err != nil {
		return nil, err
	}
	return parts, parts.add(partTemplate, "knobs", view)
}

//go:embed part.html
var partHTML string

var partTemplate = template.Must(template.Must(frameTemplate.Clone()).New("parts").Parse(partHTML))

// WindingParts are "winding": a coil checked against its wire and turns.
func WindingParts(s winding.Sheet) (Parts, error) {
	var n notation.Notes
	check := s.Check
	view := struct {
		Facts               []fact
		Suspicions, Remarks []string
		Shorted             [][]string
		Reasons             []string
	}{}
	add := func(name, value string) { view.Facts = append(view.Facts, fact{name, value}) }
	add("wire", notation.Visible(s.Plan.Wire.Name))
	if turns := float64(s.Plan.Turns); turns > 0 {
		add("turns", fmt.Sprintf("%.0f, mean turn length %s", turns, notation.Plain(s.Plan.MeanTurnM(turns), quantity.Metre, 3)))
		add("length of the wire", notation.Plain(turns*s.Plan.MeanTurnM(turns), quantity.Metre, 3))
	}
	add("resistance, "+notation.Visible(check.From), n.Cell(check.Measured, quantity.Ohm))
	add(fmt.Sprintf("expected of wire and bobbin at %g °C", check.Celsius), n.Cell(check.Expected, quantity.Ohm))
	if check.En != nil {
		add("En", notation.En(check.En)+map[bool]string{true: ": agrees", false: ": differs"}[math.Abs(*check.En) <= 1])
	}
	add("turns that the resistance stands for", n.Cell(check.Turns, notation.Ratio))
	if !math.IsNaN(check.AirH) {
		add("winding without pole pieces and magnets", fmt.Sprintf("about %s; this coil has %.2g times that", notation.Plain(check.AirH, quantity.Henry, 2), check.Factor))
	}
	sentences := func(texts []string) (out []string) {
		for _, text := range texts {
			out = append(out, notation.UpperFirst(notation.Visible(text))+".")
		}
		return out
	}
	view.Suspicions, view.Remarks = sentences(check.Suspicions), sentences(check.Remarks)
	for _, one := range s.Shorted {
		row := []string{notation.TwoDigits(100*one.Part) + " %", notation.None, notation.None, notation.None}
		if s.Plan.Turns > 0 {
			row[1] = fmt.Sprintf("%.0f", one.Part*float64(s.Plan.Turns))
		}
		if !math.IsNaN(one.ResonanceHz) {
			row[2], row[3] = notation.Plain(one.ResonanceHz, quantity.Hertz, 3), notation.Plain(one.Q, notation.Ratio, 3)
		}
		view.Shorted = append(view.Shorted, row)
	}
	for i, why := range n.Reasons {
		view.Reasons = append(view.Reasons, reasonWords(i, why))
	}
	parts := Parts{}
	return parts, parts.add(partTemplate, "winding", view)
}
