package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture"
	"coilsweep/capture/benchfile"
	"coilsweep/capture/device"
	"coilsweep/capture/record"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/fixture"
)

// fixing are the options of 'fixture'.
type fixing struct {
	take     takeFlags
	stimulus stimulusFlags
	bench    benchFlags
	file     benchFileFlags
	series   resistanceFlag
}

func (k *fixing) add(f *pflag.FlagSet) {
	f.Var(&k.series, "series", `the resistor in place of the coil, "470k 1%"`)
	f.StringVar(&k.take.reference, "reference", "none", "second channel: none or loopback")
	f.IntVar(&k.take.coilChannel, "coil-channel", 1, "channel with the coil, from 1")
	f.IntVar(&k.take.referenceChannel, "reference-channel", 2, "channel with the reference, from 1")
	k.stimulus.add(f)
	f.Lookup("level").DefValue = fmt.Sprint(plainLevelDBFS)
	k.bench.add(f)
	k.file.add(f)
}

func newFixture(c *console) *cobra.Command {
	var options fixing
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
			plan, err := options.plan(cmd, args[0])
			if err != nil {
				return err
			}
			var found fixtureRecord
			if err := c.on(plan.source, func(recorder record.Recorder) error {
				found, err = plan.run(cmd.Context(), c, recorder)
				return err
			}); err != nil {
				return err
			}
			return reportFixture(c, found, asJSON)
		}),
	}
	options.add(cmd.Flags())
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the fixture as JSON")
	return cmd
}

// fixturePlan is a measurement of the fixture that is about to be made.
type fixturePlan struct {
	take          capture.Take
	measurement   fixture.Measurement
	outputChannel int
	benchPath     string
	source        device.Source
}

func (k *fixing) plan(cmd *cobra.Command, dir string) (*fixturePlan, error) {
	if k.series.value == nil {
		return nil, usagef(`say which resistor is in place of the coil: --series "470k 1%%"`)
	}
	if err := k.bench.check(cmd); err != nil {
		return nil, err
	}
	if !cmd.Flags().Changed("reference") {
		k.take.reference = "none" // a bench's own is for coils
	}
	wanted := k.take.reference
	if err := k.file.apply(cmd, dir); err != nil {
		return nil, err
	}
	k.take.reference = wanted
	if wanted != "none" && wanted != "loopback" {
		return nil, usagef("--reference %s: want none or loopback", wanted)
	}
	if k.file.found == nil {
		return nil, fmt.Errorf("the fixture is kept with a bench: make one first with 'coilsweep bench %s --new'", dir)
	}
	take := capture.Take{
		Program: programName(), Drive: capture.Drive{Kind: "direct"}, Reference: capture.Reference{Kind: wanted},
	}
	m := fixture.Measurement{Series: *k.series.value}
	var err error
	if take.Stimulus, err = k.stimulus.designAt(cmd, plainLevelDBFS); err != nil {
		return nil, err
	}
	if wanted == "none" {
		if m.Calibration, err = k.file.calibration(); err != nil {
			return nil, err
		}
		if m.Calibration == nil {
			return nil, fmt.Errorf("the sound card is not calibrated: put a cable from output to input and run 'coilsweep calibrate %s' first, or record the output with --reference loopback", dir)
		}
		if err := m.Calibration.Covers(take); err != nil {
			return nil, err
		}
	}
	return &fixturePlan{take, m, k.bench.outputChannel, k.file.found.Path, k.bench.source(take, &k.take, wiring{series: k.series.value})}, nil
}

// run measures the fixture and keeps it in the bench, where it is determined.
func (p *fixturePlan) run(ctx context.Context, c *console, recorder record.Recorder) (found fixtureRecord, err error) {
	m := p.measurement
	if m.Calibration != nil {
		if err := m.Calibration.Matches(recorder.Describe(), p.outputChannel); err != nil {
			return found, err
		}
	}
	var take capture.Take
	if m.Response, take, err = c.scout(ctx, recorder, p.take); err != nil {
		return found, err
	}
	if found.Result, err = fixture.Fit(ctx, m); err != nil {
		return found, err
	}
	for _, w := range found.Warnings {
		c.warn("%s", w)
	}
	if !found.determined() {
		return found, nil
	}
	found.KeptIn = p.benchPath
	return found, benchfile.SetFixture(p.benchPath, benchfile.Fixture{
		Resistance:  &quantity.Resistance{Value: stated(found.Resistance, quantity.Ohm)},
		Capacitance: &quantity.Capacitance{Value: stated(found.Capacitance, quantity.Farad)},
		Date:        benchfile.DateOf(started(take)), How: m.Series.String() + " in series",
	})
}

// fixtureRecord is what 'fixture --json' prints.
type fixtureRecord struct {
	fixture.Result
	KeptIn string `json:"kept_in,omitempty"` // the bench.toml; empty: it was not determined
}

func (r fixtureRecord) determined() bool { return r.Resistance.Known() && r.Capacitance.Known() }

func (r fixtureRecord) words() string {
	return fmt.Sprintf("fixture: R %s, C %s", quantityText(r.Resistance, quantity.Ohm), quantityText(r.Capacitance, quantity.Farad))
}

// reportFixture prints what was found. What could not be determined is unfit.
func reportFixture(c *console, found fixtureRecord, asJSON bool) error {
	if asJSON {
		if err := c.json(found); err != nil {
			return err
		}
	} else {
		fmt.Fprintln(c.out, found.words())
		if found.KeptIn != "" {
			fmt.Fprintf(c.out, "kept in %s\n", found.KeptIn)
		}
	}
	return found.unfitness()
}

// unfitness is the error of a fixture that is not determined.
func (r fixtureRecord) unfitness() error {
	if r.determined() {
		return nil
	}
	return unfitError{errors.New("the fixture is not determined, and was not kept")}
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
	digit := quantity.SecondDigit(q.U95)
	return quantity.Value{
		SI: quantity.RoundTo(q.Value, digit), Half: quantity.RoundTo(q.U95, digit), Basis: quantity.Expanded, Unit: unit,
	}
}
