package figure

import (
	"math"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/fit/response"
	"coilsweep/report/plot"
)

// A page that stays open shows single figures: markup without a style of its
// own, for a page that has plot.Palette and plot.CSS. Each comes wide or
// narrow.

// Drawing is a figure for both widths of a page.
type Drawing struct {
	Title  string
	Wide   string
	Narrow string
	// Columns are the numbers behind it and behind those beside it, for plot.Script; empty:
	// it is not drawn again.
	Columns string
}

// draw is a drawing of what make makes; nothing where that is nil.
func draw(make func(Shape) ([]*plot.Figure, error)) (d Drawing, err error) {
	return drawIn(Wide, Narrow, make)
}

// drawIn is draw in other shapes.
func drawIn(wide, narrow Shape, make func(Shape) ([]*plot.Figure, error)) (d Drawing, err error) {
	var columns plot.Columns
	markup := func(s Shape) (string, error) {
		figures, err := make(s)
		if err != nil {
			return "", err
		}
		var b strings.Builder
		for _, f := range figures {
			if f == nil {
				continue
			}
			d.Title = figures[0].Title
			behind := &columns
			if !f.Zoom {
				behind = nil
			}
			if err := f.WriteSVG(&b, behind); err != nil {
				return "", err
			}
		}
		return b.String(), nil
	}
	if d.Wide, err = markup(wide); err == nil {
		d.Narrow, err = markup(narrow)
	}
	if !columns.Empty() {
		d.Columns = string(columns.JSON())
	}
	return d, err
}

// Draw draws a picture of a result. A *NothingToDrawError says that the result
// does not hold what it shows.
func Draw(r fit.Result, what Kind) (Drawing, error) {
	return draw(func(s Shape) ([]*plot.Figure, error) {
		figures, _, err := figuresOf(r, what, s)
		return figures, err
	})
}

// DrawPrediction draws the predicted response of coils in a harness.
func DrawPrediction(p harness.Prediction) (Drawing, error) {
	curve := NewPredicted(p)
	return draw(func(s Shape) ([]*plot.Figure, error) { return curve.alone(p, s) })
}

// The shapes of a response under way, which is read from afar.
var (
	stageWide   = Shape{"w", 640, 230}
	stageNarrow = Shape{"n", 380, 230}
)

// Underway is a response that is drawn before anything is fitted.
type Underway struct {
	Name     string
	Response *response.Response // nil: there is none
}

// DrawUnderway draws the magnitude of a response under way, and that of another one
// behind it: each in dB over its mean power from 100 Hz to 400 Hz, below the resonance of
// usual coils. A *NothingToDrawError where there is neither.
func DrawUnderway(now, behind Underway) (Drawing, error) {
	var takes []Take
	for _, one := range []Underway{behind, now} {
		if one.Response != nil && len(one.Response.FrequencyHz) > 0 {
			takes = append(takes, one.take())
		}
	}
	if takes == nil {
		return Drawing{}, &NothingToDrawError{KindResponse, "no sweep is in yet"}
	}
	return drawIn(stageWide, stageNarrow, func(s Shape) ([]*plot.Figure, error) {
		f := frequencyFigure("sweep", "Magnitude of the response", takes, s, s.Height)
		f.Zoom = false // it is drawn anew with every sweep
		e := plot.NoExtent()
		for i, t := range takes {
			e.Take(t.Curve.MagnitudeDB)
			if i < len(takes)-1 || now.Response == nil {
				f.Series = append(f.Series, t.line(plot.Behind, t.name(), t.Curve.MagnitudeDB, nil))
				continue
			}
			measuredAndFitted(f, t, t.Curve.MagnitudeDB, t.Curve.MagnitudeU95DB, nil, nil)
		}
		e.Lo = math.Max(e.Lo, e.Hi-90)
		f.Y = e.Axis("magnitude, dB over the low-frequency plateau", 20)
		f.Description = sentence("Magnitude over frequency, before anything is fitted")
		return []*plot.Figure{f}, nil
	})
}

// take is the response as a take that is drawn.
func (u Underway) take() Take {
	r, plateau, n := u.Response, 0.0, 0
	for i, hz := range r.FrequencyHz {
		if hz >= 100 && hz <= 400 {
			plateau += math.Pow(10, r.MagnitudeDB(i)/10)
			n++
		}
	}
	level := 0.0
	if n > 0 {
		level = 10 * math.Log10(plateau/float64(n))
	}
	c := &fit.Curve{FrequencyHz: r.FrequencyHz}
	for i := range r.FrequencyHz {
		c.MagnitudeDB = append(c.MagnitudeDB, r.MagnitudeDB(i)-level)
		u := math.Sqrt(r.Variance[i]/2) * math.Pow(10, -r.MagnitudeDB(i)/20)
		c.MagnitudeU95DB = append(c.MagnitudeU95DB, 20*math.Log10(1+quantity.Coverage95*u))
	}
	return Takes(fit.Result{Takes: []fit.TakeResult{{Name: u.Name, Curve: c}}})[0]
}
