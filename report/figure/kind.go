package figure

import (
	"errors"
	"fmt"
	"slices"

	"coilsweep/fit"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
)

// Kind is what a picture shows.
type Kind string

// The kinds of pictures.
const (
	KindResponse   Kind = "response"   // what was measured: magnitude and phase
	KindFit        Kind = "fit"        // the fitted circuit over what was measured
	KindResiduals  Kind = "residuals"  // what the fit leaves over
	KindLine       Kind = "line"       // 1/w² against added capacitance
	KindMeter      Kind = "meter"      // meter readings against the fit
	KindPredict    Kind = "predict"    // the coils in a harness
	KindDelay      Kind = "delay"      // group delay
	KindNoise      Kind = "noise"      // response over the noise floor
	KindDistortion Kind = "distortion" // second and third harmonic
)

// Kinds lists them all.
func Kinds() []Kind {
	return []Kind{KindResponse, KindFit, KindResiduals, KindLine, KindMeter, KindPredict,
		KindDelay, KindNoise, KindDistortion}
}

// NothingToDrawError says why a picture cannot be made of a result.
type NothingToDrawError struct {
	Picture Kind
	Why     string
}

func (e *NothingToDrawError) Error() string {
	return fmt.Sprintf("there is no picture %q to draw: %s", string(e.Picture), e.Why)
}

// ErrNoLine: the takes do not give 1/w² against added capacitance.
var ErrNoLine = errors.New("there is no line to draw: L and C are not both known, or no take has an added capacitor")

// figuresOf are the figures of a picture in one shape, in columns. The error is
// a *NothingToDrawError, or for a picture that is not made of a result.
func figuresOf(r fit.Result, what Kind, one Shape) (figures []*plot.Figure, columns int, err error) {
	takes := Takes(r)
	none := func(why string) ([]*plot.Figure, int, error) { return nil, 0, &NothingToDrawError{what, why} }
	if len(takes) == 0 && !slices.Contains([]Kind{KindLine, KindMeter}, what) {
		return none("no take has a response")
	}
	columns, why := 1, "the takes do not show it"
	switch what {
	case KindResponse:
		for i := range takes {
			c := *takes[i].Curve
			c.FitMagnitudeDB, c.FitPhaseDeg = nil, nil
			takes[i].Curve = &c
		}
		figures = []*plot.Figure{Magnitude(takes, one), Phase(takes, one)}
	case KindFit:
		why = "no circuit was fitted"
		if slices.ContainsFunc(takes, func(t Take) bool { return len(t.Curve.FitMagnitudeDB) > 0 }) {
			figures = []*plot.Figure{Magnitude(takes, one), Phase(takes, one)}
		}
	case KindResiduals:
		why = "no circuit was fitted"
		figures, columns = residualFigures(takes, one.Width)
	case KindLine:
		why = ErrNoLine.Error()
		figures = []*plot.Figure{Line(r, Styles(r), one)}
	case KindMeter:
		why = "no meter reading can be set beside the fit: see 'coilsweep crosscheck --help'"
		figures = []*plot.Figure{Meter(r.Meter, one)}
	case KindDelay:
		figures = []*plot.Figure{Delay(takes, one)}
	case KindNoise:
		figures = []*plot.Figure{Noise(takes, one)}
	case KindDistortion:
		figures = Harmonics(takes, one)
	default:
		return nil, 0, errors.New("this picture is not made of a result")
	}
	if len(figures) == 0 || figures[0] == nil {
		return none(why)
	}
	return figures, columns, nil
}

// residualFigures are those of all takes, in columns where there is room.
func residualFigures(takes []Take, width float64) (figures []*plot.Figure, columns int) {
	columns = 1
	if width >= 560 && len(takes) > 1 {
		columns = 2
	}
	x, bound := FrequencyAxis(takes), ResidualBound(takes)
	for _, t := range takes {
		if t.ResidualRe == nil {
			continue
		}
		f := Residual(t, x, bound)
		f.Width, f.Height = plot.FigureWidth(width, columns), 190
		f.Y.Label = plot.Shortened(notation.Visible(t.Take.Name), int(f.Width/14)) + ": (measured − fit) / u"
		figures = append(figures, f)
	}
	return figures, columns
}
