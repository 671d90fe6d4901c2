package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/capture/atomicfile"
	"coilsweep/report/data"
)

func newExport(c *console) *cobra.Command {
	var flags fitFlags
	var audio, force bool
	cmd := &cobra.Command{
		Use:   "export DIR FILE.zip",
		Short: "Pack a coil into one archive for a publication",
		Long: `Pack a coil into one ZIP archive with a README inside: the numbers and a
description of their format, the curves (response.csv), the fitted circuit as a
netlist, coil.toml and every take.toml, checksums, and
with --audio the recordings. The takes are analysed anew for it; the coil folder
stays as it is.`,
		Example: `  coilsweep export bridge bridge.zip
  coilsweep export bridge bridge.zip --audio`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return errors.New("want the coil folder DIR and the archive FILE.zip")
			}
			return nil
		},
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			dir, path := args[0], args[1]
			if !strings.EqualFold(filepath.Ext(path), ".zip") {
				return usagef("%s: an archive is called FILE.zip", path)
			}
			if _, err := os.Lstat(path); err == nil && !force {
				return fmt.Errorf("%s is there already: choose another name, or replace it with --force", path)
			}
			options, err := flags.options()
			if err != nil {
				return err
			}
			a, err := analyseFolder(cmd.Context(), c, dir, flags.orLast(cmd, c, dir, options))
			if err != nil {
				return err
			}
			f, err := atomicfile.Create(path)
			if err != nil {
				return err
			}
			defer f.Abort()
			if err := data.WriteArchive(f, data.Archive{
				Result: *a.result, Takes: a.takes, Audio: audio, Program: programName(),
				Open: func(name string) (io.ReadCloser, error) {
					return os.Open(filepath.Join(dir, filepath.FromSlash(name)))
				},
			}); err != nil {
				return err
			}
			if err := f.Commit(); err != nil {
				return err
			}
			fmt.Fprintln(c.out, path)
			return a.unfitness()
		}),
	}
	flags.add(cmd)
	cmd.Flags().BoolVar(&audio, "audio", false, "put the recordings in too")
	cmd.Flags().BoolVar(&force, "force", false, "replace FILE.zip")
	return cmd
}
