package main

import (
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/capture/benchfile"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/fixture"
)

func newFixture(c *console) *cobra.Command {
	var flags takeFlags
	var stimulus stimulusFlags
	var bench benchFlags
	var file benchFileFlags
	var series resistanceFlag
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "fixture DIR",
		Short: "Measure cable, clips and input by one known resistor in place of the coil",
		Long: `Measure what hangs on the coil for good, cable, clips and input: put one known
resistor from the output to the clips, in place of the coil, the exciter off. Its
value should be about that of the input: 470k or 1M. The fixture's R and C go
into bench.toml, and from there into every take.

The sound card must be known: either calibrated by a cable ('coilsweep
calibrate', the gain untouched since then), or with its output recorded on the
second channel (--reference loopback), which must be set like the first.`,
		Example: `  coilsweep fixture . --series "470k 1%"`,
		Args:    oneArg("the folder DIR of the bench or of a coil"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			if series.value == nil {
				return usagef(`say which resistor is in place of the coil: --series "470k 1%%"`)
			}
			if err := bench.check(cmd); err != nil {
				return err
			}
			if !cmd.Flags().Changed("reference") {
				flags.reference = "none" // a bench's own is for coils
			}
			wanted := flags.reference
			if err := file.apply(cmd, args[0]); err != nil {
				return err
			}
			flags.reference = wanted
			if flags.reference != "none" && flags.reference != "loopback" {
				return usagef("--reference %s: want none or loopback", flags.reference)
			}
			if file.found == nil {
				return fmt.Errorf("the fixture is kept with a bench: make one first with 'coilsweep bench %s --new'", args[0])
			}
			take := capture.Take{
				Program: programName(), Drive: capture.Drive{Kind: "direct"}, Reference: capture.Reference{Kind: flags.reference},
			}
			m := fixture.Measurement{Series: *series.value}
			var err error
			if take.Stimulus, err = stimulus.designAt(cmd, plainLevelDBFS); err != nil {
				return err
			}
			if flags.reference == "none" {
				if m.Calibration, err = file.calibration(); err != nil {
					return err
				}
				if m.Calibration == nil {
					return fmt.Errorf("the sound card is not calibrated: put a cable from output to input and run 'coilsweep calibrate %s' first, or record the output with --reference loopback", args[0])
				}
				if err := m.Calibration.Covers(take); err != nil {
					return err
				}
			}
			recorder, release, err := bench.open(take, &flags, wiring{series: series.value})
			if err != nil {
				return err
			}
			if m.Calibration != nil {
				if err := m.Calibration.Matches(recorder.Describe(), bench.outputChannel); err != nil {
					return errors.Join(err, release())
				}
			}
			m.Response, take, err = c.scout(cmd.Context(), recorder, take)
			if err = errors.Join(err, release()); err != nil {
				return err
			}
			result, err := fixture.Fit(cmd.Context(), m)
			if err != nil {
				return err
			}
			return reportFixture(c, file.found.Path, *series.value, take, result, asJSON)
		}),
	}
	f := cmd.Flags()
	f.Var(&series, "series", `the resistor in place of the coil, "470k 1%"`)
	f.StringVar(&flags.reference, "reference", "none", "second channel: none or loopback")
	f.IntVar(&flags.coilChannel, "coil-channel", 1, "channel with the coil, from 1")
	f.IntVar(&flags.referenceChannel, "reference-channel", 2, "channel with the reference, from 1")
	stimulus.add(f)
	f.Lookup("level").DefValue = fmt.Sprint(plainLevelDBFS)
	bench.add(f)
	file.add(f)
	f.BoolVar(&asJSON, "json", false, "print the fixture as JSON")
	return cmd
}

// fixtureRecord is what 'fixture --json' prints.
type fixtureRecord struct {
	fixture.Result
	KeptIn string `json:"kept_in,omitempty"` // the bench.toml
}

// reportFixture prints what was found and keeps it in the bench. What could
// not be determined is not kept, and unfit.
func reportFixture(c *console, benchPath string, series quantity.Resistance, take capture.Take, r fixture.Result, asJSON bool) error {
	for _, w := range r.Warnings {
		c.warn("%s", w)
	}
	record := fixtureRecord{Result: r}
	determined := r.Resistance.Known() && r.Capacitance.Known()
	if determined {
		err := benchfile.SetFixture(benchPath, benchfile.Fixture{
			Resistance:  &quantity.Resistance{Value: stated(r.Resistance, quantity.Ohm)},
			Capacitance: &quantity.Capacitance{Value: stated(r.Capacitance, quantity.Farad)},
			Date:        benchfile.DateOf(started(take)), How: series.String() + " in series",
		})
		if err != nil {
			return err
		}
		record.KeptIn = benchPath
	}
	if asJSON {
		if err := c.json(record); err != nil {
			return err
		}
	} else {
		fmt.Fprintf(c.out, "fixture: R %s, C %s\n", quantityText(r.Resistance, quantity.Ohm), quantityText(r.Capacitance, quantity.Farad))
		if determined {
			fmt.Fprintf(c.out, "kept in %s\n", benchPath)
		}
	}
	if !determined {
		return unfitError{errors.New("the fixture is not determined, and was not kept")}
	}
	return nil
}

func started(t capture.Take) time.Time {
	if t.Started.IsZero() {
		return time.Now()
	}
	return t.Started
}

func quantityText(q fit.Quantity, unit quantity.Unit) string {
	if !q.Known() {
		return "unknown (" + q.Why + ")"
	}
	return quantity.FormatWithU95(q.Value, q.U95, unit)
}

// stated is a result as a value with its expanded uncertainty, to the digits
// that are printed.
func stated(q fit.Quantity, unit quantity.Unit) quantity.Value {
	digit := significantDigit(q.U95)
	return quantity.Value{
		SI: roundTo(q.Value, digit), Half: roundTo(q.U95, digit), Basis: quantity.Expanded, Unit: unit,
	}
}
