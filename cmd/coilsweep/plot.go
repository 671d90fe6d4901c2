package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"coilsweep/capture/atomicfile"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/figure"
	"coilsweep/report/plot"
)

// Limits of a printed figure.
const (
	leastFigureM, mostFigureM = 0.04, 1
	leastTextPt, mostTextPt   = 4, 24
	leastDPI, mostDPI         = 50, 2400
)

func newPlot(c *console) *cobra.Command {
	var flags fitFlags
	var guitar harnessFlags
	var what, out string
	var size figureSize
	var only []string
	var names []string
	for _, p := range figure.Kinds() {
		names = append(names, string(p))
	}
	cmd := &cobra.Command{
		Use:   "plot DIR [DIR2]",
		Short: "Write a figure for print: SVG, PDF or PNG",
		Long: `Write a figure for print. The ending of --out says which kind: .svg (text as
outlines), .pdf (its font embedded) or .png.

  response    what was measured: magnitude with U95, and phase
  fit         the fitted circuit with its U95 over what was measured
  residuals   what the fit leaves over, in standard uncertainties
  line        1/w² against added capacitance: L and C
  meter       meter readings against the fit
  predict     one coil or two in a guitar; its parts as for 'coilsweep predict'
  delay       group delay
  noise       response and noise floor
  distortion  second and third harmonic

The figure has the width that is asked for, and its text the size: nothing is to
be scaled afterwards.`,
		Example: `  coilsweep plot bridge --what fit --out fit.pdf
  coilsweep plot bridge --what line --width 85mm --text 7 --out line.svg
  coilsweep plot bridge --what predict --volume 500k --cable 470p --out loaded.png`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) < 1 || len(args) > 2 {
				return fmt.Errorf("one coil folder is wanted, or two for --what predict, not %d", len(args))
			}
			return nil
		},
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			shown := figure.Kind(what)
			known := false
			for _, p := range figure.Kinds() {
				known = known || p == shown
			}
			if !known {
				return usagef("--what %q: want one of %s", what, strings.Join(names, ", "))
			}
			printing, err := size.printing(out)
			if err != nil {
				return err
			}
			options, err := flags.options()
			if err != nil {
				return err
			}
			if shown != figure.KindPredict {
				if len(args) != 1 {
					return usagef("--what %s is for one coil folder", what)
				}
				for _, name := range append([]string{"harness", "wiring"}, partFlags...) {
					if cmd.Flags().Changed(name) {
						return usagef("--%s belongs to --what predict", name)
					}
				}
			}
			var b bytes.Buffer
			var unfit error
			if shown == figure.KindPredict {
				if only != nil {
					return usagef("--take has no meaning for --what predict")
				}
				unfit, err = predictedFigure(cmd, c, &b, args, &flags, options, &guitar, printing)
			} else {
				unfit, err = takesFigure(cmd, c, &b, args[0], &flags, options, only, shown, printing)
			}
			if err != nil {
				return err
			}
			if err := atomicfile.Write(out, b.Bytes()); err != nil {
				return err
			}
			fmt.Fprintln(c.out, out)
			return unfit
		}),
	}
	flags.add(cmd)
	f := cmd.Flags()
	f.StringVar(&what, "what", string(figure.KindFit), "what it shows: "+strings.Join(names, ", "))
	f.StringVarP(&out, "out", "o", "", "the file to write: NAME.svg, NAME.pdf or NAME.png")
	f.StringArrayVar(&only, "take", nil, "show this take only (may be repeated)")
	size.add(cmd)
	guitar.add(f)
	return cmd
}

// takesFigure draws what the takes of a coil show.
func takesFigure(cmd *cobra.Command, c *console, w io.Writer, dir string, flags *fitFlags, options fit.Options, only []string, what figure.Kind, p figure.Printing) (unfit, err error) {
	a, err := analyseFolder(cmd.Context(), c, dir, flags.orLast(cmd, c, dir, options))
	if err != nil {
		return nil, err
	}
	if only != nil {
		if a.result.Takes, err = selected(a.result.Takes, only); err != nil {
			return nil, err
		}
	}
	return a.unfitness(), figure.Print(w, *a.result, what, p)
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
			return nil, usagef("--take %q: there are %s", name, strings.Join(have, ", "))
		}
	}
	return out, nil
}

// predictedFigure draws what the coils do in a guitar.
func predictedFigure(cmd *cobra.Command, c *console, w io.Writer, dirs []string, flags *fitFlags, options fit.Options, guitar *harnessFlags, p figure.Printing) (unfit, err error) {
	h, err := guitar.harness(cmd)
	if err != nil {
		return nil, err
	}
	if want, err := h.Check(); err != nil {
		return nil, usageError{err}
	} else if want != len(dirs) {
		return nil, usagef("the harness is wired for %d of the coils, and %d are given: --wiring series, parallel or split is for two", want, len(dirs))
	}
	var coils []harness.Coil
	for _, dir := range dirs {
		a, err := analyseFolder(cmd.Context(), c, dir, flags.orLast(cmd, c, dir, options))
		if err != nil {
			return nil, err
		}
		coils = append(coils, harness.Coil{Name: a.folder.Coil.Name, Fitted: a.fitted})
		unfit = errors.Join(unfit, a.unfitness())
	}
	prediction, err := h.Predict(coils)
	if err != nil {
		return nil, err
	}
	return unfit, figure.PrintPrediction(w, *prediction, p)
}

// figureSize is the size of a figure on paper.
type figureSize struct {
	width, height string
	textPt, dpi   float64
}

func (s *figureSize) add(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&s.width, "width", fmt.Sprintf("%dmm", figure.DefaultWidthMM), "width on paper")
	f.StringVar(&s.height, "height", "", "height on paper (default: what suits the figure)")
	f.Float64Var(&s.textPt, "text", plot.DefaultTextPt, "size of the text in pt")
	f.Float64Var(&s.dpi, "dpi", plot.DefaultDPI, "resolution of a PNG, pixels per inch")
}

// printing reads the flags, and the format from the ending of the file.
func (s *figureSize) printing(file string) (figure.Printing, error) {
	p := figure.Printing{TextPt: s.textPt, DPI: s.dpi, Made: time.Now()}
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
	return p, nil
}

// paperMM reads a length such as "85mm".
func paperMM(flag, text string) (float64, error) {
	m, err := quantity.ParseMetres(text)
	if err != nil {
		return 0, usageError{fmt.Errorf("--%s: %w", flag, err)}
	}
	if !(m >= leastFigureM && m <= mostFigureM) {
		return 0, usagef("--%s %s: want %.0f mm to %.0f mm, with the unit", flag, text, leastFigureM*1e3, mostFigureM*1e3)
	}
	return m * 1e3, nil
}
