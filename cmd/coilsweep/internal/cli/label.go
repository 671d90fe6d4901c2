package cli

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/outfile"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/evaluation"
	"coilsweep/report/label"
)

func newLabel(c *console) *cobra.Command {
	out := outfile.File{Path: "labels.html", Option: "out"}
	return c.command(&cobra.Command{
		Use:   "label DIR...",
		Short: "Labels to print: name, date, L, C, R, resonance, Q, and all that as a QR code",
		Long: `Write a page with a label for each coil, several on a sheet, to print, cut out and
stick on. A DIR that is not a coil folder stands for all coils below it. f is the
resonance; f, Q and C are those of the coil alone, or the label says that they are with
the fixture. A camera reads the code without a network: it holds the text itself.`,
		Example: `  coilsweep label bridge neck
  coilsweep label shop --out shop-labels.html`,
		Args: someDirs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := out.Check(".html"); err != nil {
				return err
			}
			dirs, err := c.folders(cmd.Context(), args)
			if err != nil {
				return err
			}
			coils, unfit, err := c.measured(cmd.Context(), dirs, evaluation.Options{}, true)
			if err != nil {
				return err
			}
			labels, err := label.Of(coils)
			if err != nil {
				return err
			}
			if err := out.Write(func(w io.Writer) error { return label.Write(w, labels) }); err != nil {
				return err
			}
			if _, err := fmt.Fprintln(c.out, out.Path); err != nil {
				return err
			}
			return unfit
		},
	}, workbench.Options{text("out", "the file to write: NAME.html", &out.Path), forceOption(&out.Force)})
}
