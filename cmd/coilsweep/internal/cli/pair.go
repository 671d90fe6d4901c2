package cli

import (
	"cmp"
	"io"
	"path/filepath"

	"coilsweep/cmd/coilsweep/internal/inguitar"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/outfile"
	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/data"
	"coilsweep/report/figure"
	"coilsweep/report/page"
	"coilsweep/report/terminal"
)

func newPair(c *console) *cobra.Command {
	options := inguitar.NewPair()
	csv, picture, html := outfile.File{Option: "csv"}, outfile.File{Option: "plot"}, outfile.File{Option: "out"}
	var create, force bool
	var sign decimal
	return c.command(&cobra.Command{
		Use:   "pair DIR",
		Short: "The two coils of a hum-cancelling pickup: coupling, balance, hum, connections",
		Long: `Work out the two coils of a hum-cancelling pickup together, from takes of each coil
alone and of both connected, all with the exciter in one place above both: the
coupling and the capacitance between them, how well they are balanced, how much
hum is left, and what series, parallel, split and partial split do in the guitar.

With --new, start the folder of a pair: pair.toml, which is yours to edit, and coil
folders for the takes of each coil and of both. pair.toml says what was connected
in each take.`,
		Example: `  coilsweep pair bridge --new --first screws --second slugs --first-dcr "4.1k@22C 0.5%"
  coilsweep measure bridge/first --take bare
  coilsweep measure bridge/both --take series
  coilsweep pair bridge --volume 500k --cable 470p --partial-r 4.7k --out pair.html`,
		Args: oneArg("the folder DIR of the pair"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if create {
				if err := options.Create(args[0]); err != nil {
					return err
				}
				c.warn("made %s: measure each coil and both, as %s says", args[0], filepath.Join(args[0], "pair.toml"))
				return nil
			}
			for _, name := range []string{"name", "first", "second", "first-dcr", "second-dcr"} {
				if err := needs(cmd, name, "new"); err != nil {
					return err
				}
			}
			csv.Force, picture.Force, html.Force = force, force, force
			if err := cmp.Or(needs(cmd, "decimal", "csv"), csv.Check(".csv"), picture.Check(".svg", ".pdf", ".png"),
				html.Check(".html")); err != nil {
				return err
			}
			r, unfit, err := options.Run(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			printing := printingTo(picture)
			if err := c.writeFiles([]filled{
				{csv, func(w io.Writer) error { return data.PairCSV(w, r, sign.csv()) }},
				{picture, func(w io.Writer) error { return figure.PrintPair(w, r, printing) }},
				{html, func(w io.Writer) error { return page.Pair(w, r, printing.Made, programName()) }},
			}); err != nil {
				return err
			}
			return c.show(func(w io.Writer) error { return data.PairJSON(w, r) },
				func(w io.Writer) error { return terminal.Pair(w, r, screen.TableOptions(w)) }, unfit)
		},
	}, options.Options, workbench.Options{on("new", "start the folder of a pair", &create)}, output(
		text("csv", "write the responses of the connections to FILE.csv", &csv.Path), sign.option("--csv"),
		text("plot", "write them to FILE.svg, .pdf or .png", &picture.Path),
		text("out", "write a page with pictures to FILE.html", &html.Path), forceOption(&force),
		c.jsonOption("the pair")))
}
