package figure

import (
	"cmp"
	"fmt"
	"io"
	"time"

	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/words"
)

// Printing says how a figure is printed.
type Printing struct {
	Format   plot.Format
	WidthMM  float64 // 0: 170, two columns of a journal (typical, no source)
	HeightMM float64 // 0: what suits the figure
	TextPt   float64 // 0: plot.DefaultTextPt
	DPI      float64 // of PNG; 0: plot.DefaultDPI
	Made     time.Time
}

// DefaultWidthMM is the width of a printed figure where none is given.
const DefaultWidthMM = 170

// Print writes a figure of a result for print. A *NothingToDrawError says that
// the result does not hold what the picture shows. For Predict use
// PrintPrediction.
func Print(w io.Writer, r fit.Result, what Kind, p Printing) error {
	figures, columns, err := figuresOf(r, what, p.shape())
	if err != nil {
		return err
	}
	return p.print(w, notation.Visible(r.Coil)+": "+string(what), figures, columns)
}

// PrintPrediction writes the predicted response of coils in a harness for print.
func PrintPrediction(w io.Writer, prediction harness.Prediction, p Printing) error {
	figures, err := NewPredicted(prediction).alone(prediction, p.shape())
	if err != nil {
		return err
	}
	return p.print(w, words.InHarness(prediction.Coils, "")+": prediction", figures, 1)
}

// shape is that of a figure over the whole width; its usual height suits that.
func (p Printing) shape() Shape {
	width := cmp.Or(p.WidthMM, DefaultWidthMM) * plot.PxPerMM(p.textPt())
	return Shape{Name: "p", Width: width, Height: max(240, 0.46*width)}
}

func (p Printing) textPt() float64 { return cmp.Or(p.TextPt, plot.DefaultTextPt) }

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

// WriteLine writes the plot of 1/w² against added capacitance, with the
// intercept marked, as an SVG file. ErrNoLine where there is none.
func WriteLine(w io.Writer, r fit.Result) error {
	f := Line(r, nil, Wide)
	if f == nil {
		return ErrNoLine
	}
	return f.WriteFile(w)
}
