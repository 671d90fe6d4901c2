package cli

import (
	"cmp"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/outfile"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
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

// plotting are the options of 'plot'.
type plotting struct {
	fit    *workbench.Fit
	guitar *workbench.Guitar
	what   string
	out    outfile.File
	size   figureSize
	only   []string
}

func newPlot(c *console) *cobra.Command {
	p := &plotting{fit: workbench.NewFit(false), guitar: workbench.NewGuitar(false), what: string(figure.KindFit),
		out: outfile.File{Option: "out"}}
	return c.command(&cobra.Command{
		Use:   "plot DIR...",
		Short: "Write a figure for print: SVG, PDF or PNG",
		Long: `Write a figure for print. The ending of --out sets the format: .svg (text as
outlines), .pdf (font embedded) or .png.

  response    what was measured: magnitude with U95, and phase
  fit         the fitted circuit with its U95 over what was measured
  residuals   measured minus fitted, in standard uncertainties
  line        1/w² against added capacitance: L and C
  meter       meter readings against the fit
  predict     one coil or two in a guitar; its parts as for 'coilsweep predict'
  delay       group delay
  noise       response and noise floor
  distortion  second and third harmonic, where they stand above the noise

The magnitudes of several coils (response and fit) are overlaid, with a figure for each
load that all have; a DIR that is not a coil folder stands for all coils below it. Up to
eight coils have their names. Of more, the first and those furthest from it have; of
those below a folder, the ones that stand out.

Figure and text have the size that you ask for: do not scale them afterwards.`,
		Example: `  coilsweep plot bridge --what fit --out fit.pdf
  coilsweep plot bridge --what line --width 85mm --text 7 --out line.svg
  coilsweep plot neck bridge --what response --out both.svg
  coilsweep plot shop --out run.png
  coilsweep plot bridge --what predict --volume 500k --cable 470p --out loaded.png`,
		Args: someDirs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			draw, unfit, err := p.prepare(cmd, c, args)
			if err != nil {
				return err
			}
			if err := p.out.Write(draw); err != nil {
				return err
			}
			fmt.Fprintln(c.out, p.out.Path)
			return unfit
		},
	}, output(
		text("out", "the file to write: NAME.svg, NAME.pdf or NAME.png", &p.out.Path), forceOption(&p.out.Force),
		text("what", "what it shows: "+strings.Join(pictureNames(), ", "), &p.what),
		&workbench.Option{Name: "take", Value: workbench.TextList(&p.only),
			Help: "show this take only (may be repeated)"},
	), p.size.options(), p.fit.Options, p.guitar.Options)
}

func pictureNames() []string {
	return notation.Each(figure.Kinds(), func(k figure.Kind) string { return string(k) })
}

// prepare gives what draws the figure, and the error of an evaluation without
// some takes.
func (p *plotting) prepare(cmd *cobra.Command, c *console, dirs []string) (draw func(io.Writer) error, unfit,
	err error) {
	what := figure.Kind(p.what)
	if !slices.Contains(figure.Kinds(), what) {
		return nil, nil, usagef("--what %q: want one of %s", p.what, strings.Join(pictureNames(), ", "))
	}
	printing, err := p.size.printing(p.out.Path)
	if err == nil {
		err = p.out.Check(".svg", ".pdf", ".png")
	}
	if err != nil {
		return nil, nil, err
	}
	if p.only != nil && slices.Contains([]figure.Kind{figure.KindPredict, figure.KindLine, figure.KindMeter}, what) {
		return nil, nil, usagef("--take does not go with --what %s", what)
	}
	if what == figure.KindPredict {
		return p.prediction(cmd, c, dirs, printing)
	}
	if part := p.guitar.AnyGiven(); part != "" {
		return nil, nil, usagef("--%s belongs to --what predict", part)
	}
	named := dirs
	if dirs, err = c.folders(cmd.Context(), named); err != nil {
		return nil, nil, err
	}
	if slices.Equal(slices.Sorted(slices.Values(named)), dirs) {
		dirs = named // in the order that was asked for
	}
	if len(dirs) > 1 {
		return p.overlay(cmd, c, dirs, len(dirs) > len(named), what, printing)
	}
	e, err := c.asLastFit(cmd.Context(), dirs[0], p.fit)
	if err != nil {
		return nil, nil, err
	}
	result := *e.Result
	if p.only != nil {
		if result.Takes, err = selected(result.Takes, p.only); err != nil {
			return nil, nil, err
		}
	}
	return func(w io.Writer) error { return figure.Print(w, result, what, printing) }, e.Unfitness(), nil
}

// overlay draws several coils over each other; run: they were found below a folder.
func (p *plotting) overlay(cmd *cobra.Command, c *console, dirs []string, run bool, what figure.Kind,
	printing figure.Printing) (draw func(io.Writer) error, unfit, err error) {
	one := ""
	if p.only != nil {
		one = "take"
	}
	switch one = cmp.Or(one, p.fit.AnyGiven()); {
	case what != figure.KindResponse && what != figure.KindFit:
		return nil, nil, usagef("--what %s is for one coil folder; several are overlaid by response and fit", what)
	case one != "":
		return nil, nil, usagef("--%s is for one coil folder; several are shown as last fitted", one)
	}
	coils, unfit, err := c.measured(cmd.Context(), dirs, evaluation.Options{Curves: true}, run)
	if err != nil {
		return nil, nil, err
	}
	specimens := workbench.Specimens(coils)
	return func(w io.Writer) error { return figure.PrintOverlays(w, specimens, run, what, printing) }, unfit, nil
}

// selected are the takes of these names, in the order of the result.
func selected(takes []fit.TakeResult, names []string) ([]fit.TakeResult, error) {
	want := map[string]bool{}
	for _, name := range names {
		want[name] = true
	}
	var out []fit.TakeResult
	var have []string
	for _, t := range takes {
		have = append(have, t.Name)
		if want[t.Name] {
			out = append(out, t)
			delete(want, t.Name)
		}
	}
	for _, name := range names {
		if want[name] {
			return nil, usagef("--take %q: want one of %s", name, strings.Join(have, ", "))
		}
	}
	return out, nil
}

// prediction draws what the coils do in a guitar.
func (p *plotting) prediction(cmd *cobra.Command, c *console, dirs []string,
	printing figure.Printing) (draw func(io.Writer) error, unfit, err error) {
	h, _, err := p.guitar.Plan(len(dirs))
	if err != nil {
		return nil, nil, err
	}
	coils, _, unfit, err := c.inGuitar(cmd.Context(), dirs, p.fit)
	if err != nil {
		return nil, nil, err
	}
	prediction, err := h.Predict(coils)
	if err != nil {
		return nil, nil, err
	}
	return func(w io.Writer) error { return figure.PrintPrediction(w, *prediction, printing) }, unfit, nil
}

// figureSize is the size of a figure on paper.
type figureSize struct {
	width, height string
	textPt, dpi   float64
}

func (s *figureSize) options() workbench.Options {
	s.width, s.textPt, s.dpi = fmt.Sprintf("%dmm", figure.DefaultWidthMM), plot.DefaultTextPt, plot.DefaultDPI
	return output(
		text("width", "width on paper", &s.width),
		text("height", "height on paper (default: what suits the figure)", &s.height),
		&workbench.Option{Name: "text", Value: workbench.Number(&s.textPt), Help: "size of the text in pt"},
		&workbench.Option{Name: "dpi", Value: workbench.Number(&s.dpi), Help: "resolution of a PNG, pixels per inch"},
	)
}

// printing reads the flags, and the format from the ending of the file.
func (s *figureSize) printing(file string) (figure.Printing, error) {
	p := figure.Printing{TextPt: s.textPt, DPI: s.dpi, Made: workbench.Made()}
	if file == "" {
		return p, usagef("--out is missing: the file to write, NAME.svg, NAME.pdf or NAME.png")
	}
	ending := strings.ToLower(strings.TrimPrefix(filepath.Ext(file), "."))
	switch p.Format = plot.Format(ending); p.Format {
	case plot.SVG, plot.PDF, plot.PNG:
	case "":
		return p, usagef("--out %q has no ending: .svg, .pdf or .png says what to write", file)
	default:
		return p, usagef("--out %q: figures are written as .svg, .pdf or .png, not as .%s", file, ending)
	}
	var err error
	if p.WidthMM, err = paperMM("width", s.width); err != nil {
		return p, err
	}
	if s.height != "" {
		if p.HeightMM, err = paperMM("height", s.height); err != nil {
			return p, err
		}
	}
	if !(s.textPt >= leastTextPt && s.textPt <= mostTextPt) {
		return p, usagef("--text %g: want %d to %d pt", s.textPt, leastTextPt, mostTextPt)
	}
	if !(s.dpi >= leastDPI && s.dpi <= mostDPI) {
		return p, usagef("--dpi %g: want %d to %d", s.dpi, leastDPI, mostDPI)
	}
	if s.dpi != plot.DefaultDPI && p.Format != plot.PNG {
		return p, usagef("--dpi is for a .png: a .%s is sharp at any size", ending)
	}
	return p, nil
}

// paperMM reads a length such as "85mm".
func paperMM(flag, text string) (float64, error) {
	m, err := quantity.ParseMetres(text)
	if err != nil {
		return 0, &workbench.OptionError{Option: flag, Err: err}
	}
	if !(m >= leastFigureM && m <= mostFigureM) {
		return 0, usagef("--%s %s: want %.0f mm to %.0f mm, with the unit", flag, text, leastFigureM*1e3,
			mostFigureM*1e3)
	}
	return m * 1e3, nil
}
