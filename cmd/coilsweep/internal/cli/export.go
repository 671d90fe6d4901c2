package cli

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/data"
)

func newExport(c *console) *cobra.Command {
	options := workbench.NewFit(false)
	var audio, force bool
	return c.command(&cobra.Command{
		Use:   "export DIR FILE.zip",
		Short: "Pack a coil into one archive for a publication",
		Long: `Pack a coil into one ZIP archive with a README inside: the numbers and a
description of their format, the curves as response.csv, the fitted circuit as a
netlist, coil.toml and every take.toml, checksums, and with --audio the recordings. The
coil folder stays as it is.`,
		Example: `  coilsweep export bridge bridge.zip
  coilsweep export bridge bridge.zip --audio`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return errors.New("want the coil folder DIR and the archive FILE.zip")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			file := outFile{path: args[1], force: force}
			if err := file.check(".zip"); err != nil {
				return err
			}
			e, err := c.asLastFit(cmd.Context(), args[0], options)
			if err != nil {
				return err
			}
			archive := data.ArchiveOf(e, audio, programName())
			if err := file.write(func(w io.Writer) error { return data.WriteArchive(w, archive) }); err != nil {
				return err
			}
			fmt.Fprintln(c.out, file.path)
			return e.Unfitness()
		},
	}, options.Options, output(
		on("audio", "put the recordings in too", &audio), forceOption(&force)))
}
