package cli

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/onpaper"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/figure"
	"coilsweep/report/plot"
)

// plotting are the options of 'plot'.
type plotting struct {
	fit    *workbench.Fit
	guitar *workbench.Guitar
	figure *onpaper.Figure
	out    outFile
}

func newPlot(c *console) *cobra.Command {
	p := &plotting{fit: workbench.NewFit(false), guitar: workbench.NewGuitar(false),
		figure: onpaper.NewFigure(groupOutput), out: outFile{option: "out"}}
	return c.command(&cobra.Command{
		Use:   "plot DIR [DIR2]",
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
  distortion  second and third harmonic

Figure and text have the size that you ask for: do not scale them afterwards.`,
		Example: `  coilsweep plot bridge --what fit --out fit.pdf
  coilsweep plot bridge --what line --width 85mm --text 7 --out line.svg
  coilsweep plot bridge --what predict --volume 500k --cable 470p --out loaded.png`,
		Args: oneOrTwo("one coil folder, or two for --what predict"),
		RunE: func(cmd *cobra.Command, args []string) error {
			draw, unfit, err := p.prepare(cmd, c, args)
			if err != nil {
				return err
			}
			if err := p.out.write(draw); err != nil {
				return err
			}
			fmt.Fprintln(c.out, p.out.path)
			return unfit
		},
	}, output(
		text("out", "the file to write: NAME.svg, NAME.pdf or NAME.png", &p.out.path), forceOption(&p.out.force),
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
	format, err := formatOf(p.out.path)
	if err != nil {
		return nil, nil, err
	}
	printing, err := p.figure.Printing(format)
	if err == nil {
		err = p.out.check(".svg", ".pdf", ".png")
	}
	if err != nil {
		return nil, nil, err
	}
	if what == figure.KindPredict {
		return p.prediction(cmd, c, dirs, printing)
	}
	if len(dirs) != 1 {
		return nil, nil, usagef("--what %s is for one coil folder", what)
	}
	if part := p.guitar.AnyGiven(); part != "" {
		return nil, nil, usagef("--%s belongs to --what predict", part)
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
func formatOf(file string) (plot.Format, error) {
	if file == "" {
		return "", usagef("--out is missing: the file to write, NAME.svg, NAME.pdf or NAME.png")
	}
	ending := strings.ToLower(strings.TrimPrefix(filepath.Ext(file), "."))
	switch format := plot.Format(ending); format {
	case plot.SVG, plot.PDF, plot.PNG:
		return format, nil
	case "":
		return "", usagef("--out %q has no ending: .svg, .pdf or .png says what to write", file)
	}
	return "", usagef("--out %q: figures are written as .svg, .pdf or .png, not as .%s", file, ending)
}
