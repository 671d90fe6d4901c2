package page

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"time"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/comparison"
	"coilsweep/fit/harness"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/sound"
	"coilsweep/report/words"
)

// PredictionDocument is what a prediction page is made from.
type PredictionDocument struct {
	Prediction harness.Prediction
	Target     *harness.Solution // the part that was asked for; nil: none
	Harness    harness.Harness
	Coils      []comparison.Coil // as measured; may be empty
	Listening  *sound.Listening  // nil: nothing to hear
	Made       time.Time         // zero: not stated
	Program    string
}

var predictionTemplate = framed(source("prediction.html"))

// Prediction writes one page on coils in a guitar, in the manner of Coil.
func Prediction(w io.Writer, d PredictionDocument) error {
	view, err := newPredictionPage(d)
	return writePage(w, predictionTemplate, view, err, "prediction page")
}

type predictionPage struct {
	frame
	Summary  []string
	Numbers  []words.Number
	Response template.HTML
	Sound    *inHarness
	partsOfGuitar
	charts
	measuredCoils
}

// partsOfGuitar are what a guitar is made of, and how it is set.
type partsOfGuitar struct {
	Parts  []benchRow // size, and as stated
	Wiring []fact
}

// measuredCoils are coils as measured, each alone.
type measuredCoils struct {
	Coils   []measuredRow
	Reasons []string
}

type measuredRow struct {
	named
	Values, Basis []string
}

func newPredictionPage(d PredictionDocument) (*predictionPage, error) {
	sound := newInHarness(d.Prediction)
	p := &predictionPage{frame: newFrame("Prediction", sound.About, ""), Sound: sound,
		Summary: words.Prediction(d.Prediction, d.Target), Numbers: words.PredictedNumbers(d.Prediction, d.Target)}
	p.madeAt(d.Made, d.Program)
	p.parts(d.Harness)
	p.coils(d.Coils)

	var draw drawing
	if curve := figure.NewPredicted(d.Prediction); len(curve.Hz) > 0 {
		const group = "t0"
		p.Response = draw.both(func(s figure.Shape) *plot.Figure {
			f := curve.Figure(d.Prediction, s)
			if f != nil {
				f.Series[0].Group = group
			}
			return f
		})
		p.KeyColumns = []string{"curve", "level", "U95"}
		p.Keys = []key{{Group: group, Name: "predicted", Full: "predicted", Glyph: glyph(0),
			X:       draw.columns.Number(curve.Hz),
			Columns: []cursorColumn{{draw.columns.Number(curve.DB), "dB"}, {draw.columns.Number(curve.U95), "± dB"}}}}
		p.Layers = []fact{{"band", "U95"}}
	}
	p.knobs(d.Prediction, &draw)
	if err := p.listen(d.Listening, &draw); err != nil {
		return nil, err
	}
	if draw.err != nil {
		return nil, fmt.Errorf("figures of the prediction: %w", draw.err)
	}
	if p.Response != "" {
		p.Data = template.JS(draw.columns.JSON())
	}
	p.section(true, "summary", "Summary")
	p.section(p.Response != "", "response", "Response")
	p.section(true, "parts", "Parts")
	p.section(sound.Knobs != nil, "knobs", "Knobs")
	p.section(p.Coils != nil, "coils", "Coils")
	p.section(p.Listening != nil, "listen", "Listen")
	p.section(true, "provenance", "Provenance")
	return p, nil
}

func (p *partsOfGuitar) parts(h harness.Harness) {
	list, _ := h.Parts() // what is assumed stands with the prediction
	for _, one := range list {
		v := one.Value
		size := notation.WithU95(fit.Quantity{Value: v.SI, U: v.U(), U95: v.U95()}, v.Unit)
		p.Parts = append(p.Parts, benchRow{one.Name, []string{notation.Tied(size), notation.Visible(v.Text)}})
	}
	add := func(name, value string) { p.Wiring = append(p.Wiring, fact{name, notation.Visible(value)}) }
	if h.Wiring != "" {
		wiring := h.Wiring
		switch h.Phase {
		case "":
		case "in":
			wiring += ", in phase"
		default:
			wiring += ", " + h.Phase + " of phase"
		}
		add("wiring", wiring)
	}
	knob := func(name string, pot *harness.Pot) {
		at := 10.0
		if pot.Position != nil {
			at = *pot.Position
		}
		taper := map[string]string{"": "audio taper", "log": "audio taper", "linear": "linear taper"}[pot.Taper]
		if taper == "" {
			taper = "taper " + pot.Taper
		}
		add(name, fmt.Sprintf("at %g, %s", at, taper))
	}
	if h.Volume != nil {
		knob("volume knob", h.Volume)
	}
	if h.Tone != nil {
		knob("tone knob", &h.Tone.Pot)
	}
}

func (p *measuredCoils) coils(coils []comparison.Coil) {
	var n notation.Notes
	names := words.CoilNames(coils)
	for i, c := range coils {
		p.Coils = append(p.Coils, measuredRow{named: newNamed(names[i], c.Folder, ""),
			Basis: []string{notation.Visible(c.Result.Model.Name), basis(c.Result.Basis)}})
	}
	for _, of := range []struct {
		unit quantity.Unit
		get  func(*fit.Result) fit.Quantity
	}{
		{quantity.Hertz, func(r *fit.Result) fit.Quantity { return r.BareResonance }},
		{quantity.Ratio, func(r *fit.Result) fit.Quantity { return r.BareQ }},
		{quantity.Henry, func(r *fit.Result) fit.Quantity { return r.Inductance }},
		{quantity.Farad, func(r *fit.Result) fit.Quantity { return r.CapacitanceCoil }},
		{quantity.Ohm, func(r *fit.Result) fit.Quantity { return r.Resistance }},
	} {
		get := func(c comparison.Coil) fit.Quantity { return of.get(c.Result) }
		for i, text := range n.Cells(of.unit, notation.Each(coils, get)...) {
			p.Coils[i].Values = append(p.Coils[i].Values, notation.Tied(text))
		}
	}
	p.Reasons = n.Reasons()
}

// knobs draws peak and level over the positions of each knob.
func (p *predictionPage) knobs(h harness.Prediction, draw *drawing) {
	for _, knob := range []struct {
		name string
		at   func(harness.Position) *float64
	}{
		{"volume", func(at harness.Position) *float64 { return at.Volume }},
		{"tone", func(at harness.Position) *float64 { return at.Tone }},
	} {
		var at []float64
		var peak, height []fit.Quantity
		for _, position := range h.Positions {
			if v := knob.at(position); v != nil {
				at = append(at, *v)
				peak, height = append(peak, position.Peak), append(height, position.PeakDB)
			}
		}
		for _, of := range []struct {
			id, name string
			values   []fit.Quantity
			unit     quantity.Unit
		}{{"peak", "peak frequency", peak, quantity.Hertz}, {"height", "peak height", height, quantity.Decibel}} {
			title := notation.UpperFirst(of.name) + " over the " + knob.name + " knob"
			p.chart(figure.Knob(knob.name+"-"+of.id, title, knob.name, of.name, at, of.values, of.unit), title, draw)
		}
	}
}
