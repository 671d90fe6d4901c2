package cli

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/capture/atomicfile"
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
description of their format, the curves as a table with a row of units, the
fitted circuit as a netlist, coil.toml and every take.toml, checksums, and with
--audio the recordings. The coil folder stays as it is.`,
		Example: `  coilsweep export bridge bridge.zip
  coilsweep export bridge bridge.zip --audio`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return errors.New("want the coil folder DIR and the archive FILE.zip")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			dir, path := args[0], args[1]
			if !strings.EqualFold(filepath.Ext(path), ".zip") {
				return usagef("%s: the name of the archive must end in .zip", path)
			}
			if _, err := os.Lstat(path); err == nil && !force {
				return fmt.Errorf("%s is there already: choose another name, or replace it with --force", path)
			}
			e, err := c.asLastFit(cmd.Context(), dir, options)
			if err != nil {
				return err
			}
			archive := data.ArchiveOf(e, audio, programName())
			if err := atomicfile.Fill(path, func(w io.Writer) error { return data.WriteArchive(w, archive) }); err != nil {
				return err
			}
			fmt.Fprintln(c.out, path)
			return e.Unfitness()
		},
	}, options.Options, output(
		on("audio", "put the recordings in too", &audio), on("force", "replace FILE.zip", &force)))
}
