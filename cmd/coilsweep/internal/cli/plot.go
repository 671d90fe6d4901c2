package cli

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"coilsweep/cmd/coilsweep/internal/inguitar"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/onpaper"
	"coilsweep/cmd/coilsweep/internal/outfile"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/evaluation"
	"coilsweep/report/figure"
	"coilsweep/report/plot"
)

// plotting are the options of 'plot'.
type plotting struct {
	fit    *workbench.Fit
	guitar *inguitar.Guitar
	figure *onpaper.Figure
	out    outfile.File
}

func newPlot(c *console) *cobra.Command {
	p := &plotting{fit: workbench.NewFit(false), guitar: inguitar.NewGuitar(false),
		figure: onpaper.NewFigure(groupOutput), out: outfile.File{Option: "out"}}
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
	), p.figure.Options, p.fit.Options, p.guitar.Options)
}

// prepare gives what draws the figure, and the error of an evaluation without
// some takes.
func (p *plotting) prepare(cmd *cobra.Command, c *console, dirs []string) (draw func(io.Writer) error, unfit,
	err error) {
	if err := p.figure.Check(); err != nil {
		return nil, nil, err
	}
	what := figure.Kind(p.figure.Kind)
	format, err := formatOf(p.out)
	if err != nil {
		return nil, nil, err
	}
	printing, err := p.figure.Printing(format)
	if err == nil {
		err = p.out.Check(".svg", ".pdf", ".png")
	}
	if err != nil {
		return nil, nil, err
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
	if result.Takes, err = p.figure.Selected(result.Takes); err != nil {
		return nil, nil, err
	}
	return func(w io.Writer) error { return figure.Print(w, result, what, printing) }, e.Unfitness(), nil
}

// overlay draws several coils over each other; run: they were found below a folder.
func (p *plotting) overlay(cmd *cobra.Command, c *console, dirs []string, run bool, what figure.Kind,
	printing figure.Printing) (draw func(io.Writer) error, unfit, err error) {
	one := ""
	if p.figure.Takes != nil {
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

// formatOf reads the format from the ending of the file.
func formatOf(file outfile.File) (plot.Format, error) {
	if file.Path == "" {
		return "", usagef("--out is missing: the file to write, NAME.svg, NAME.pdf or NAME.png")
	}
	ending := strings.TrimPrefix(file.Ending(), ".")
	switch format := plot.Format(ending); format {
	case plot.SVG, plot.PDF, plot.PNG:
		return format, nil
	case "":
		return "", usagef("--out %q has no ending: .svg, .pdf or .png says what to write", file.Path)
	}
	return "", usagef("--out %q: figures are written as .svg, .pdf or .png, not as .%s", file.Path, ending)
}
