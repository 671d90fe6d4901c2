package cli

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/outfile"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/data"
)

func newExport(c *console) *cobra.Command {
	options := workbench.NewFit(false)
	var audio, force bool
	var authors []string
	return c.command(&cobra.Command{
		Use:   "export DIR FILE.zip",
		Short: "Pack a coil into one archive for a publication",
		Long: `Pack a coil into one ZIP archive with a README inside: the numbers and a
description of their format, the curves as response.csv, the fitted circuit as a
netlist, the impedance of the coil alone with its uncertainty (also as a Touchstone
file), coil.toml and every take.toml, checksums, and with --audio the recordings. The
coil folder stays as it is.

With --author the archive has a file that says how to cite it (CITATION.cff).`,
		Example: `  coilsweep export bridge bridge.zip
  coilsweep export bridge bridge.zip --audio --author "A. Winder" --author "Coil Lab"`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return errors.New("want the coil folder DIR and the archive FILE.zip")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			for i, name := range authors {
				if strings.TrimSpace(name) == "" || slices.Contains(authors[:i], name) {
					return usagef("--author %q: want the name of an author, each once", name)
				}
			}
			file := outfile.File{Path: args[1], Force: force}
			if err := file.Check(".zip"); err != nil {
				return err
			}
			e, err := c.asLastFit(cmd.Context(), args[0], options)
			if err != nil {
				return err
			}
			archive := data.ArchiveOf(e, audio, programName())
			archive.Authors = authors
			if err := file.Write(func(w io.Writer) error { return data.WriteArchive(w, archive) }); err != nil {
				return err
			}
			if authors == nil {
				c.warn("%s says nothing of how to cite it: name its authors with --author", file.Path)
			}
			if archive.WithoutImpedance != nil {
				c.warn("%s has no impedance: %v", file.Path, archive.WithoutImpedance)
			}
			fmt.Fprintln(c.out, file.Path)
			return e.Unfitness()
		},
	}, options.Options, output(
		on("audio", "put the recordings in too", &audio),
		&workbench.Option{Name: "author", Value: workbench.TextList(&authors),
			Help: "author as the archive is to be cited (may be repeated)"},
		forceOption(&force)))
}
