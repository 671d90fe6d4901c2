package cli

import (
	"cmp"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/outfile"
	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/figure"
	"coilsweep/report/terminal"
)

func newCapacitance(c *console) *cobra.Command {
	options := workbench.NewFit(false)
	var stated fit.Terminals
	var lengths []string
	plot := outfile.File{Option: "plot"}
	const group = "Known capacitances"
	known := workbench.Options{
		{Name: "winding", Group: group, Value: workbench.Capacitance(&stated.Winding),
			Help: "capacitance of the winding, known from elsewhere"},
		{Name: "lead", Group: group, Value: workbench.Capacitance(&stated.Lead),
			Help: "capacitance of the coil's own lead"},
		{Name: "cable", Group: group, Value: workbench.Capacitance(&stated.Cable),
			Help: "capacitance of the cable used for the takes"},
		{Name: "input", Group: group, Value: workbench.Capacitance(&stated.Input), Help: "capacitance of the input"},
		{Name: "cable-length", Group: group, Value: workbench.TextList(&lengths),
			Help: "length of the cable in m, or TAKE=METRES for each take"},
	}
	return c.command(&cobra.Command{
		Use:   "capacitance DIR",
		Short: "Account for all capacitance at the coil's terminals: winding, lead, cable, input",
		Long: `Account for all capacitance at the coil's terminals. The takes show the total.
Stated parts are subtracted; the rest belongs to the winding. At the end stands what
is unaccounted for: the total less all that is stated, judged by En against zero.
A part without a tolerance has the usual one, ±5 %.

The capacitance per metre of cable follows from the cable's length, where its
capacitance or that of the input is stated. Two takes with
cables of different lengths are better: they also separate the cable from the coil.
State a rough capacitance for each when you measure (--fixture-c "300p 90%").`,
		Example: `  coilsweep capacitance bridge --cable-length 3 --input 40p
  coilsweep capacitance bridge --cable-length short=1 --cable-length long=6`,
		Args: oneArg("the coil folder DIR"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var err error
			if stated.CableM, err = cableLengths(lengths); err != nil {
				return err
			}
			if err := cmp.Or(needs(cmd, "force", "plot"), plot.Check(".svg")); err != nil {
				return err
			}
			e, err := c.asLastFit(cmd.Context(), args[0], options)
			if err != nil {
				return err
			}
			account, err := e.Fitted().Account(stated)
			if err != nil {
				return &workbench.UsageError{Err: err}
			}
			if plot.Path != "" {
				if err := plot.Write(func(w io.Writer) error { return figure.WriteLine(w, *e.Result) }); err != nil {
					return fmt.Errorf("%s: %w", plot.Path, err)
				}
			}
			return c.showRecord(account, func(w io.Writer) error {
				return terminal.Account(w, *e.Result, *account, screen.TableOptions(w))
			}, e.Unfitness())
		},
	}, known, options.Options, output(
		text("plot", "write 1/w² against added C to FILE.svg", &plot.Path), forceOption(&plot.Force),
		c.jsonOption("the account")))
}

// cableLengths reads "3", "short=1.5m".
func cableLengths(texts []string) (map[string]float64, error) {
	metres := map[string]float64{}
	for _, given := range texts {
		take, length, named := strings.Cut(given, "=")
		if !named {
			take, length = "", given
		}
		m, err := quantity.ParseMetres(length)
		if err != nil {
			return nil, &workbench.OptionError{Option: "cable-length", Err: err}
		}
		if _, twice := metres[take]; twice {
			return nil, usagef("--cable-length is given twice for one take")
		}
		metres[take] = m
	}
	return metres, nil
}
