package main

import (
	"bytes"
	"embed"
	"fmt"
	"io/fs"

	"github.com/spf13/cobra"

	"coilsweep/capture/atomicfile"
	"coilsweep/report/page"
)

//go:embed guide
var guideFiles embed.FS

func newGuide(c *console) *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use:   "guide",
		Short: "Write the guide to the bench: wiring, exciter, placing, cautions",
		Long: `Write the guide to the bench as one page that opens anywhere, without a
network: wiring drawings, how to wind and place the exciter, how to measure the
fixture, and the cautions.`,
		Example: `  coilsweep guide
  coilsweep guide --out bench-guide.html`,
		Args: noArgs,
		RunE: c.body(func(*cobra.Command, []string) error {
			files, err := fs.Sub(guideFiles, "guide")
			if err != nil {
				return err
			}
			text, err := fs.ReadFile(files, "guide.md")
			if err != nil {
				return err
			}
			var html bytes.Buffer
			if err := page.Guide(&html, "coilsweep: guide to the bench", text, files); err != nil {
				return err
			}
			if err := atomicfile.Write(out, html.Bytes()); err != nil {
				return err
			}
			_, err = fmt.Fprintln(c.out, out)
			return err
		}),
	}
	cmd.Flags().StringVar(&out, "out", "guide.html", "file to write")
	return cmd
}
