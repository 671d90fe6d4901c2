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
	if d.Wide, err = markup(Wide); err == nil {
		d.Narrow, err = markup(Narrow)
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

// DrawResponse draws the magnitude of a response under way, before anything is
// fitted: in dB over its mean power from 100 Hz to 400 Hz, below the resonance
// of usual coils.
func DrawResponse(take string, r *response.Response) (Drawing, error) {
	plateau, n := 0.0, 0
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
		if i < len(r.NoiseFloor) {
			c.NoiseFloorDB = append(c.NoiseFloorDB, 20*math.Log10(r.NoiseFloor[i])-level)
		}
	}
	unknown := fit.Unknown("not fitted yet")
	takes := Takes(fit.Result{Takes: []fit.TakeResult{{Name: take, Peak: unknown, PeakDB: unknown, Curve: c}}})
	return draw(func(s Shape) ([]*plot.Figure, error) {
		f := Magnitude(takes, s)
		f.ID, f.Zoom = "sweep-"+s.Name, false // it is drawn anew with every sweep
		return []*plot.Figure{f}, nil
	})
}
