package cli

import (
	"fmt"
	"io"
	"path/filepath"

	"coilsweep/cmd/coilsweep/internal/inguitar"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/harness"
	"coilsweep/report/page"
)

func newReport(c *console) *cobra.Command {
	options := workbench.NewFit(true)
	var guitar, hear string
	var certificate bool
	return c.command(&cobra.Command{
		Use:   "report DIR",
		Short: "Write report.html: one page with the pictures and the numbers",
		Long: `Write report.html into the coil folder: one file that opens anywhere, without a
network. It shows the last fit if that is up to date. If not, it fits the takes
first, with the options of the last fit where none are given.

With --harness the page also shows what the coil does in a guitar, described by
a file as in 'coilsweep predict --help', and with --hear plays it.

With --certificate it writes certificate.html instead, to print on A4 and sign: what
was measured, with what, by whom and under which conditions, the results with their
uncertainty and what they are traced by. What nobody stated is said to be missing.`,
		Example: `  coilsweep report bridge
  coilsweep report bridge --harness guitar.toml --montecarlo 1000
  coilsweep report bridge --certificate`,
		Args: oneArg("the coil folder DIR"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o, err := ofLastFit(options)
			if err != nil {
				return err
			}
			if err := needs(cmd, "hear", "harness"); err != nil {
				return err
			}
			if err := contradict(cmd, "certificate", "harness"); err != nil {
				return err
			}
			var inGuitar *harness.Harness
			if guitar != "" {
				if inGuitar, err = inguitar.OneCoilHarness(guitar); err != nil {
					return err
				}
			}
			o.Fit.Advise = !certificate
			bar := screen.NewCounter(c.err, "Monte Carlo", o.Fit.MonteCarlo)
			o.Fit.Progress = bar.Show
			e, err := c.evaluate(cmd.Context(), args[0], o)
			bar.Clear()
			if err != nil {
				return err
			}
			document, err := page.NewCoilDocument(e, workbench.Made(), programName())
			if err != nil {
				return err
			}
			if inGuitar != nil {
				coil := []harness.Coil{{Name: e.Folder.Coil.Name, Fitted: e.Fitted()}}
				if document.Harness, err = inGuitar.Predict(coil); err != nil {
					return err
				}
				if document.Listening, err = inguitar.HearOn(cmd.Context(), hear, *inGuitar, coil); err != nil {
					return err
				}
			}
			name, write := evaluation.ReportFile, page.Coil
			if certificate {
				name, write = evaluation.CertificateFile, page.Certificate
			}
			if err := e.Write(name, func(w io.Writer) error { return write(w, document) }); err != nil {
				return err
			}
			fmt.Fprintln(c.out, filepath.Join(e.Folder.Dir, name))
			return e.Unfitness()
		},
	}, options.Options, output(text("harness", "file that describes a guitar: show the coil in it", &guitar),
		inguitar.HearOption(&hear), on("certificate", "write certificate.html in its place", &certificate)))
}

// ofLastFit evaluates with the fitted circuit, by the options that are given or
// else by those of the coil's last fit.
func ofLastFit(options *workbench.Fit) (evaluation.Options, error) {
	o := evaluation.Options{Circuit: true, AsLast: !options.Given("model", "shared-gain")}
	given, err := options.Analysis()
	if given != nil {
		o.Fit = *given
	}
	return o, err
}
