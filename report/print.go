package report

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/plot"
)

// Picture is what a figure for print shows.
type Picture string

// The pictures.
const (
	PictureResponse   Picture = "response"   // what was measured: magnitude and phase
	PictureFit        Picture = "fit"        // the fitted circuit over what was measured
	PictureResiduals  Picture = "residuals"  // what the fit leaves over
	PictureLine       Picture = "line"       // 1/w² against added capacitance
	PictureMeter      Picture = "meter"      // meter readings against the fit
	PicturePredict    Picture = "predict"    // the coils in a harness
	PictureDelay      Picture = "delay"      // group delay
	PictureNoise      Picture = "noise"      // response over the noise floor
	PictureDistortion Picture = "distortion" // second and third harmonic
)

// Pictures lists them all.
func Pictures() []Picture {
	return []Picture{PictureResponse, PictureFit, PictureResiduals, PictureLine, PictureMeter, PicturePredict,
		PictureDelay, PictureNoise, PictureDistortion}
}

// Printing says how a figure is printed.
type Printing struct {
	Format   plot.Format
	WidthMM  float64 // 0: 170, two columns of most journals (common practice)
	HeightMM float64 // 0: what suits the figure
	TextPt   float64 // 0: plot.DefaultTextPt
	DPI      float64 // of PNG; 0: plot.DefaultDPI
	Made     time.Time
}

// DefaultWidthMM is the width of a printed figure where none is given.
const DefaultWidthMM = 170

// NothingToDrawError says why a picture cannot be made of a result.
type NothingToDrawError struct {
	Picture Picture
	Why     string
}

func (e *NothingToDrawError) Error() string {
	return fmt.Sprintf("there is no picture %q to draw: %s", string(e.Picture), e.Why)
}

// Print writes a figure of a result for print. A *NothingToDrawError says that
// the result does not hold what the picture shows. For PicturePredict use
// PrintPrediction.
func Print(w io.Writer, r fit.Result, what Picture, p Printing) error {
	width := p.widthPx()
	figures, columns, err := figuresOf(r, what, shape{"p", width, printedHeight(width)})
	if err != nil {
		return err
	}
	return p.print(w, visible(r.Coil)+": "+string(what), figures, columns)
}

// figuresOf are the figures of a picture in one shape, in columns. The error is
// a *NothingToDrawError, or for a picture that is not made of a result.
func figuresOf(r fit.Result, what Picture, one shape) (figures []*plot.Figure, columns int, err error) {
	takes := drawnTakes(r)
	none := func(why string) ([]*plot.Figure, int, error) { return nil, 0, &NothingToDrawError{what, why} }
	if len(takes) == 0 && !slices.Contains([]Picture{PictureLine, PictureMeter}, what) {
		return none("no take has a response")
	}
	columns = 1
	switch what {
	case PictureResponse:
		for i := range takes {
			c := *takes[i].curve
			c.FitMagnitudeDB, c.FitPhaseDeg = nil, nil
			takes[i].curve = &c
		}
		figures = []*plot.Figure{magnitudeFigure(takes, one), phaseFigure(takes, one)}
	case PictureFit:
		if !slices.ContainsFunc(takes, func(t drawn) bool { return len(t.curve.FitMagnitudeDB) > 0 }) {
			return none("no circuit was fitted")
		}
		figures = []*plot.Figure{magnitudeFigure(takes, one), phaseFigure(takes, one)}
	case PictureResiduals:
		figures, columns = residualFigures(takes, one.width)
		if figures == nil {
			return none("no circuit was fitted")
		}
	case PictureLine:
		styles := map[string]int{}
		for i, t := range r.Takes {
			styles[t.Name] = i
		}
		f := lineFigure(r, styles, one)
		if f == nil {
			return none(ErrNoLine.Error())
		}
		figures = []*plot.Figure{f}
	case PictureMeter:
		f := meterFigure(r.Meter, one)
		if f == nil {
			return none("no meter reading can be set beside the fit: see 'coilsweep crosscheck --help'")
		}
		figures = []*plot.Figure{f}
	case PictureDelay:
		figures = []*plot.Figure{delayFigure(takes, one)}
	case PictureNoise:
		figures = []*plot.Figure{noiseFigure(takes, one)}
	case PictureDistortion:
		figures = []*plot.Figure{harmonicsFigure(takes, one)}
	default:
		return nil, 0, errors.New("this picture is not made of a result")
	}
	if figures[0] == nil {
		return none("the takes do not show it")
	}
	return figures, columns, nil
}

// PrintPrediction writes the predicted response of coils in a harness for print.
func PrintPrediction(w io.Writer, prediction harness.Prediction, p Printing) error {
	width := p.widthPx()
	f := newPredictedCurve(prediction).figure(prediction, shape{"p", width, printedHeight(width)})
	if f == nil {
		return &NothingToDrawError{PicturePredict, "nothing reaches the amplifier"}
	}
	return p.print(w, strings.Join(visibleAll(prediction.Coils), " and ")+": prediction", []*plot.Figure{f}, 1)
}

// printedHeight of a figure of usual height suits its width.
func printedHeight(width float64) float64 { return max(240, 0.46*width) }

func (p Printing) widthPx() float64 {
	width := p.WidthMM
	if width == 0 {
		width = DefaultWidthMM
	}
	return width * plot.PxPerMM(p.textPt())
}

func (p Printing) textPt() float64 {
	if p.TextPt == 0 {
		return plot.DefaultTextPt
	}
	return p.TextPt
}

// print writes the figures, stretched to the height that is wanted.
func (p Printing) print(w io.Writer, title string, figures []*plot.Figure, columns int) error {
	if p.HeightMM > 0 {
		rows := (len(figures) + columns - 1) / columns
		have, want := 0.0, plot.RowsHeight(p.HeightMM*plot.PxPerMM(p.textPt()), rows)
		for i := 0; i < len(figures); i += columns {
			have += figures[i].Height
		}
		for _, f := range figures {
			f.Height *= want / have
			if f.Height < 90 {
				return fmt.Errorf("%.0f mm is too low for this figure: it needs %.0f mm", p.HeightMM,
					(90*float64(rows)+(p.HeightMM*plot.PxPerMM(p.textPt())-want))/plot.PxPerMM(p.textPt())+1)
			}
		}
	}
	sheet := plot.Sheet{Figures: figures, Columns: columns, TextPt: p.textPt(), DPI: p.DPI, Title: title, Made: p.Made}
	return sheet.Print(w, p.Format)
}

// residualFigures are those of all takes, in columns where there is room.
func residualFigures(takes []drawn, width float64) (figures []*plot.Figure, columns int) {
	columns = 1
	if width >= 560 && len(takes) > 1 {
		columns = 2
	}
	x, bound := frequencyAxis(takes), residualBound(takes)
	for _, t := range takes {
		if t.residualRe == nil {
			continue
		}
		f := residualFigure(t, x, bound)
		f.Width, f.Height = plot.FigureWidth(width, columns), 190
		f.Y.Label = plot.Shortened(visible(t.take.Name), int(f.Width/14)) + ": (measured − fit) / u"
		figures = append(figures, f)
	}
	return figures, columns
}
