package cli

import (
	"cmp"
	"io"

	"coilsweep/cmd/coilsweep/internal/inguitar"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/outfile"
	"coilsweep/cmd/coilsweep/internal/published"
	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/data"
	"coilsweep/report/page"
	"coilsweep/report/terminal"
)

func newPredict(c *console) *cobra.Command {
	options := workbench.NewFit(false)
	guitar := inguitar.NewGuitar(true)
	netlist, csv, html := outfile.File{Option: "netlist"}, outfile.File{Option: "csv"}, outfile.File{Option: "out"}
	var force bool
	var hear string
	var sign decimal
	return c.command(&cobra.Command{
		Use:   "predict DIR [DIR2]",
		Short: "Predict the measured coil in a guitar: loaded peak, Q, knobs, cable",
		Long: `Predict what one or two measured coils do in a guitar: volume and tone pots,
cable and amplifier. U95 includes that of the coils and the tolerances of the
parts. Give the parts as options or in a file:

  schema = "coilsweep.harness/1"
  wiring = "series"                 # of two coils: series, parallel or split
  [volume]
  resistance = "500k 20%"
  taper = "audio"                   # audio, linear or reverse-log
  position = 10                     # 0 to 10
  [tone]
  resistance = "500k"
  capacitance = "22n 10%"
  [cable]
  length_m = 5
  per_metre = "100p 10%"
  [amplifier]
  resistance = "1M"

--target finds the cable, or with --solve tone-c the tone capacitor, that puts
the peak at a frequency.`,
		Example: `  coilsweep predict bridge --volume 500k --tone 500k --tone-c 22n --cable 470p
  coilsweep predict bridge neck --wiring parallel --harness guitar.toml --target 3.2k
  coilsweep predict bridge --harness guitar.toml --out prediction.html`,
		Args: oneOrTwo("one coil folder or two"),
		RunE: func(cmd *cobra.Command, args []string) error {
			h, part, err := guitar.Plan(len(args))
			if err != nil {
				return err
			}
			if hear != "" && len(args) != 1 {
				return usagef("--hear is for one coil; 'coilsweep hear' plays two, each alone in the guitar")
			}
			if err := cmp.Or(needs(cmd, "decimal", "csv"), needs(cmd, "hear", "out"),
				needs(cmd, "force", "netlist", "csv", "out")); err != nil {
				return err
			}
			netlist.Force, csv.Force, html.Force = force, force, force
			if err := cmp.Or(netlist.Check(".cir", ".net", ".sp"), csv.Check(".csv"), html.Check(".html")); err != nil {
				return err
			}
			document := page.PredictionDocument{Harness: h, Made: workbench.Made(), Program: programName()}
			coils, measured, unfit, err := c.inGuitar(cmd.Context(), args, options)
			if err != nil {
				return err
			}
			document.Coils = measured
			prediction, err := h.Predict(coils)
			if err != nil {
				return err
			}
			if unfit != nil {
				prediction.Warnings = append(prediction.Warnings, unfit.Error())
			}
			document.Prediction = *prediction
			if document.Listening, err = inguitar.HearOn(cmd.Context(), hear, h, coils); err != nil {
				return err
			}
			if guitar.TargetHz != 0 {
				if document.Target, err = h.Solve(coils, part, guitar.TargetHz); err != nil {
					return err
				}
			}
			if err := c.writeFiles([]filled{
				{netlist, func(w io.Writer) error { return h.WriteNetlist(w, coils) }},
				{csv, func(w io.Writer) error { return data.PredictionCSV(w, *prediction, sign.csv()) }},
				{html, func(w io.Writer) error { return page.Prediction(w, document) }},
			}); err != nil {
				return err
			}
			return c.showRecord(published.Prediction{Prediction: prediction, Target: document.Target}, func(w io.Writer) error {
				return terminal.Prediction(w, *prediction, document.Target, screen.TableOptions(w))
			}, unfit)
		},
	}, guitar.Options, options.Options, output(
		text("netlist", "write the circuit to FILE.cir, for ngspice", &netlist.Path),
		text("csv", "write the response to FILE.csv", &csv.Path), sign.option("--csv"),
		text("out", "write a page with pictures to FILE.html", &html.Path), inguitar.HearOption(&hear),
		forceOption(&force), c.jsonOption("the prediction")))
}
