package main

import (
	"fmt"
	"io"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"coilsweep/report"
)

func newReport(c *console) *cobra.Command {
	var flags fitFlags
	cmd := &cobra.Command{
		Use:   "report DIR",
		Short: "Write report.html: one page with the pictures and the numbers",
		Long: `Write report.html into the coil folder: one file that opens anywhere, without a
network. The takes are analysed anew for it.`,
		Example: `  coilsweep report bridge`,
		Args:    oneArg("the coil folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			options, err := flags.options()
			if err != nil {
				return err
			}
			options.Advise = true
			a, err := analyseFolder(cmd.Context(), c, args[0], options)
			if err != nil {
				return err
			}
			document := report.Document{Result: *a.result, Coil: a.folder.Coil, Takes: a.takes, Made: time.Now(), Program: programName()}
			if err := a.write("report.html", func(w io.Writer) error { return report.Page(w, document) }); err != nil {
				return err
			}
			fmt.Fprintln(c.out, filepath.Join(a.folder.Dir, "report.html"))
			return a.unfitness()
		}),
	}
	flags.add(cmd)
	return cmd
}
