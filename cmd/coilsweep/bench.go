package main

import (
	"fmt"
	"os"
	"path/filepath"
	"text/tabwriter"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture/benchfile"
)

// benchTextFlags are the options from which a bench.toml is made.
type benchTextFlags struct {
	b         benchfile.Bench
	rate      hertzFlag
	level     float64
	buffer    secondsFlag
	exciterR  resistanceFlag
	exciterL  inductanceFlag
	senseR    resistanceFlag
	fixtureC  capacitanceFlag
	fixtureR  resistanceFlag
	flagNames []string
}

func (o *benchTextFlags) add(f *pflag.FlagSet) {
	b := &o.b
	f.StringVar(&b.Name, "name", "", "what the bench is called")
	f.StringVar(&b.Notes, "notes", "", "anything worth remembering")
	f.StringVar(&b.Card.Input, "input", "", "input device: number or part of the name")
	f.StringVar(&b.Card.Output, "output", "", "output device: number or part of the name")
	f.IntVar(&b.Card.CoilChannel, "coil-channel", 0, "input channel with the coil, from 1")
	f.IntVar(&b.Card.ReferenceChannel, "reference-channel", 0, "input channel with the reference, from 1")
	f.IntVar(&b.Card.OutputChannel, "output-channel", 0, "output channel with the exciter, from 1")
	f.Var(&o.rate, "rate", "sample rate")
	f.Float64Var(&o.level, "level", 0, "level in dBFS")
	f.Var(&o.buffer, "buffer", "latency to ask the sound card for")
	f.StringVar(&b.Drive.Kind, "drive", "", "how the exciter is driven: current or voltage")
	f.Var(&o.exciterR, "exciter-r", "resistance in the exciter's loop, for voltage drive")
	f.Var(&o.exciterL, "exciter-l", "inductance of the exciter, for voltage drive")
	f.StringVar(&b.Reference.Kind, "reference", "", "second channel: none, current or loopback")
	f.Var(&o.senseR, "sense-r", "sense resistor of a current reference")
	f.Var(&o.fixtureC, "fixture-c", "capacitance of cable, input and clips")
	f.Var(&o.fixtureR, "fixture-r", "resistance of the input")
	f.VisitAll(func(flag *pflag.Flag) { o.flagNames = append(o.flagNames, flag.Name) })
}

func (o *benchTextFlags) bench(f *pflag.FlagSet) benchfile.Bench {
	b := o.b
	b.Card.RateHz, b.Card.BufferS = int(o.rate), float64(o.buffer)
	if f.Changed("level") {
		b.Card.LevelDBFS = &o.level
	}
	b.Drive.ExciterR, b.Drive.ExciterL, b.Reference.SenseR = o.exciterR.value, o.exciterL.value, o.senseR.value
	b.Fixture.Capacitance, b.Fixture.Resistance = o.fixtureC.value, o.fixtureR.value
	return b
}

func newBench(c *console) *cobra.Command {
	var options benchTextFlags
	var create, asJSON bool
	cmd := &cobra.Command{
		Use:   "bench DIR",
		Short: "Show the bench that takes are made on, or start its bench.toml",
		Long: `Show the bench that belongs to a folder: DIR/bench.toml, or else the bench.toml in
the folder above, so that one can serve all coil folders beside it. 'measure',
'import', 'check', 'calibrate' and 'fixture' take from it what is not said on
their command line; every take keeps what it used.

With --new, start DIR/bench.toml. It is yours to edit then.`,
		Example: `  coilsweep bench . --new --input "line in" --output "line out" --reference current --sense-r "10 0.1%"
  coilsweep bench bridge`,
		Args: oneArg("the folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			if create {
				return startBench(c, args[0], options.bench(cmd.Flags()))
			}
			for _, name := range options.flagNames {
				if cmd.Flags().Changed(name) {
					return usagef("--%s needs --new; a bench.toml that is there is edited by hand", name)
				}
			}
			found, err := benchfile.Find(args[0])
			if err != nil {
				return err
			}
			return showBench(c, found, asJSON)
		}),
	}
	options.add(cmd.Flags())
	cmd.Flags().BoolVar(&create, "new", false, "start a bench.toml in DIR")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the bench as JSON")
	return cmd
}

func startBench(c *console, dir string, b benchfile.Bench) error {
	if info, err := os.Stat(dir); err != nil {
		return fmt.Errorf("cannot start a bench: %w", err)
	} else if !info.IsDir() {
		return fmt.Errorf("cannot start a bench: %s is a file", dir)
	}
	if _, err := benchfile.Encode(b); err != nil {
		return usageError{err}
	}
	path := filepath.Join(dir, benchfile.FileName)
	if err := benchfile.Create(path, b); err != nil {
		return err
	}
	c.warn("made %s: add what you know of the bench to it", path)
	return nil
}

func showBench(c *console, found benchfile.Found, asJSON bool) error {
	if asJSON {
		tables := map[string]map[string]any{}
		record := map[string]any{"path": found.Path, "sha256": found.SHA256}
		for _, e := range found.Given() {
			if e.Table == "" {
				record[e.Key] = e.Value
				continue
			}
			if tables[e.Table] == nil {
				tables[e.Table] = map[string]any{}
				record[e.Table] = tables[e.Table]
			}
			tables[e.Table][e.Key] = e.Value
		}
		return c.json(record)
	}
	fmt.Fprintln(c.out, found.Path)
	w := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	for _, e := range found.Given() {
		fmt.Fprintf(w, "  %s\t%s\t%v\n", e.Table, e.Key, e.Value)
	}
	return w.Flush()
}
