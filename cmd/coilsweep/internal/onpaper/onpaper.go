// Package onpaper is how a figure is printed: its options, for command lines and pages.
package onpaper

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
)

// Limits of a printed figure.
const (
	leastFigureM, mostFigureM = 0.04, 1
	leastTextPt, mostTextPt   = 4, 24
	leastDPI, mostDPI         = 50, 2400
)

// Figure are the options of a figure for print.
type Figure struct {
	workbench.Options
	Kind  string
	Takes []string // that alone are shown; none: all

	width, height string
	textPt, dpi   float64
}

// NewFigure has the defaults; group is the heading of its options in the help.
func NewFigure(group string) *Figure {
	f := &Figure{Kind: string(figure.KindFit), width: fmt.Sprintf("%dmm", figure.DefaultWidthMM),
		textPt: plot.DefaultTextPt, dpi: plot.DefaultDPI}
	add := func(name, help string, v workbench.Value) {
		f.Options = append(f.Options, &workbench.Option{Name: name, Group: group, Page: true, Help: help, Value: v})
	}
	add("what", "what it shows: "+strings.Join(Kinds(), ", "), workbench.Text(&f.Kind))
	add("take", "show this take only (may be repeated)", workbench.TextList(&f.Takes))
	add("width", "width on paper", workbench.Text(&f.width))
	add("height", "height on paper (default: what suits the figure)", workbench.Text(&f.height))
	add("text", "size of the text in pt", workbench.Number(&f.textPt))
	add("dpi", "resolution of a PNG, pixels per inch", workbench.Number(&f.dpi))
	return f
}

// Kinds are the words for what a figure can show.
func Kinds() []string {
	return notation.Each(figure.Kinds(), func(k figure.Kind) string { return string(k) })
}

func usage(format string, args ...any) error {
	return &workbench.UsageError{Err: fmt.Errorf(format, args...)}
}

// Check refuses what no figure shows.
func (f *Figure) Check() error {
	if !slices.Contains(Kinds(), f.Kind) {
		return usage("{what} %q: want one of %s", f.Kind, strings.Join(Kinds(), ", "))
	}
	notOfTakes := []figure.Kind{figure.KindPredict, figure.KindLine, figure.KindMeter}
	if f.Takes != nil && slices.Contains(notOfTakes, figure.Kind(f.Kind)) {
		return usage("{take} does not go with {what} %s", f.Kind)
	}
	return nil
}

// Printing is the figure's size in a format.
func (f *Figure) Printing(format plot.Format) (figure.Printing, error) {
	p := figure.Printing{Format: format, TextPt: f.textPt, DPI: f.dpi, Made: workbench.Made()}
	var err error
	if p.WidthMM, err = paperMM("width", f.width); err != nil {
		return p, err
	}
	if f.height != "" {
		if p.HeightMM, err = paperMM("height", f.height); err != nil {
			return p, err
		}
	}
	if !(f.textPt >= leastTextPt && f.textPt <= mostTextPt) {
		return p, usage("{text} %g: want %d to %d pt", f.textPt, leastTextPt, mostTextPt)
	}
	if !(f.dpi >= leastDPI && f.dpi <= mostDPI) {
		return p, usage("{dpi} %g: want %d to %d", f.dpi, leastDPI, mostDPI)
	}
	if f.dpi != plot.DefaultDPI && format != plot.PNG {
		return p, usage("{dpi} is for a .png: a .%s is sharp at any size", format)
	}
	return p, nil
}

// paperMM reads a length such as "85mm".
func paperMM(option, text string) (float64, error) {
	m, err := quantity.ParseMetres(text)
	if err != nil {
		return 0, &workbench.OptionError{Option: option, Err: err}
	}
	if !(m >= leastFigureM && m <= mostFigureM) {
		return 0, usage("{%s} %s: want %.0f mm to %.0f mm, with the unit", option, text, leastFigureM*1e3,
			mostFigureM*1e3)
	}
	return m * 1e3, nil
}

// Selected are the takes that are to be shown, in the order of the result.
func (f *Figure) Selected(takes []fit.TakeResult) ([]fit.TakeResult, error) {
	if f.Takes == nil {
		return takes, nil
	}
	have := notation.Each(takes, func(t fit.TakeResult) string { return t.Name })
	for _, name := range f.Takes {
		if !slices.Contains(have, name) {
			return nil, usage("{take} %q: want one of %s", name, strings.Join(have, ", "))
		}
	}
	return slices.DeleteFunc(slices.Clone(takes), func(t fit.TakeResult) bool {
		return !slices.Contains(f.Takes, t.Name)
	}), nil
}

// Print writes the figure of a result; predict makes what is shown of a coil in a guitar.
func (f *Figure) Print(w io.Writer, format plot.Format, r fit.Result,
	predict func() (*harness.Prediction, error),
) error {
	if err := f.Check(); err != nil {
		return err
	}
	if !slices.Contains(Formats(), string(format)) {
		return usage("figures are written as %s, not as %q", strings.Join(Formats(), ", "), format)
	}
	printing, err := f.Printing(format)
	if err != nil {
		return err
	}
	if figure.Kind(f.Kind) == figure.KindPredict {
		p, err := predict()
		if err != nil {
			return err
		}
		return figure.PrintPrediction(w, *p, printing)
	}
	if r.Takes, err = f.Selected(r.Takes); err != nil {
		return err
	}
	return figure.Print(w, r, figure.Kind(f.Kind), printing)
}

// Formats are the formats of a printed figure.
func Formats() []string { return []string{string(plot.PDF), string(plot.SVG), string(plot.PNG)} }
