package main

import (
	"bytes"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/capture/atomicfile"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/figure"
	"coilsweep/report/terminal"
)

func newCapacitance(c *console) *cobra.Command {
	var flags fitFlags
	var winding, lead, cable, input capacitanceFlag
	var lengths []string
	var plot string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "capacitance DIR",
		Short: "Account for all capacitance at the coil's terminals: winding, lead, cable, input",
		Long: `Account for all capacitance at the coil's terminals. The takes show the total;
what is stated is taken off, and what is left belongs to the winding.

The capacitance of a metre of cable follows from its length, or better from two
takes with cables of different lengths, which also tell the cable from the coil:
state roughly what each has when it is measured (--fixture-c "300p 90%").`,
		Example: `  coilsweep capacitance bridge --cable-length 3 --input 40p
  coilsweep capacitance bridge --cable-length short=1 --cable-length long=6`,
		Args: oneArg("the coil folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			options, err := flags.options()
			if err != nil {
				return err
			}
			metres, err := cableLengths(lengths)
			if err != nil {
				return err
			}
			a, err := analyseFolder(cmd.Context(), c, args[0], flags.orLast(cmd, c, args[0], options))
			if err != nil {
				return err
			}
			account, err := a.fitted.Account(fit.Terminals{
				Winding: winding.value, Lead: lead.value, Cable: cable.value, Input: input.value, CableM: metres,
			})
			if err != nil {
				return usageError{err}
			}
			if plot != "" {
				var b bytes.Buffer
				if err := figure.WriteLine(&b, *a.result); err != nil {
					return fmt.Errorf("%s: %w", plot, err)
				}
				if err := atomicfile.Write(plot, b.Bytes()); err != nil {
					return err
				}
			}
			if asJSON {
				err = c.json(account)
			} else {
				err = terminal.Account(c.out, *a.result, *account, tableOptions(c.out, false))
			}
			if err != nil {
				return err
			}
			return a.unfitness()
		}),
	}
	flags.add(cmd)
	f := cmd.Flags()
	f.Var(&winding, "winding", "capacitance of the winding, known from elsewhere")
	f.Var(&lead, "lead", "capacitance of the coil's own lead")
	f.Var(&cable, "cable", "capacitance of the cable at the takes")
	f.Var(&input, "input", "capacitance of the input")
	f.StringArrayVar(&lengths, "cable-length", nil, "length of the cable in m, or TAKE=METRES for each take")
	f.StringVar(&plot, "plot", "", "write 1/w² against added C to this SVG file")
	f.BoolVar(&asJSON, "json", false, "print the account as JSON")
	return cmd
}

// cableLengths reads "3", "short=1.5m".
func cableLengths(texts []string) (map[string]float64, error) {
	metres := map[string]float64{}
	for _, text := range texts {
		take, length, named := strings.Cut(text, "=")
		if !named {
			take, length = "", text
		}
		m, err := quantity.ParseMetres(length)
		if err != nil {
			return nil, usageError{fmt.Errorf("--cable-length: %w", err)}
		}
		if _, twice := metres[take]; twice {
			return nil, usagef("--cable-length is given twice for one take")
		}
		metres[take] = m
	}
	return metres, nil
}
