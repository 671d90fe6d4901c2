package cli

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/guide"
	"coilsweep/cmd/coilsweep/internal/outfile"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/page"
)

func newGuide(c *console) *cobra.Command {
	out := outfile.File{Path: "guide.html", Option: "out"}
	return c.command(&cobra.Command{
		Use:   "guide",
		Short: "Write the guide to the bench: wiring, exciter, placing, cautions",
		Long: `Write the guide to the bench as one page that opens anywhere, without a
network: wiring drawings, how to wind and place the exciter, how to measure the
fixture, and the cautions.`,
		Example: `  coilsweep guide
  coilsweep guide --out bench-guide.html`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			if err := out.Check(".html"); err != nil {
				return err
			}
			words, err := guide.Files.ReadFile("guide.md")
			if err != nil {
				return err
			}
			if err := out.Write(func(w io.Writer) error {
				return page.Guide(w, "coilsweep: guide to the bench", words, guide.Files)
			}); err != nil {
				return err
			}
			_, err = fmt.Fprintln(c.out, out.Path)
			return err
		},
	}, workbench.Options{text("out", "the file to write: NAME.html", &out.Path), forceOption(&out.Force)})
}
